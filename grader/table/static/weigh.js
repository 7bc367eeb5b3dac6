// The weigh-in: one field that keeps the focus; number, blank, weight, enter.
import { byId, el, fill } from "./dom.js";
import { setting } from "./kept.js";
import { get, post, Refused } from "./server.js";
import { who } from "./stones.js";

let kept = 0, line = Promise.resolve();

export async function load() {
  try {
    const { hauls } = await get("/api/scales");
    const chosen = byId("w-haul").value || setting("haul") || hauls.at(-1)?.code || "";
    fill(byId("w-haul"), el("option", { value: "" }, "said with the number"), hauls.map(haul => el("option", { value: haul.code }, `${haul.code}: ${haul.weighed} of ${haul.pieces} weighed, ${haul.weight}`)));
    byId("w-haul").value = hauls.some(haul => haul.code === chosen) ? chosen : "";
    if (!hauls.length) byId("w-begin").open = true;
    const haul = hauls.find(one => one.code === byId("w-haul").value);
    fill(byId("w-open"), haul?.next.length ? haul.next.map(code => el("li", {}, el("button", { type: "button", onclick: () => fillIn(code) }, code))) : el("li", {}, haul ? "all of this haul are weighed" : hauls.length ? "choose a haul" : "no haul yet: begin one above"));
  } catch { byId("w-said").textContent = "The table is out of reach."; }
  byId("w-back").disabled = !kept;
  focus();
}

function fillIn(code) {
  byId("w-typed").value = `${code} `;
  focus();
}

export const focus = () => byId("w-typed").focus();

// The field is free at once for the next piece; what was typed is kept behind, one after the other.
function keep(event) {
  event.preventDefault();
  const typed = byId("w-typed").value.trim();
  if (!typed) { focus(); return; }
  if (!who()) { byId("who").click(); return; }
  const body = { typed, by: who(), new: byId("w-new").checked };
  if (byId("w-haul").value) body.haul = byId("w-haul").value;
  byId("w-typed").value = "";
  focus();
  line = line.then(() => keepOne(body));
}

async function keepOne(body) {
  try {
    const done = await post("/api/scales", body);
    byId("w-said").textContent = done.lines[0];
    byId("w-hint").textContent = [done.hint, ...done.lines.slice(1)].filter(Boolean).join(" ");
    byId("w-list").prepend(el("li", {}, done.lines[0]));
    kept += 1;
    await load();
  } catch (err) {
    const why = err instanceof Refused ? err.message : "the table is out of reach; press enter again";
    byId("w-said").textContent = `Not kept: ${body.typed}: ${why}`;
    byId("w-hint").textContent = "";
    // What was typed comes back to be mended; where the next is being typed already, it waits below.
    if (!byId("w-typed").value) { byId("w-typed").value = body.typed; byId("w-typed").select(); }
    else byId("w-list").prepend(el("li", { class: "remedy" }, el("button", { type: "button", onclick: event => { event.target.parentNode.remove(); byId("w-typed").value = body.typed; focus(); } }, `Not kept, type again: ${body.typed}`)));
  }
}

byId("w-begin-form").addEventListener("submit", async event => {
  event.preventDefault();
  if (!who()) { byId("who").click(); return; }
  const code = byId("w-code").value.trim();
  try {
    byId("w-said").textContent = (await post("/api/hauls", { code, raw: byId("w-raw").value.trim(), by: who() })).words;
    byId("w-begin-form").reset();
    byId("w-begin").open = false;
    setting("haul", code);
    byId("w-haul").value = "";
    load();
  } catch (err) { byId("w-said").textContent = `Not begun: ${err.message || "the table is out of reach"}`; }
});
byId("weigh-form").addEventListener("submit", keep);
byId("w-haul").addEventListener("change", () => { setting("haul", byId("w-haul").value); load(); });
byId("w-back").addEventListener("click", async () => {
  try {
    const { codes } = await post("/api/scales/back", { by: who() });
    byId("w-said").textContent = `Taken back: the weight of ${codes.join(", ")}.`;
    byId("w-list").querySelector("li:not(.remedy)")?.remove();
    kept -= 1;
    load();
  } catch (err) { byId("w-said").textContent = `Not taken back: ${err.message || "out of reach"}`; }
  focus();
});
