// Photos added: dropped, chosen or taken; sent in parts, one after the other, and told of until they are graded.
import { byId, el, fill, tell } from "./dom.js";
import { coming, hold, letGo } from "./coming.js";
import { newUid, setting } from "./kept.js";
import { get, post, postPart, Refused } from "./server.js";
import { who } from "./stones.js";

const PART = 500000;
let busy = false, wait = 0, timer = null, looking = null, shown = false, sortFrom = () => {};
const sent = new Map(), lines = new Map();  // Share that is there, and why one was not taken, by uid.

export function whenSort(handler) { sortFrom = handler; }

export async function load() {
  shown = true;
  try {
    const { hauls } = await get("/api/scales");
    fill(byId("a-haul"), el("option", { value: "" }, "no haul"), hauls.map(haul => el("option", {}, haul.code)));
    if (hauls.some(haul => haul.code === setting("add-haul"))) byId("a-haul").value = setting("add-haul");
  } catch { /* told below */ }
  look();
}
export function leave() { shown = false; clearTimeout(looking); }

export async function add(files) {
  if (!files.length) return;
  if (!who()) { byId("who").click(); return; }
  const at = Date.now();
  for (const [n, file] of [...files].entries()) {
    await hold({ uid: newUid(), name: file.name || "photo", file, by: who(), haul: byId("a-haul").value || null, at: at + n / 1000 });
  }
  tell(files.length === 1 ? `${files[0].name} is being sent.` : `${files.length} photos are being sent.`);
  draw(null);
  send();
}

async function send() {
  if (busy) return;
  busy = true;
  clearTimeout(timer);
  try {
    for (let left = await waiting(); left.length; left = await waiting()) {
      await sendOne(left[0]);
      wait = 0;
    }
  } catch {
    // Out of reach: what is left goes on from where it is.
    wait = Math.min(15000, wait ? wait * 2 : 1000);
    timer = setTimeout(send, wait);
    if (shown) byId("a-now").textContent = "The table is out of reach; the photos wait here and go on by themselves.";
  } finally { busy = false; }
}
const waiting = async () => (await coming()).filter(one => !lines.has(one.uid));

async function sendOne(one) {
  try {
    const asked = { uid: one.uid, name: one.name, bytes: one.file.size, by: one.by };
    if (one.haul) asked.haul = one.haul;
    let now = await post("/api/photos", asked);
    while (now.state === "coming") {
      sent.set(one.uid, now.have / one.file.size);
      draw(null);
      now = await postPart(`/api/photos/${one.uid}/part?at=${now.have}`, one.file.slice(now.have, now.have + PART));
    }
    sent.delete(one.uid);
    await letGo(one.uid);
    look();
  } catch (err) {
    if (!(err instanceof Refused) || err.status >= 500 || err.status === 403) throw err;
    if (err.status === 404) return;  // Dropped on the way, by somebody: it is begun again.
    lines.set(one.uid, err.message);
    draw(null);
  }
}

let last = null;
async function look() {
  clearTimeout(looking);
  if (!shown) return;
  try {
    draw(await get("/api/photos"));
    const moving = last.photos.some(one => ["coming", "landed", "grading"].includes(one.state));
    looking = setTimeout(look, moving || sent.size ? 700 : 4000);
  } catch {
    byId("a-now").textContent = "The table is out of reach; the photos wait here and go on by themselves.";
    looking = setTimeout(look, 3000);
  }
}

const WORDS = { coming: "on its way", landed: "waits to be graded", grading: "is being graded" };

async function draw(now) {
  last = now || last;
  const there = new Set((last?.photos || []).map(one => one.uid)), own = await coming();
  if (!shown) return;
  const here = own.filter(one => !there.has(one.uid)).map(one => ({ uid: one.uid, name: one.name, state: "here", line: lines.get(one.uid), by: one.by }));
  const all = [...here.reverse(), ...(last?.photos || [])], count = state => all.filter(one => one.state === state).length;
  const open = count("here") + count("coming"), left = last?.waiting || 0;
  byId("a-now").textContent = last?.error ? `Nothing is graded just now: ${last.error}` : open || left ? [open && `${open} to send`, left && `${left} to grade`, count("graded") && `${count("graded")} graded`].filter(Boolean).join(", ") : ends(count("graded"), count("refused"));
  fill(byId("a-list"), all.map(row));
  const watched = last?.watched;
  byId("a-watched").hidden = !watched;
  if (watched) byId("a-watched").textContent = watched.lacks || `The folder ${watched.folder} is watched: ${watched.graded} graded from it since the table was opened${watched.known ? `, ${watched.known} known from before` : ""}.`;
  fill(byId("a-refused"), (watched?.refused || []).map(line => el("li", { class: "remedy" }, line)));
}

function ends(graded, refused) {
  return [graded && `All graded: ${graded}.`, refused && `${refused} could not be used.`].filter(Boolean).join(" ");
}

function row(one) {
  const share = sent.get(one.uid) ?? one.share, done = ["graded", "refused"].includes(one.state) || one.line;
  return el("li", { class: one.state === "refused" || (one.state === "here" && one.line) ? "remedy" : null },
    el("p", {}, one.line || el("span", {}, el("strong", {}, one.name), ` ${WORDS[one.state] || "waits here to be sent"}`)),
    !done && share !== null && share !== undefined ? el("progress", { max: 1, value: share, "aria-label": `${one.name}, how much is there` }) : null,
    one.stones?.length ? el("button", { type: "button", class: "quiet", onclick: () => sortFrom(one.stones, one.stones[0]), "aria-label": `Sort the stones of ${one.name}` }, "Sort these") : null,
    one.state === "here" && one.line ? el("button", { type: "button", class: "quiet", onclick: () => { lines.delete(one.uid); draw(null); send(); } }, "Send it again") : null,
    one.again ? el("button", { type: "button", class: "quiet", onclick: () => act(one, "again") }, "Try again") : null,
    done || one.state === "coming" ? el("button", { type: "button", class: "quiet", "aria-label": `Take ${one.name} off the list`, onclick: () => act(one, "drop") }, "Off the list") : null);
}

async function act(one, what) {
  try {
    await letGo(one.uid);
    lines.delete(one.uid);
    sent.delete(one.uid);
    if (one.state !== "here") await post(`/api/photos/${one.uid}/${what}`, { by: who() || "unnamed" });
  } catch { /* told by the next look */ }
  look();
}

for (const id of ["a-files", "a-camera"]) byId(id).addEventListener("change", event => { add([...event.target.files]); event.target.value = ""; });
byId("a-haul").addEventListener("change", () => setting("add-haul", byId("a-haul").value));

// Anywhere on the page: a photo that misses the field must not open in the place of the table.
addEventListener("dragover", event => { event.preventDefault(); byId("a-drop").classList.add("over"); });
addEventListener("dragleave", event => { if (!event.relatedTarget) byId("a-drop").classList.remove("over"); });
addEventListener("drop", event => {
  event.preventDefault();
  byId("a-drop").classList.remove("over");
  const files = [...(event.dataTransfer?.files || [])];
  if (!files.length) return;
  document.querySelector('[data-view="add"]').click();
  add(files);
});

addEventListener("online", send);
document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
export const begin = send;
