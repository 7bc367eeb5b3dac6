// A second look: called stones again, shuffled, without names and old calls.
import { byId, el, fill, tell } from "./dom.js";
import { get, post } from "./server.js";
import { who } from "./stones.js";
import { worst } from "./agree.js";

let at = null, busy = false;
const grades = [...document.querySelectorAll("[data-again]")];

export function newSorter() { at = null; }

export async function load() {
  if (at) { draw(); return; }
  turn("form");
  try {
    const { people } = await get("/api/again"), chosen = byId("again-of").value;
    fill(byId("again-of"), el("option", { value: "" }, "what counts, whoever said it"), people.map(one => el("option", { value: one.name }, `${one.name} (${one.stones})`)));
    if (people.some(one => one.name === chosen)) byId("again-of").value = chosen;
  } catch { byId("again-said").textContent = "The table is out of reach."; }
}

function turn(part) {
  for (const name of ["form", "look", "report"]) byId(`again-${name}`).hidden = name !== part;
}

async function ask(path, body, wrong) {
  if (busy) return null;
  busy = true;
  try { return await post(path, { by: who(), ...body }); }
  catch (err) { wrong.textContent = err.message || "The table is out of reach."; return null; }
  finally { busy = false; }
}

byId("again-form").addEventListener("submit", async event => {
  event.preventDefault();
  byId("again-said").textContent = "The stones are being drawn.";
  const body = { count: Math.max(1, Number(byId("again-count").value) || 30), new: byId("again-new").checked };
  if (byId("again-of").value) body.of = byId("again-of").value;
  const found = await ask("/api/again", body, byId("again-said"));
  if (!found) return;
  byId("again-said").textContent = "";
  byId("again-new").checked = false;
  at = found;
  draw();
});

function draw() {
  turn("look");
  const over = at.number === null;
  byId("again-count-words").textContent = over ? `all ${at.stones} answered` : `${at.answered + 1} of ${at.stones}`;
  byId("again-done").hidden = !at.answered;
  byId("again-done").textContent = over ? "How well do they agree?" : "End here: how well do they agree?";
  byId("again-back").disabled = !at.answered;
  for (const button of grades) button.disabled = over;
  const image = at.picture && el("img", { src: at.picture, alt: `stone ${at.answered + 1}` });
  fill(byId("again-picture"), image || el("p", { class: "lacking" }, "That was the last one."));
}

async function say(grade) {
  if (!at || at.number === null) return;
  const found = await ask("/api/again/answer", { sitting: at.sitting, number: at.number, grade }, byId("again-count-words"));
  if (!found) return;
  at = found;
  draw();
  tell(`${grade}. ${at.number === null ? "That was the last one." : `Stone ${at.answered + 1}.`}`);
}

async function back() {
  const found = at?.answered && await ask("/api/again/back", { sitting: at.sitting }, byId("again-count-words"));
  if (!found) return;
  at = found;
  draw();
  tell("Taken back.");
}

for (const button of grades) button.addEventListener("click", () => say(button.dataset.again));
byId("again-back").addEventListener("click", back);
byId("again-stop").addEventListener("click", () => { at = null; load(); byId("again-said").textContent = "What you said is kept; begin again to go on."; });
byId("again-done").addEventListener("click", async () => {
  const found = await ask("/api/again/done", { sitting: at.sitting }, byId("again-count-words"));
  if (!found) return;
  at = null;
  turn("report");
  fill(byId("again-report"),
    el("p", {}, found.first),
    el("div", { class: "across" }, el("table", { class: "totals" }, el("thead", {}, el("tr", {}, ["", ...found.table.head].map(text => el("th", { scope: "col" }, text)))), el("tbody", {}, found.table.rows.map(([name, ...cells]) => el("tr", {}, el("th", { scope: "row" }, name), cells.map(text => el("td", {}, text))))))),
    el("ul", { class: "lines" }, found.lines.map(text => el("li", {}, text))),
    found.worst.length ? el("h2", {}, "Called farthest apart") : null,
    el("div", { class: "worst" }, found.worst.map(worst)),
    el("button", { type: "button", onclick: load }, "Another look"));
});

export function press(event) {
  if (byId("again-look").hidden) return false;
  if (event.key === "Backspace") { back(); return true; }
  const button = grades.find(one => one.dataset.key && one.dataset.key === event.key.toLowerCase());
  if (button) say(button.dataset.again);
  return Boolean(button);
}
