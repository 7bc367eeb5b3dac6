// One stone after the other: look, say, next.
import { byId, clock, el, fill, tell } from "./dom.js";
import { newUid, now, setting } from "./kept.js";
import { get, post } from "./server.js";
import { send, whenSent } from "./sender.js";
import { ahead, fetchCard, fetchTiles, forget, keepTile, known, tileOf, who } from "./stones.js";
import { measuring, near, showPicture, turnLayer, whenLine } from "./picture.js";
import { whenPlace } from "./patch.js";
import "./cuts.js";

let ids = [], at = 0, said = [], begun = false, telling = "", lists = 0, strips = 0, drawn = {};
const mine = new Map();  // What was said here, before the server has answered.
// The second look has buttons of the same looks, which say nothing here.
const grades = [...byId("grades").querySelectorAll(".grade")];
const keyOf = new Map(grades.filter(b => b.dataset.key).map(b => [b.dataset.key, b.dataset.grade]));

export const current = () => ids[at];

// Words said here are those of who said them: whoever comes next takes none of them back.
export function newSorter() {
  mine.clear();
  said = [];
  drawn = {};
}

export async function load(keep = current()) {
  const asked = { by: who(), pile: byId("pile").value, first: byId("first").value };
  telling = "";
  begun = false;
  const list = ++lists;
  let found = ids;
  try { found = (await get("/api/stones", asked)).ids; } catch { telling = "The table is out of reach."; }
  if (list !== lists) return;  // Another pile was asked for meanwhile.
  // Who has gone on while the list was on its way stays where they are.
  const here = begun ? current() : keep;
  ids = found;
  at = Math.max(0, ids.indexOf(here));
  await show();
}

// While stones are still being laid out, new ones come behind.
export async function more() {
  if (!begun) { await load(); return; }
  const list = lists, found = (await get("/api/stones", { by: who(), pile: byId("pile").value, first: byId("first").value })).ids;
  if (list !== lists) return;
  const here = new Set(ids);
  ids.push(...found.filter(id => !here.has(id)));
  place();
}

export async function open(list, id) {
  lists += 1;
  ids = list;
  begun = true;
  at = Math.max(0, ids.indexOf(id));
  await show();
}

function place() {
  byId("place").textContent = ids.length ? `${at + 1} of ${ids.length}` : "none";
  byId("previous").disabled = at === 0;
  byId("next").disabled = at >= ids.length - 1;
  byId("back").disabled = !said.length;
}

async function show() {
  place();
  const id = current();
  history.replaceState(null, "", id ? `#${id}` : "#");
  if (!id) {
    drawn = {};
    showPicture(null);
    fill(byId("words"), el("h2", { class: "head" }, telling || "No stone here"), el("p", {}, "Choose another pile above, or add photos."), el("button", { type: "button", onclick: () => document.querySelector('[data-view="add"]').click() }, "Add photos"));
    fill(byId("strip"));
    for (const button of grades) { button.classList.remove("mine", "proposed"); button.disabled = true; }
    byId("leave").disabled = true;
    return;
  }
  byId("leave").disabled = false;
  // Of the same stone, shown again, what is being typed stays.
  if (id !== drawn.id) byId("scene").value = "";
  const before = known(id);
  // Drawn anew, what has the focus would lose it.
  if (before && (before !== drawn.card || JSON.stringify(own(before)) !== drawn.word)) draw(before);
  // The one before must not stand there as if it were this one.
  if (!before && id !== drawn.id) { drawn = {}; showPicture(null); fill(byId("words"), el("p", { class: "head small" }, "The stone is on its way.")); }
  strip();
  // The next stones first: those are what a hand waits for.
  if (before) await ahead(nearby());
  if (current() !== id) return;
  try {
    // Also where it is known: somebody may have said something since.
    const card = await fetchCard(id);
    if (current() !== id) return;
    if (JSON.stringify(card) !== JSON.stringify(before)) draw(card);
    else drawn.card = card;
  } catch (err) {
    if (current() === id && !known(id)) fill(byId("words"), el("p", { class: "remedy" }, err.message || "out of reach"));
  }
  ahead(nearby());
}

const nearby = () => [1, 2, 3, 4, -1].map(step => ids[at + step]);

const own = card => (mine.has(card.id) ? mine.get(card.id) : { grade: card.own, scene: card.said, left: false });

function draw(card) {
  showPicture(card);
  const word = own(card);
  drawn = { id: card.id, card, word: JSON.stringify(word) };
  fill(byId("words"),
    el("h2", { class: "name" }, card.name, card.code || card.name.startsWith(card.photo) ? null : `, ${card.photo}`, card.weight && `, ${card.weight}`),
    word.grade || word.left ? el("p", { class: "head" }, word.left && !word.grade ? "left for the decider" : `${word.grade}`, el("span", { class: "gone" }, ", your word")) : null,
    word.grade || word.left ? el("p", { class: "head small" }, `your word; proposed: ${card.headline}`) : el("p", { class: "head" }, card.headline),
    el("p", { class: "meaning" }, card.meaning),
    others(card),
    card.verdict !== "usable" || card.remedies.length ? el("div", { class: "remedy" }, el("strong", {}, `photo: ${card.verdict}`), card.remedies.length ? el("ul", {}, card.remedies.map(text => el("li", {}, text))) : null) : null,
    chances(card),
    card.set && el("p", {}, `may be ${card.set}`),
    card.what_if && el("p", {}, `would lift it ${card.what_if}`),
    card.rules && el("p", {}, card.rules),
    card.reasons.length ? [el("h3", {}, "why"), el("ul", {}, card.reasons.map(text => el("li", {}, text)))] : null,
    card.blocks.filter(block => block.lines.length).map(block => [el("h3", {}, block.name), el("ul", {}, block.lines.map(text => el("li", {}, text)), block.name === "soundness" ? lineButtons(card) : null)]),
    card.faces.length ? [el("h3", {}, "other faces and states"), el("div", { class: "faces" }, card.faces.map(face => el("button", { type: "button", onclick: () => near({ name: face.photo, headline: face.state, pictures: { whole: face.large, small: face.small } }) }, el("img", { src: face.small, alt: `${face.photo}, ${face.state}` }))))] : null,
    card.model && el("p", { class: "meaning" }, `proposed by ${card.model}`),
  );
  byId("words").scrollTop = 0;
  for (const button of grades) {
    button.disabled = false;
    button.classList.toggle("mine", button.dataset.grade === word.grade);
    button.classList.toggle("proposed", card.proposes.includes(button.dataset.grade));
    button.setAttribute("aria-pressed", String(button.dataset.grade === word.grade));
  }
  byId("scene").placeholder = word.scene ?? card.scene ?? "0-100";
}

function others(card) {
  const calls = card.calls.filter(call => call.by !== who());
  if (!calls.length) return null;
  return el("div", { class: "word" }, calls.map(call => el("p", {}, el("strong", {}, call.says), ` by ${call.by}, ${clock(call.time)}`, call.note && `: ${call.note}`)), card.counts && el("p", {}, `what counts: ${card.counts}`));
}

function chances(card) {
  if (!card.chances.length) return null;
  return el("div", { class: "chances" }, card.chances.toReversed().map(one => [
    el("span", {}, one.grade),
    el("svg:svg", { viewBox: "0 0 100 8", preserveAspectRatio: "none", "aria-hidden": "true" }, el("svg:rect", { width: 100 * one.share, height: 8 })),
    el("span", {}, one.words),
  ]));
}

const lineButtons = card => card.pictures.lines.map(line => el("li", {}, el("button", { type: "button", onclick: () => askOfLine(card, line) }, line.words)));

const wordOf = (here, tile) => (here?.left ? "for the decider" : here?.grade ?? tile?.own);

async function strip() {
  const here = ++strips;
  const from = Math.max(0, Math.min(at - 2, ids.length - 8)), part = ids.slice(from, from + 8);
  const draw = () => fill(byId("strip"), part.map((id, n) => {
    const tile = tileOf(id), word = wordOf(mine.get(id), tile);
    const label = tile ? `${tile.name}: ${word ? `${word}, your word` : `proposed ${tile.proposed}`}` : "stone";
    return el("li", {}, el("button", { type: "button", "aria-label": label, "aria-current": from + n === at ? "true" : null, onclick: () => go(from + n) },
      tile?.picture && el("img", { src: tile.picture, alt: "", loading: "lazy" }), el("span", {}, word || tile?.proposed || "")));
  }));
  draw();
  if (part.every(tileOf)) return;
  try { await fetchTiles(part); } catch { return; }
  if (here === strips) draw();
}

export function go(to) {
  if (to < 0 || to >= ids.length || to === at) return;
  at = to;
  begun = true;
  show();
}

function scene() {
  const text = byId("scene").value.trim();
  if (text === "") return null;
  const value = Number(text);
  return Number.isInteger(value) && value >= 0 && value <= 100 ? value : NaN;
}

// A grade, "for the decider", or a scene alone; kept, sent and gone on from in one step.
export function say(grade, left = false) {
  if (!who()) { byId("who").click(); return; }
  // Only what is seen is judged, and only what stands there was heard of others.
  const value = scene(), card = drawn.card;
  if (!card || card.id !== current()) { if (current()) tell("Not kept: the stone is not here yet; say it again."); return; }
  if (Number.isNaN(value)) { byId("scene").focus(); tell("A scene is a whole number from 0 to 100."); return; }
  const body = { uid: newUid(), stone: card.id, measured: card.measured, by: who(), made: now(), heard: card.heard, left };
  if (grade) body.grade = grade;
  if (value !== null && !left) body.scene = value;
  const before = own(card);
  card.heard = [...card.heard, body.uid];
  mine.set(card.id, { grade: grade || before.grade, scene: value ?? before.scene, left });
  said.push({ id: card.id, uid: body.uid, before });
  begun = true;
  send("call", body);
  const words = [left ? "left for the decider" : grade, value !== null && !left ? `scene ${value}` : null].filter(Boolean).join(", ");
  const last = at >= ids.length - 1;
  byId("scene").value = "";
  document.activeElement?.blur?.();
  if (last) { draw(card); strip(); place(); tell(`${card.name}: ${words}. That was the last one here.`); }
  else { at += 1; show(); tell(`${card.name}: ${words}. Next: ${tileOf(current())?.name || "the next stone"}.`); }
}

export function takeBack() {
  const last = said.pop();
  if (!last) { tell("Nothing said here is left to take back."); return; }
  mine.set(last.id, last.before);
  send("back", { uid: newUid(), call: last.uid, stone: last.id, by: who() });
  const to = ids.indexOf(last.id);
  if (to >= 0) at = to;
  show();
  tell(`Taken back: ${tileOf(last.id)?.name || "the last word"}.`);
}

export function accept() {
  const card = drawn.id === current() ? drawn.card : null;
  if (card?.accepts) say(card.accepts);
  else tell(card ? `No one grade is proposed (${card.headline}); say which.` : "");
}

// A word that meets others' words on its stone: both are shown, until somebody has looked.
whenSent(({ word, answer, refused }) => {
  if (answer?.tile) {
    keepTile(answer.tile);
    for (const card of [known(word.body.stone), drawn.card]) if (card?.id === word.body.stone) card.heard = answer.heard;
  }
  if (refused) notice(`${tileOf(word.body.stone)?.name || "One stone"}: your word is not kept: ${refused}`, word.body.stone);
  if (answer?.others?.length) {
    const heard = answer.others.map(one => `${one.by === who() ? "you, elsewhere," : one.by || "somebody"} said ${one.says} (${clock(one.time)})`);
    const yours = word.body.left ? "left it for the decider" : [word.body.grade, word.body.scene !== undefined ? `scene ${word.body.scene}` : null].filter(Boolean).join(", ");
    notice(`${answer.tile.name}: while you looked, ${heard.join(" and ")}; you said ${yours}. Both are kept.`, word.body.stone);
    forget(word.body.stone);
  }
});

function notice(text, id) {
  const box = el("div", { class: "notice" }, el("p", {}, text),
    el("button", { type: "button", onclick: () => { box.remove(); const to = ids.indexOf(id); if (to >= 0) { at = to; show(); } else open([id], id); } }, "Look again"),
    el("button", { type: "button", onclick: () => box.remove() }, "It stands"));
  byId("notices").append(box);
}

function askOfLine(card, line) {
  const box = byId("line-box");
  byId("line-title").textContent = `${card.name}, line ${line.id}`;
  byId("line-words").textContent = `Read as ${line.words.replace(/^line \d+: /, "")}. What is it?`;
  box.card = card; box.line = line;
  box.showModal();
}
whenLine(askOfLine);
whenPlace({
  wait: card => measuring(card, 1),
  done: async (card, text, kept) => {
    measuring(card, -1);
    if (kept) forget(card.id);
    if (kept && current() === card.id) await show();
    if (kept) tell(text);
    else notice(text, card.id);
  },
});

for (const button of byId("line-box").querySelectorAll("[data-says]")) {
  button.addEventListener("click", async () => {
    const { card, line } = byId("line-box");
    byId("line-box").close();
    if (!who()) { byId("who").click(); return; }
    const body = { stone: card.id, measured: card.measured, by: who(), line: line.id, says: button.dataset.says };
    if (byId("line-found").value) body.found = byId("line-found").value;
    tell("The stone is measured with your word.");
    measuring(card, 1);
    try {
      const { words } = await post("/api/lines", body);
      forget(card.id);
      if (current() === card.id) await show();
      notice(words, card.id);
    } catch (err) { notice(`Not kept: ${err.message || "the table is out of reach; say it again later"}`, card.id); }
    measuring(card, -1);
  });
}

for (const button of grades) button.addEventListener("click", () => say(button.dataset.grade));
byId("leave").addEventListener("click", () => say(null, true));
byId("back").addEventListener("click", takeBack);
byId("previous").addEventListener("click", () => go(at - 1));
byId("next").addEventListener("click", () => go(at + 1));
byId("choice").addEventListener("submit", event => { event.preventDefault(); if (scene() !== null) say(null); });
for (const id of ["pile", "first"]) byId(id).addEventListener("change", () => { setting(id, byId(id).value); load(null); });
for (const id of ["pile", "first"]) if ([...byId(id).options].some(o => o.value === setting(id))) byId(id).value = setting(id);
byId("scene").addEventListener("input", () => { byId("scene").value = byId("scene").value.replace(/[^0-9]/g, ""); });

// Keys that sort; what they type into elsewhere is left alone. True where it was one.
export function press(event) {
  const key = event.key, letter = key.length === 1 ? key.toLowerCase() : "";
  if (keyOf.has(letter)) { say(keyOf.get(letter)); return true; }
  if (key === "?") { say(null, true); return true; }
  if (key === "Enter") { accept(); return true; }
  if (key === "Backspace" && (event.target.id !== "scene" || !byId("scene").value)) { takeBack(); return true; }
  if (event.target.id === "scene") return false;
  if (/^[0-9]$/.test(key)) { byId("scene").focus(); return false; }
  if (key === " ") { turnLayer(event.shiftKey ? -1 : 1); return true; }
  if (key === "+") { near(); return true; }
  if (key === "ArrowRight") { go(at + 1); return true; }
  if (key === "ArrowLeft") { go(at - 1); return true; }
  return false;
}
