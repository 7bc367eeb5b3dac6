// The page put together: who sorts, which view, keys, and how far things are.
import { byId, el, fill } from "./dom.js";
import { setting } from "./kept.js";
import { get, post } from "./server.js";
import { begin, waiting, whenSent } from "./sender.js";
import { forgetAll, forgetTiles, who } from "./stones.js";
import * as adding from "./add.js";
import * as learning from "./learn.js";
import * as lots from "./lots.js";
import * as contact from "./contact.js";
import * as sorting from "./sort.js";
import * as weighing from "./weigh.js";
import * as teaching from "./teach.js";

const VIEWS = { sort: () => sorting.load(first), contact: contact.load, weigh: weighing.load, add: adding.load, teach: teaching.load, learn: learning.load, lots: lots.load };
const leave = () => { adding.leave(); learning.leave(); };
let view = "sort", stones = -1, done = false;
let first = /^#[0-9a-f]{16}-\d+$/.test(location.hash) ? location.hash.slice(1) : undefined;

function show(name) {
  view = name;
  for (const section of document.querySelectorAll(".view")) section.hidden = section.id !== name;
  for (const button of document.querySelectorAll("[data-view]")) {
    if (button.dataset.view === name) { button.setAttribute("aria-current", "page"); button.scrollIntoView({ block: "nearest", inline: "center" }); }
    else button.removeAttribute("aria-current");
  }
}
async function turn(name) {
  leave();
  show(name);
  await VIEWS[name]();
  first = undefined;
}
for (const button of document.querySelectorAll("[data-view]")) button.addEventListener("click", () => turn(button.dataset.view));
const sortFrom = (ids, id) => { leave(); show("sort"); sorting.open(ids, id); };
contact.whenSortFrom(sortFrom);
adding.whenSort(sortFrom);

function named() {
  byId("who").textContent = who() || "Who is sorting?";
}
async function askWho() {
  byId("who-name").value = who();
  byId("who-box").showModal();
  byId("who-name").focus();
  let people = [];
  try { ({ people } = await get("/api/people")); } catch { /* the name is typed then */ }
  fill(byId("people"), people.map(name => el("li", {}, el("button", { type: "button", onclick: () => choose(name) }, name))));
}
function choose(name) {
  if (!name.trim()) return;
  if (name.trim() !== who()) { sorting.newSorter(); teaching.newSorter(); }
  setting("who", name.trim());
  byId("who-box").close();
  named();
  forgetAll();
  forgetTiles();
  turn(view);
  progress();
}
byId("who").addEventListener("click", askWho);
byId("who-form").addEventListener("submit", event => { event.preventDefault(); choose(byId("who-name").value); });
byId("share")?.addEventListener("click", async () => {
  byId("share-box").showModal();
  try {
    const { host, rows } = await post("/api/code", { by: who() || "unnamed" });
    const dark = rows.flatMap((row, y) => row.map((cell, x) => (cell ? `M${x} ${y}h1v1h-1z` : ""))).join("");
    fill(byId("share-code"), el("svg:svg", { viewBox: `0 0 ${rows.length} ${rows.length}`, role: "img", "aria-label": "Code to scan", class: "code" }, el("svg:rect", { width: rows.length, height: rows.length, fill: "#fff" }), el("svg:path", { d: dark, fill: "#000" })));
    byId("share-words").textContent = `Scan it with a phone in the same network. The table is at ${host}.`;
  } catch (err) { byId("share-words").textContent = err.message || "The table is out of reach."; }
});
byId("help").addEventListener("click", () => byId("help-box").showModal());
for (const button of document.querySelectorAll("[data-close]")) button.addEventListener("click", () => button.closest("dialog").close());
byId("keys-on").checked = setting("keys") !== false;
byId("keys-on").addEventListener("change", () => setting("keys", byId("keys-on").checked));

addEventListener("keydown", event => {
  if (view !== "sort" || document.querySelector("dialog[open]") || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  const on = event.target.tagName;
  if (on === "SELECT" || (on === "INPUT" && event.target.id !== "scene") || !byId("keys-on").checked) return;
  if (["BUTTON", "A", "path"].includes(on) && ["Enter", " "].includes(event.key)) return;
  if (event.target.id === "words" && event.key === " ") return;
  if (sorting.press(event)) event.preventDefault();
});

// Who points gives the keys back to the stone; who goes by keyboard stays where they are.
let pointed = false;
addEventListener("pointerdown", () => { pointed = true; }, true);
addEventListener("keydown", () => { pointed = false; }, true);
const release = () => { if (pointed) document.activeElement?.blur?.(); };
for (const select of document.querySelectorAll("#sort select")) select.addEventListener("change", release);
for (const box of document.querySelectorAll("dialog")) box.addEventListener("close", release);
if (byId("share") && !["127.0.0.1", "localhost"].includes(location.hostname)) byId("share").hidden = true;

function waitingWords(count, out) {
  byId("waiting").hidden = count === 0 || (!out && count < 3);
  byId("waiting").textContent = `${count} word${count === 1 ? "" : "s"} waiting to be sent`;
}
whenSent(({ waiting: count, out }) => waitingWords(count, out));

async function progress() {
  try {
    const now = await get("/api/progress", { by: who() });
    const called = now.piles.mine, left = now.piles.left;
    const laying = now.done ? "" : `laying out ${now.laid} of ${now.photos} photos · `;
    if (now.error) byId("progress").textContent = now.error;
    else fill(byId("progress"), el("span", { class: "far" }, laying), `${called} of ${now.stones}`, el("span", { class: "far" }, ` called${left ? ` · ${left} for the decider` : ""}${now.failed.length ? ` · ${now.failed.length} not read` : ""}`));
    byId("progress").title = now.failed.join("\n");
    for (const select of ["pile", "c-pile"]) for (const option of byId(select).options) option.textContent = `${option.dataset.words} (${now.piles[option.value]})`;
    contact.totals(now.totals);
    if (now.stones !== stones && view === "sort") await (stones <= 0 ? sorting.load(first) : sorting.more());
    stones = now.stones;
    done = now.done;
  } catch { byId("progress").textContent = "the table is out of reach"; }
}
async function tick() {
  await progress();
  setTimeout(tick, done ? 5000 : 700);
}

named();
show("sort");
if (!who()) askWho();
waitingWords(waiting(), true);
begin();
adding.begin();
tick();
