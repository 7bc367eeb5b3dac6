"use strict";
// The sheet itself: small pictures to look through, one stone large, totals.
const tiles = new Map(STONES.map(stone => [stone.n, byId(`tile-${stone.n}`)]));
const stoneOf = new Map(STONES.map(stone => [stone.n, stone]));
const grades = [...document.querySelectorAll(".grade")];
const BEST_FIRST = SHEET.grades.toReversed();
let shown = STONES, list = [], open = null;

// A word of one's own counts first, then the house's.
const wordOf = stone => words.get(stone.n);
const gradeOf = stone => wordOf(stone)?.grade || stone.grade || "";
const isCalled = stone => Boolean(gradeOf(stone) || isCall(wordOf(stone)) || stone.people.length);
const proposedOf = stone => (stone.likely.length ? `proposed ${stone.label}` : stone.label);

function byWhom(stone) {
  const word = wordOf(stone);
  if (word?.grade) return word.saved ? "your call" : "your call, not saved";
  const people = stone.people.filter(one => one.grade === stone.grade).map(one => one.by || "unnamed");
  return people.length ? `called by ${people.join(", ")}` : "";
}

function drawTile(stone) {
  const tile = tiles.get(stone.n), grade = gradeOf(stone), word = wordOf(stone);
  const scene = word && word.scene !== "" ? `your scene ${word.scene}` : "";
  tile.querySelector(".title").textContent = grade || stone.label;
  tile.querySelector(".by").textContent = grade ? [byWhom(stone), proposedOf(stone), scene].filter(Boolean).join("; ") : [stone.likely.length ? "proposed" : "", scene].filter(Boolean).join("; ");
  tile.classList.toggle("called", Boolean(grade));
  tile.classList.toggle("unsaved", isCall(word) && !word.saved);
}

const SHOWS = {
  all: () => true,
  open: stone => !isCalled(stone),
  called: isCalled,
  unsure: stone => !gradeOf(stone) && (stone.likely.length > 1 || stone.stranger),
  differs: stone => Boolean(gradeOf(stone) && stone.likely.length && !stone.likely.includes(gradeOf(stone))),
  apart: stone => stone.apart || Boolean(wordOf(stone)?.grade && stone.people.some(one => one.grade && one.grade !== wordOf(stone).grade && one.by !== wordOf(stone).by)),
  again: stone => stone.retake,
};
function bound(id) {
  const text = byId(id).value.trim().replace(",", ".");
  return text === "" || Number.isNaN(Number(text)) ? null : Number(text) * SHEET.unit.grams;
}
function fits(stone) {
  const grade = byId("grade").value, least = bound("least"), most = bound("most");
  return SHOWS[byId("show").value](stone)
    && (!grade || (gradeOf(stone) ? gradeOf(stone) === grade : stone.likely.includes(grade)))
    && (least === null || (stone.grams !== null && stone.grams >= least))
    && (most === null || (stone.grams !== null && stone.grams <= most))
    && stone.find.includes(byId("find").value.trim().toLowerCase());
}
function rank(stone) {
  const by = byId("sort").value;
  if (by === "n") return stone.n;
  if (by !== "grade") return stone.sort[by] ?? 0;
  const at = BEST_FIRST.indexOf(gradeOf(stone) || stone.likely.at(-1));
  return at < 0 ? BEST_FIRST.length : at;
}

// Lays out what is asked for, in parts that each fill a sheet of paper.
function arrange() {
  shown = STONES.filter(fits).map(stone => [rank(stone), stone]).sort((a, b) => a[0] - b[0] || a[1].n - b[1].n).map(pair => pair[1]);
  const count = Math.ceil(shown.length / SHEET.paper), papers = [];
  for (let n = 0; n < count; n += 1) {
    const part = shown.slice(n * SHEET.paper, (n + 1) * SHEET.paper);
    const head = `${SHEET.title}, ${SHEET.day}, sheet ${n + 1} of ${count}, ${shown.length === STONES.length ? `${STONES.length} stones` : `${shown.length} of ${STONES.length} stones`}`;
    const paper = document.createElement("section"), rows = document.createElement("ol"), words = document.createElement("p");
    paper.className = "paper"; words.className = "paper-head"; words.textContent = head;
    rows.setAttribute("role", "list");
    rows.append(...part.map(stone => tiles.get(stone.n)));
    paper.append(words, rows);
    papers.push(paper);
  }
  byId("tiles").replaceChildren(...papers);
  byId("none").hidden = shown.length > 0;
  rove(shown[0]?.n);
  count_();
}

const weight = grams => `${(grams / SHEET.unit.grams).toFixed(SHEET.unit.decimals).replace(/\.0$/, "")} ${SHEET.unit.name}`;
const anyWeighed = STONES.some(stone => stone.grams !== null);
function weightOf(stones) {
  const weighed = stones.filter(stone => stone.grams !== null);
  if (!weighed.length) return "";
  const not = stones.length - weighed.length;
  return weight(weighed.reduce((sum, stone) => sum + stone.grams, 0)) + (not ? ` (${not} not weighed)` : "");
}
const plural = (count, noun) => `${count} ${noun}${count === 1 ? "" : "s"}`;

// How many of each grade, and what they weigh, of what is shown.
function count_() {
  const called = shown.filter(gradeOf), all = shown.length === STONES.length;
  const proposed = stone => (stone.likely.length === 1 ? stone.likely[0] : stone.likely.length ? "between grades" : stone.label);
  const groups = [...BEST_FIRST, "between grades", "unfamiliar", "retake"];
  const other = [...new Set([...called.map(gradeOf), ...shown.filter(s => !gradeOf(s)).map(proposed)])].filter(one => !groups.includes(one));
  const rows = [...groups, ...other].map(name => [name, called.filter(stone => gradeOf(stone) === name), shown.filter(stone => !gradeOf(stone) && proposed(stone) === name)]);
  rows.push(["all", called, shown.filter(stone => !gradeOf(stone))]);
  fill(byId("sums"), rows.filter(([name, a, b]) => a.length || b.length || BEST_FIRST.includes(name)).map(([name, a, b]) =>
    el("tr", {}, el("th", { scope: "row" }, name), el("td", {}, String(a.length)), anyWeighed && el("td", {}, weightOf(a)), el("td", {}, String(b.length)), anyWeighed && el("td", { class: "left" }, weightOf(b)))));
  const bare = !shown.some(stone => stone.grams !== null && !gradeOf(stone));
  for (const cell of document.querySelectorAll("#totals .left")) cell.hidden = bare;
  byId("totals-of").textContent = all ? `All ${plural(STONES.length, "stone")}.` : `The ${shown.length} of ${plural(STONES.length, "stone")} shown now.`;
  const counted = BEST_FIRST.map(grade => [grade, called.filter(stone => gradeOf(stone) === grade).length]).filter(pair => pair[1]).map(pair => `${pair[1]} ${pair[0]}`);
  fill(byId("count"), [
    all ? plural(STONES.length, "stone") : `${shown.length} of ${plural(STONES.length, "stone")}`,
    called.length ? `${called.length} called (${counted.join(", ")})` : "none called yet",
    anyWeighed ? weightOf(shown) || "none weighed" : "",
  ].filter(Boolean).join("; ") + ". ", el("a", { href: "#totals" }, "Totals"));
  const left = unsaved().length, some = STONES.some(stone => isCall(wordOf(stone)));
  byId("save").disabled = !some;
  byId("save").textContent = left ? `Save my calls (${left} new)` : "Save my calls";
  if (byId("copy").open) byId("text").value = some ? table() : "";
}

// One small picture at a time is reached by Tab; arrows go on from there.
let roving = null;
function rove(n) {
  if (roving !== null) tiles.get(roving).firstElementChild.tabIndex = -1;
  roving = n ?? null;
  if (roving !== null) tiles.get(roving).firstElementChild.tabIndex = 0;
}
function toTile(n) {
  rove(n);
  const button = tiles.get(n).firstElementChild;
  button.focus();
  button.scrollIntoView({ block: "nearest" });
}
function columns() {
  const first = tiles.get(shown[0].n).offsetTop;
  return Math.max(1, shown.findIndex(stone => tiles.get(stone.n).offsetTop !== first)) || 1;
}

function show(n) {
  open = n;
  const stone = stoneOf.get(n), told = JSON.parse(byId(`stone-${n}`).textContent);
  const place = list.indexOf(stone), small = tiles.get(n).querySelector("img");
  for (const [m, face] of told.faces.entries()) face.url = m === 0 ? small?.src : face.small && jpeg(face.small);
  byId("s-name").textContent = stone.name === String(n) ? `Stone ${n}` : stone.name;
  byId("s-place").textContent = `${place + 1} of ${list.length}` + (place + 1 === n ? "" : `, number ${n}`);
  byId("before").disabled = place <= 0;
  byId("after").disabled = place >= list.length - 1;
  showFace(told.faces[0]);
  byId("picture").setAttribute("aria-label", `Picture of ${byId("s-name").textContent}`);
  byId("s-words").told = told;
  drawWords();
  byId("s-words").scrollTop = 0;
  const word = wordOf(stone);
  byId("scene").value = word ? word.scene : "";
  byId("scene").placeholder = stone.scene ?? "0-100";
  byId("note").value = word ? word.note : "";
}

function drawWords() {
  const stone = stoneOf.get(open), told = byId("s-words").told, word = wordOf(stone), grade = gradeOf(stone);
  const again = stone.retake || told.verdict;
  fill(byId("s-words"),
    el("p", { class: "head" }, grade || told.grade),
    grade && el("p", { class: "small" }, [byWhom(stone), stone.likely.length ? `proposed: ${told.grade}` : told.grade].filter(Boolean).join("; ")),
    word && el("p", {}, el("button", { type: "button", class: "quiet", onclick: takeBack }, "Take my call back")),
    word && !isCall(word) && el("p", { class: "remedy" }, "A note is saved with a grade or a scene beside it."),
    el("p", { class: "small" }, grade ? SHEET.meanings[grade] : told.meaning),
    told.calls.length ? el("div", { class: "word" }, told.calls.map(([by, text, counts]) => el("p", {}, counts ? el("strong", {}, `${by}: ${text}`) : `${by}: ${text}`)), told.counts && el("p", {}, `what counts: ${told.counts}`)) : null,
    again && el("div", { class: "remedy" }, el("strong", {}, `photo: ${told.verdict || "retake"}`), told.remarks.length ? el("ul", {}, told.remarks.map(text => el("li", {}, text))) : null),
    !again && told.remarks.length ? el("ul", {}, told.remarks.map(text => el("li", {}, text))) : null,
    told.faces.length > 1 ? el("div", { class: "faces" }, told.faces.map(face => el("button", { type: "button", onclick: () => showFace(face) }, face.url && el("img", { src: face.url, alt: "" }), `${face.photo}, ${face.state}`))) : null,
    told.chances.length ? el("div", { class: "chances" }, told.chances.toReversed().map(([name, text, percent]) => [el("span", {}, name), el("svg", { viewBox: "0 0 100 8", preserveAspectRatio: "none", "aria-hidden": "true" }, el("rect", { width: percent, height: 8 })), el("span", {}, text)])) : null,
    el("dl", {}, told.reasons.map((text, n) => [el("dt", {}, n ? "" : "why"), el("dd", {}, text)]), told.facts.map(([name, text]) => [el("dt", {}, name), el("dd", {}, text)]), el("dt", {}, "from"), el("dd", {}, told.faces.map(face => `${face.photo}, stone ${face.piece}`).join("; "))),
  );
  for (const button of grades) {
    const mine = button.dataset.grade === word?.grade;
    button.classList.toggle("mine", mine);
    button.classList.toggle("proposed", stone.likely.includes(button.dataset.grade));
    button.setAttribute("aria-pressed", String(mine));
  }
}

function openStone(n) {
  // Calls made while one looks on do not change what comes next.
  list = shown;
  byId("stone").showModal();
  document.documentElement.classList.add("still");
  show(n);
  byId("stone").focus({ preventScroll: true });
}

const tell = text => { byId("said").textContent = text; };

function said(stone) {
  drawTile(stone);
  count_();
}

// A grade on the open stone, or on the small picture that has the focus; then the next one.
function call(stone, grade) {
  const scene = open === null ? null : byId("scene").value.trim();
  if (scene && !(Number(scene) >= 0 && Number(scene) <= 100)) { byId("scene").focus(); tell("A scene is a whole number from 0 to 100."); return; }
  say(stone, scene === null ? { grade } : { grade, scene });
  said(stone);
  const among = open === null ? shown : list, next = among[among.indexOf(stone) + 1];
  tell(`${stone.name}: ${grade}. ${next ? `Next: ${next.name}.` : "That was the last one here."}`);
  if (open === null) { if (next) toTile(next.n); }
  else if (next) { show(next.n); byId("stone").focus({ preventScroll: true }); }
  else drawWords();
}

function takeBack() {
  const stone = stoneOf.get(open ?? roving);
  if (!stone || !wordOf(stone)) { tell("You have called nothing here."); return; }
  unsay(stone);
  said(stone);
  if (open !== null) { show(open); byId("stone").focus({ preventScroll: true }); }
  tell(`${stone.name}: your call is taken back.`);
}

function step(by) {
  const next = list[list.indexOf(stoneOf.get(open)) + by];
  if (next) show(next.n);
}

function press(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const inDialog = open !== null, target = event.target, key = event.key;
  const onTile = !inDialog && target.classList?.contains("open");
  if (!inDialog && !onTile) return;
  if (target.id === "note" || (target.id === "scene" && /^([0-9]|Arrow.*|Tab)$/.test(key))) return;
  const stone = stoneOf.get(inDialog ? open : Number(target.parentNode.id.slice(5)));
  const letter = key.length === 1 ? key.toLowerCase() : "";
  const onButton = inDialog && target.tagName === "BUTTON";
  if (Object.hasOwn(SHEET.keys, letter)) call(stone, SHEET.keys[letter]);
  else if (key === "Backspace" && !(target.id === "scene" && target.value)) { rove(stone.n); takeBack(); }
  else if (onTile) {
    const move = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: columns(), ArrowUp: -columns(), Home: -Infinity, End: Infinity }[key];
    if (!move) return;
    const to = Math.min(shown.length - 1, Math.max(0, shown.indexOf(stone) + move));
    toTile(shown[to].n);
  }
  else if (key === "Enter" && !onButton) { if (stone.likely.length === 1) call(stone, stone.likely[0]); else tell(`No one grade is proposed (${stone.label}); say which.`); }
  else if (/^[0-9]$/.test(key)) { byId("scene").focus(); return; }
  else if (key === " " && !onButton) turnLayer(event.shiftKey ? -1 : 1);
  else if (key === "+") nearer(!isNear());
  else if (key === "ArrowRight" && !isNear()) step(1);
  else if (key === "ArrowLeft" && !isNear()) step(-1);
  else return;
  event.preventDefault();
}

function typed(part) {
  const stone = stoneOf.get(open);
  say(stone, part);
  said(stone);
  drawWords();
}

for (const stone of STONES) {
  const button = tiles.get(stone.n).firstElementChild;
  button.tabIndex = -1;
  button.addEventListener("click", () => { rove(stone.n); openStone(stone.n); });
}
// All anew, after words came or went that were not said here just now.
function redraw() {
  STONES.forEach(drawTile);
  arrange();
  if (open !== null) show(open);
}
function begin(name) {
  callsNow(name.trim());
  const left = unsaved().length;
  byId("kept").textContent = left ? `${plural(left, "call")} of before still here, not saved yet.` : "";
  redraw();
}
byId("by").value = kept("stone-sheet-by") || "";
byId("by").addEventListener("change", () => begin(byId("by").value));
// Said in another window.
addEventListener("storage", event => { if (event.key?.startsWith(PLACE)) { restore(); redraw(); } });
byId("save").addEventListener("click", () => {
  const name = save();
  STONES.filter(wordOf).forEach(drawTile);
  count_();
  if (open !== null) drawWords();
  byId("kept").textContent = `Saved as ${name} where downloads go. There: grader call --from. Elsewhere: send that file to whoever keeps the ledger.`;
});
byId("s-close").addEventListener("click", () => byId("stone").close());
byId("stone").addEventListener("cancel", event => { if (isNear()) { event.preventDefault(); nearer(false); } });
byId("stone").addEventListener("close", () => {
  const last = open;
  open = null;
  nearer(false);
  document.documentElement.classList.remove("still");
  arrange();
  toTile(shown.some(stone => stone.n === last) ? last : shown[0]?.n ?? last);
});
byId("before").addEventListener("click", () => step(-1));
byId("after").addEventListener("click", () => step(1));
for (const button of grades) button.addEventListener("click", () => call(stoneOf.get(open), button.dataset.grade));
byId("choice").addEventListener("submit", event => event.preventDefault());
byId("scene").addEventListener("input", () => {
  byId("scene").value = byId("scene").value.replace(/[^0-9]/g, "");
  if (Number(byId("scene").value) <= 100) typed({ scene: byId("scene").value });
});
byId("note").addEventListener("change", () => typed({ note: byId("note").value.trim() }));
for (const id of ["show", "grade", "sort"]) byId(id).addEventListener("change", arrange);
let typing = null;
for (const id of ["find", "least", "most"]) byId(id).addEventListener("input", () => { clearTimeout(typing); typing = setTimeout(arrange, 200); });
byId("copy").addEventListener("toggle", count_);
document.addEventListener("keydown", press);
byId("weights").hidden = !anyWeighed;
for (const head of document.querySelectorAll(".totals .g")) head.hidden = head.hidden || !anyWeighed;
if (matchMedia("(max-width: 700px)").matches) byId("choose").open = false;
addEventListener("beforeunload", event => { if (!keepsAll && unsaved().length) event.preventDefault(); });
begin(byId("by").value);
