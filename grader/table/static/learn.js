// Learning: the report first, then somebody takes the new model or keeps the old one.
import { byId, el, fill } from "./dom.js";
import { get, post } from "./server.js";
import { who } from "./stones.js";

let shown = false, timer = null, lesson = null;

export async function load() {
  shown = true;
  try {
    const { people } = await get("/api/people"), chosen = byId("l-whose").value;
    const fixed = [...byId("l-whose").options].slice(0, 2);
    fill(byId("l-whose"), fixed, people.map(name => el("option", { value: `by ${name}` }, `${name}'s calls alone`)));
    if ([...byId("l-whose").options].some(one => one.value === chosen)) byId("l-whose").value = chosen;
  } catch { /* told below */ }
  look();
}
export function leave() { shown = false; clearTimeout(timer); }

async function look() {
  clearTimeout(timer);
  if (!shown) return;
  try { draw(await get("/api/lesson")); } catch { byId("l-now").textContent = "The table is out of reach."; }
  timer = setTimeout(look, ["looking", "learning"].includes(lesson?.state) ? 700 : 5000);
}

const WORDS = { looking: "looking at what was called", learning: "learning and judging" };
const ENDS = { judged: "The report is ready. Read it, then say what becomes of it.", taken: "took the new model: all proposals are made anew with it.", left: "kept the old model." };

function draw(now) {
  lesson = now.lesson;
  byId("l-use").textContent = `In use: ${now.in_use}.`;
  byId("l-back").hidden = !now.before;
  byId("l-back").textContent = `Back to the model before: ${now.before}`;
  const going = Boolean(lesson && WORDS[lesson.state]), judged = Boolean(lesson?.lines.length);
  byId("l-begin").disabled = going;
  byId("l-step").hidden = !going;
  if (going && lesson.steps) byId("l-step").value = lesson.step / lesson.steps;
  else byId("l-step").removeAttribute("value");
  byId("l-now").textContent = !lesson ? "" : lesson.error ? `Not learned: ${lesson.error}` : going ? `${WORDS[lesson.state]}${lesson.steps ? `: ${lesson.step} of ${lesson.steps}` : ""}` : lesson.state === "judged" ? ENDS.judged : `${lesson.decided_by} ${ENDS[lesson.state]}`;
  byId("l-report").hidden = !judged;
  if (!judged) return;
  const [verdict, ...lines] = lesson.lines;
  byId("l-verdict").textContent = `${verdict[0].toUpperCase()}${verdict.slice(1)}.`;
  byId("l-from").textContent = lesson.made_from;
  byId("l-lines").textContent = lines.join("\n");
  byId("l-lines").hidden = !lines.length;
  byId("l-answers").hidden = lesson.state !== "judged";
}

async function say(path, body) {
  if (!who()) { byId("who").click(); return; }
  try { draw(await post(path, body)); } catch (err) { byId("l-now").textContent = err.message || "The table is out of reach."; return; }
  look();
}

byId("l-form").addEventListener("submit", event => {
  event.preventDefault();
  const whose = byId("l-whose").value, body = { by: who() };
  if (whose === "agreed") body.agreed = true;
  else if (whose) body.whose = whose.slice(3);
  say("/api/lesson", body);
});
byId("l-take").addEventListener("click", () => say("/api/lesson/decided", { uid: lesson.uid, take: true, by: who() }));
byId("l-leave").addEventListener("click", () => say("/api/lesson/decided", { uid: lesson.uid, take: false, by: who() }));
byId("l-back").addEventListener("click", () => say("/api/lesson/back", { by: who() || "unnamed" }));
