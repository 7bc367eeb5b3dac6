// Two stones side by side: which is the better one, by its scene or by its grade.
import { byId, el, fill, tell } from "./dom.js";
import { newUid, setting } from "./kept.js";
import { get, post } from "./server.js";
import { picture, who } from "./stones.js";
import { near } from "./picture.js";

const ASKS = { scene: "Which has the better scene?", grade: "Which is the better stone, by its grade?" };
const CARES = {
  scene: "Retraining follows your pairs of scenes: thirty help, few move little.",
  grade: "Pairs of grades are held beside your calls under Agreement; they move no model.",
};
const KEYS = " Keys: left and right arrow, down for cannot tell, Backspace takes back.";
let shown = null, skips = 0, busy = false, said = [], wishes = 0;

const of = () => byId("pairs-of").value;
export function newSorter() { said = []; }

export async function load() {
  if (ASKS[setting("pairs-of")]) byId("pairs-of").value = setting("pairs-of");
  await next();
}

async function next() {
  const wish = ++wishes;
  try {
    const found = await get("/api/pairs", { of: of(), by: who(), skip: skips });
    if (wish === wishes) draw(found);  // Else another pair is shown by now, or asked for.
  } catch (err) { byId("pairs-count").textContent = err.message || "The table is out of reach."; }
}

function draw(found) {
  shown = found;
  byId("pairs-ask").textContent = shown.sides.length ? ASKS[of()] : "No pair is left here: lay out more stones, or compare by the other.";
  fill(byId("pairs-care"), CARES[of()], el("span", { class: "far" }, KEYS));
  byId("pairs-count").textContent = shown.pairs === 1 ? "you compared 1 pair" : `you compared ${shown.pairs} pairs`;
  byId("pairs-skip").disabled = !shown.sides.length;
  byId("pairs-back").disabled = !said.length;
  fill(byId("two"), shown.sides.map(side));
}

function side(one, n) {
  const name = n ? "the right one" : "the left one";
  const image = picture(one.large).cloneNode();
  image.alt = n ? "second stone" : "first stone";
  image.addEventListener("error", () => { if (one.small && !image.src.endsWith(one.small)) image.src = one.small; }, { once: true });
  return el("figure", {},
    el("button", { type: "button", class: "side", "aria-label": `${name} is better`, onclick: () => choose(n) }, image, el("span", { class: "choose" }, "This one")),
    el("button", { type: "button", class: "nearer", onclick: () => near({ name: name[0].toUpperCase() + name.slice(1), headline: "", pictures: { whole: one.whole, small: one.small } }) }, "Close-up"));
}

async function choose(n) {
  if (busy || !shown?.sides.length) return;
  busy = true;
  wishes += 1;
  const sides = shown.sides.map(({ stone, measured }) => ({ stone, measured })), uid = newUid();
  try {
    const found = await post("/api/pairs", { uid, by: who(), of: shown.of, better: sides[n], other: sides[1 - n] });
    said.push({ uid, shown });
    draw(found);
    tell(`Kept: ${n ? "the right one" : "the left one"} is better. ${ASKS[of()]}`);
  } catch (err) { byId("pairs-count").textContent = `Not kept: ${err.message || "the table is out of reach; say it again later"}`; }
  busy = false;
}

async function takeBack() {
  const last = said.at(-1);
  if (busy || !last) return;
  busy = true;
  wishes += 1;
  try {
    await post("/api/pairs/back", { pair: last.uid, by: who() });
    said.pop();
    byId("pairs-of").value = last.shown.of;
    draw(last.shown);
    tell("Taken back.");
  } catch (err) { byId("pairs-count").textContent = `Not taken back: ${err.message || "out of reach"}`; }
  busy = false;
}

function skip() { skips += 1; next(); }

byId("pairs-of").addEventListener("change", () => { setting("pairs-of", of()); next(); });
byId("pairs-skip").addEventListener("click", skip);
byId("pairs-back").addEventListener("click", takeBack);

export function press(event) {
  const act = { ArrowLeft: () => choose(0), ArrowRight: () => choose(1), ArrowDown: skip, Backspace: takeBack }[event.key];
  act?.();
  return Boolean(act);
}
