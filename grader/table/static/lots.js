// Lots as trays of pictures, changed by hand; and what is printed and sent.
import { byId, el, fill, tell } from "./dom.js";
import { setting } from "./kept.js";
import { get, post } from "./server.js";
import { who } from "./stones.js";

let plan = null, first = null, wish = null, chosen = null, asks = 0;

export async function load() {
  try {
    const { hauls } = await get("/api/scales"), before = byId("o-haul").value || setting("lots-haul") || hauls.at(-1)?.code;
    fill(byId("o-haul"), hauls.map(haul => el("option", {}, haul.code)));
    byId("lots").classList.toggle("bare", !hauls.length);
    if (!hauls.length) { byId("o-now").textContent = "No haul yet: begin one under Weigh in."; return; }
    if (hauls.some(haul => haul.code === before)) byId("o-haul").value = before;
    await there();
  } catch (err) { byId("o-now").textContent = err.message || "The table is out of reach."; }
}

async function there() {
  const haul = byId("o-haul").value, grade = byId("o-grade").value, now = await get(`/api/lots/${haul}`);
  if (haul !== byId("o-haul").value) return;  // Another one was chosen meanwhile.
  fill(byId("o-grade"), now.grades.map(one => el("option", { value: one.grade }, `${one.grade}: ${one.weighed} loose and weighed`)));
  // The grade that was chosen, else the first that has something to lay out.
  const filled = now.grades.find(one => one.weighed);
  byId("o-grade").value = now.grades.some(one => one.grade === grade && one.weighed) ? grade : (filled || now.grades[0]).grade;
  fill(byId("o-there"), now.lots.length ? now.lots.map(lot => el("section", { class: "lot", "aria-label": `lot ${lot.code}` },
    el("h3", {}, lot.code, el("span", {}, ` ${lot.grade || ""}, ${lot.weight}`)),
    el("ul", { class: "pieces" }, lot.pieces.map(one => el("li", { class: "piece" }, ...face(one)))),
    el("p", { class: "papers" }, el("a", { href: `/files/labels.pdf?code=${lot.code}`, download: true, "aria-label": `Label of ${lot.code}` }, "Label"), el("button", { type: "button", class: "quiet", "aria-label": `List ${lot.code}`, onclick: () => list(lot.code) }, "List it")))) : el("p", { class: "care" }, "none of this haul, or all are sold"));
  fill(byId("o-codes"), now.pieces.map(code => el("option", { value: code })));
  byId("o-labels").href = `/files/labels.pdf?haul=${haul}`;
  byId("o-letter").href = `/files/labels.pdf?haul=${haul}&paper=letter`;
  byId("o-page").href = `/files/haul-${haul}.html`;
  byId("o-csv").href = `/files/haul-${haul}.csv`;
  let report;
  try { report = (await get(`/api/report/${haul}`)).lines.join("\n"); } catch (err) { report = err.message || "out of reach"; }
  if (haul === byId("o-haul").value) byId("o-report").textContent = report;
}

const face = one => [one.picture ? el("img", { src: one.picture, alt: "", loading: "lazy" }) : el("span", { class: "bare" }, "no photo"), el("span", {}, one.code, el("small", {}, one.weight || ""))];
const codes = tray => tray.pieces.map(one => one.code);

function sentWish() {
  const body = { haul: byId("o-haul").value, grade: byId("o-grade").value, size: byId("o-size").value.trim() };
  for (const id of ["fewest", "most"]) if (/^[0-9]+$/.test(byId(`o-${id}`).value.trim())) body[id] = Number(byId(`o-${id}`).value);
  return body;
}

// Only the last question is answered: a hand may have gone on meanwhile.
async function ask(path, body, then) {
  const mine = ++asks;
  try {
    const now = await post(path, body);
    if (mine === asks) await then(now);
  } catch (err) {
    if (mine !== asks) return;
    byId("o-now").textContent = err.message || "The table is out of reach.";
    tell(byId("o-now").textContent);
  }
}

function lay(now, words = "") {
  plan = now;
  if (chosen && !place(chosen.n)?.some(one => one.code === chosen.code)) chosen = null;
  byId("o-plan").hidden = false;
  byId("o-now").textContent = [words, now.says].filter(Boolean).join(" ");
  byId("o-keep").disabled = !now.keeps;
  draw();
}

function draw() {
  const trays = plan.trays.map((tray, n) => el("section", { class: tray.short ? "lot short" : "lot", "aria-label": `lot ${n + 1}` },
    el("h3", {}, `Lot ${n + 1}`, el("span", {}, ` ${tray.weight}, `, tray.short ? el("strong", {}, tray.over) : tray.over)), pieces(tray.pieces, n), here(n)));
  const left = el("section", { class: "lot left", "aria-label": "left over" }, el("h3", {}, "Left over", el("span", {}, plan.left.length ? ` ${plan.left.length}` : " nothing")), pieces(plan.left, -1), here(-1));
  fill(byId("o-trays"), trays, left, plan.left_out.length ? el("p", { class: "care" }, `left out: ${plan.left_out.join("; ")}`) : null);
}

const pieces = (of, n) => el("ul", { class: "pieces" }, of.map(one => el("li", {}, el("button", { type: "button", class: "piece", "aria-pressed": String(chosen?.code === one.code), onclick: () => tap(one, n) }, ...face(one)))));
const here = n => (chosen && chosen.n !== n ? el("button", { type: "button", onclick: () => move(n) }, n < 0 ? "Leave it over" : "Put it here") : null);

function tap(one, n) {
  if (chosen?.code === one.code) chosen = null;
  else if (!chosen || chosen.n === n) { chosen = { code: one.code, n }; tell(`${one.code} is in your hand. Tap the piece to swap it with, or another lot.`); }
  else { swap(one, n); return; }
  draw();
  byId("o-trays").querySelector('[aria-pressed="true"]')?.focus();
}

const place = n => (n < 0 ? plan.left : plan.trays[n]?.pieces);

// What a hand moves lies there at once, weighed or not, so that the next move starts from it.
function swap(one, n) {
  const mine = place(chosen.n), theirs = place(n), at = mine.findIndex(piece => piece.code === chosen.code);
  theirs[theirs.indexOf(one)] = mine[at];
  mine[at] = one;
  moved(`${chosen.code} and ${one.code} swapped.`);
}

function move(n) {
  const mine = place(chosen.n), [piece] = mine.splice(mine.findIndex(one => one.code === chosen.code), 1);
  place(n).push(piece);
  moved(`${chosen.code} put into ${n < 0 ? "what is left over" : `lot ${n + 1}`}.`);
}

function moved(words) {
  chosen = null;
  draw();
  weigh(plan.trays.map(codes), words);
}

function weigh(trays, words) {
  byId("o-keep").disabled = true;
  byId("o-now").textContent = `${words} Being weighed.`;
  ask("/api/lots/weighed", { ...wish, trays }, now => { lay(now, words); tell(byId("o-now").textContent); });
}

byId("o-form").addEventListener("submit", event => {
  event.preventDefault();
  setting("lots-haul", byId("o-haul").value);
  wish = sentWish();
  byId("o-now").textContent = "laying out";
  ask("/api/lots/planned", wish, now => { first = now.trays.map(codes); chosen = null; lay(now); });
});
byId("o-again").addEventListener("click", () => { chosen = null; weigh(first, "As it was laid out."); });
byId("o-keep").addEventListener("click", () => {
  if (!who()) { byId("who").click(); return; }
  // While they are being kept nothing is moved.
  byId("o-plan").inert = true;
  ask("/api/lots/kept", { ...wish, trays: plan.trays.map(codes), by: who() }, async ({ lines }) => {
    byId("o-plan").hidden = true;
    plan = null;
    await there();
    byId("o-now").textContent = `Kept. ${lines.at(-1)}`;
  }).finally(() => { byId("o-plan").inert = false; });
});
byId("o-haul").addEventListener("change", () => { asks += 1; setting("lots-haul", byId("o-haul").value); byId("o-plan").hidden = true; byId("o-now").textContent = ""; load(); });

function told(...what) { fill(byId("o-told"), what); byId("o-told").scrollIntoView({ block: "nearest" }); }
const files = names => el("p", { class: "papers" }, names.map(name => el("a", { href: `/files/listing/${name}`, download: true }, name)));

async function list(code) {
  if (!who()) { byId("who").click(); return; }
  try {
    const now = await post("/api/listings", { code, by: who() });
    told(el("h3", {}, `Listed: ${now.title}`), now.lines.map(line => el("p", { class: "remedy" }, line)), files(now.files), now.cautions.map(line => el("p", { class: "care" }, line)));
  } catch (err) { told(el("p", { class: "remedy" }, err.message || "The table is out of reach.")); }
}

async function keepOrBreak(code) {
  const parts = byId("o-parts").value.trim();
  told(el("p", {}, "trying both ways"));
  try {
    const now = await get(`/api/keep/${code}`, { parts_of: parts }), query = parts ? `?parts_of=${encodeURIComponent(parts)}` : "";
    told(el("h3", {}, `${code}: keep or break`), el("img", { class: "keep", src: `/files/keep-${code}.png${query}`, alt: `${code}: both values, the break plan and the cautions; the same in words below` }),
      el("pre", { role: "region", tabindex: "0", "aria-label": "Keep or break in words" }, now.lines.join("\n")), el("h3", {}, "Take care"), el("ul", { class: "cautions" }, now.cautions.map(line => el("li", {}, line))));
  } catch (err) { told(el("p", { class: "remedy" }, err.message || "The table is out of reach.")); }
}

byId("o-one").addEventListener("submit", event => {
  event.preventDefault();
  const code = byId("o-code").value.trim().toUpperCase(), what = event.submitter?.value || "label";
  if (!/^[A-Z0-9]{1,12}-[A-Z]?[0-9]{1,6}$/.test(code)) { told(el("p", { class: "remedy" }, "Write the number as 07-113, or of a lot as 07-L2.")); return; }
  if (what === "keep") keepOrBreak(code);
  else if (what === "list") list(code);
  else told(el("p", { class: "papers" }, el("a", { href: `/files/labels.pdf?code=${code}`, download: true }, `Label of ${code}, A4`), el("a", { href: `/files/labels.pdf?code=${code}&paper=letter`, download: true }, `Label of ${code}, letter`)));
});
