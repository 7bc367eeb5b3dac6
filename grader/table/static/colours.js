// Spots on a few stones teach the colours: each is tried at once, and nothing is saved before it is asked for.
import { byId, el, fill, tell } from "./dom.js";
import { setting } from "./kept.js";
import { get, post } from "./server.js";
import { fetchCard, fetchTiles, picture, who } from "./stones.js";
import { overlay } from "./picture.js";

const VERDICTS = { gain: "a gain on stones held out", "no gain": "no gain: keep the profile you had", "too few": "too few spots to tell yet" };
const MOST = 400;
let ids = [], card = null, found = null, asked = 0, busy = false, timer = null, layer = "photo", aim = null;
// Spots outlive the page: a closed browser loses none. Those on stones that are not laid out, or not yet, wait.
let spots = setting("spots") || [];
const here = () => spots.filter(one => ids.includes(one.stone));
const kinds = [...document.querySelectorAll("[data-kind]")];
let kind = kinds[0].dataset.kind;

export async function load() {
  turnKind(kind);
  turnLayer(layer);
  try {
    ids = (await get("/api/stones", { by: who(), pile: "all" })).ids.slice(0, MOST);
    const tiles = await fetchTiles(ids), chosen = byId("k-stone").value;
    fill(byId("k-stone"), tiles.map(one => el("option", { value: one.id }, one.name)));
    if (ids.includes(chosen)) byId("k-stone").value = chosen;
    await show();
    again(0);
  } catch (err) { byId("k-verdict").textContent = err.message || "The table is out of reach."; }
}

async function show() {
  const id = byId("k-stone").value;
  byId("k-before").disabled = ids.indexOf(id) <= 0;
  byId("k-after").disabled = ids.indexOf(id) >= ids.length - 1;
  if (!id) { card = null; fill(byId("k-picture")); return; }
  const found = await fetchCard(id);
  if (byId("k-stone").value !== id) return;
  card = found;
  aim = null;
  draw();
}

function step(by) {
  const to = ids[ids.indexOf(byId("k-stone").value) + by];
  if (to) { byId("k-stone").value = to; show(); again(0); }
}

function draw() {
  if (!card) return;
  const { pictures, name } = card, image = picture(pictures.large).cloneNode();
  image.alt = name;
  image.addEventListener("error", () => { if (pictures.small && !image.src.endsWith(pictures.small)) image.src = pictures.small; }, { once: true });
  const over = layer === "now" ? pictures.regions : layer === "then" ? found?.stone === card.id && found.after : null;
  const own = spots.filter(one => one.stone === card.id), svg = overlay(card, "Spots on the stone");
  const [x, y, w, h] = pictures.window, size = Math.max(w, h) / 38;
  for (const one of own) {
    for (const how of ["under", "over"]) svg.append(el("svg:circle", { cx: one.x, cy: one.y, r: size / 3, class: `seen ${how}` }));
    svg.append(el("svg:text", { x: one.x + size / 2, y: one.y - size / 3, "font-size": size, "stroke-width": size / 5 }, one.says));
  }
  svg.append(aiming(svg, [x, y, w, h], size));
  fill(byId("k-picture"), image, over && el("img", { src: over, alt: "" }), svg,
    layer === "then" && !over && el("span", { class: "lacking" }, own.length ? "being worked out" : "mark a spot on this stone to see it"));
  const all = here(), stones = new Set(all.map(one => one.stone)).size;
  byId("k-count").textContent = `${all.length === 1 ? "1 spot" : `${all.length} spots`} on ${stones === 1 ? "1 stone" : `${stones} stones`}`;
  byId("k-back").disabled = byId("k-clear").disabled = !all.length;
}

// By keyboard: arrow keys aim, Enter marks.
function aiming(svg, [x, y, w, h], size) {
  aim ??= [x + w / 2, y + h / 2];
  const group = el("svg:g"), put = () => {
    spot.setAttribute("cx", aim[0]); spot.setAttribute("cy", aim[1]);
    cross.setAttribute("d", `M${aim[0] - size} ${aim[1]}h${2 * size}M${aim[0]} ${aim[1] - size}v${2 * size}`);
  };
  const spot = el("svg:circle", { r: size, class: "spot aim", role: "button", tabindex: 0, "aria-label": "Aim at a place: arrow keys move, Enter marks it", onkeydown: event => {
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key], far = Math.max(w, h) / (event.shiftKey ? 200 : 40);
    if (!by && !["Enter", " "].includes(event.key)) return;
    event.preventDefault();
    event.stopPropagation();
    if (by) { aim = [Math.min(x + w - 1, Math.max(x, aim[0] + far * by[0])), Math.min(y + h - 1, Math.max(y, aim[1] + far * by[1]))]; put(); }
    else { mark(aim); byId("k-picture").querySelector(".aim")?.focus(); }
  } });
  const cross = el("svg:path", { class: "seen cross" });
  put();
  group.append(spot, cross);
  return group;
}

function mark([x, y]) {
  if (!card) return;
  spots.push({ stone: card.id, x: Math.max(0, Math.round(x)), y: Math.max(0, Math.round(y)), says: kind });
  kept(`Marked ${kind}.`);
}

function kept(words) {
  setting("spots", spots);
  draw();
  again(400);
  tell(words);
}

byId("k-picture").addEventListener("click", event => {
  const svg = byId("k-picture").querySelector("svg");
  if (!svg) return;
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse()), [x, y, w, h] = card.pictures.window;
  if (at.x >= x && at.y >= y && at.x < x + w && at.y < y + h) mark([at.x, at.y]);
});

function again(wait) {
  clearTimeout(timer);
  timer = setTimeout(tryOut, wait);
}

const body = () => ({ by: who(), spots: here(), words: byId("k-words").checked });

// One try at a time, and only the last one counts: while it is worked out, more spots may come.
async function tryOut() {
  asked += 1;
  if (busy) return;
  busy = true;
  for (let mine = 0; mine !== asked;) { mine = asked; await tryOnce(() => mine === asked); }
  busy = false;
}

async function tryOnce(last) {
  byId("k-save").disabled = true;
  if (!here().length && !byId("k-words").checked) { nothing("Choose a colour, then tap where it is: two or three of each on four or five stones."); return; }
  byId("k-verdict").textContent = "Being worked out; mark on meanwhile.";
  try {
    const stone = card?.id, answer = await post("/api/colours/try", { ...body(), ...(stone ? { shown: stone } : {}) });
    if (!last()) return;
    found = { ...answer, stone };
    byId("k-verdict").textContent = VERDICTS[answer.verdict] || answer.verdict;
    byId("k-more").hidden = false;
    fill(byId("k-lines"), answer.lines.map(text => el("li", {}, text)));
    byId("k-elsewhere").textContent = "Being seen on stones without a spot.";
    draw();
    const haul = await post("/api/colours/try", { ...body(), haul: true });
    if (!last()) return;
    byId("k-table").hidden = !haul.shares.length;
    fill(byId("k-shares"), haul.shares.map(row => el("tr", {}, el("th", { scope: "row" }, row.name), el("td", {}, row.before), el("td", {}, row.after))));
    byId("k-elsewhere").textContent = haul.elsewhere;
    byId("k-save").disabled = false;
  } catch (err) { if (last()) nothing(err.message || "The table is out of reach; your spots are kept here."); }
}

function nothing(words) {
  found = null;
  byId("k-verdict").textContent = words;
  byId("k-table").hidden = byId("k-more").hidden = true;
  byId("k-elsewhere").textContent = "";
  draw();
}

function turnKind(name) {
  kind = name;
  for (const button of kinds) {
    button.setAttribute("aria-checked", String(button.dataset.kind === name));
    button.tabIndex = button.dataset.kind === name ? 0 : -1;
  }
}
const layers = [...document.querySelectorAll("[data-k]")];
function turnLayer(name) {
  layer = name;
  for (const button of layers) {
    button.setAttribute("aria-checked", String(button.dataset.k === name));
    button.tabIndex = button.dataset.k === name ? 0 : -1;
  }
  draw();
}
for (const [group, turn, key] of [[kinds, turnKind, "kind"], [layers, turnLayer, "k"]]) {
  for (const [n, button] of group.entries()) {
    button.addEventListener("click", () => turn(button.dataset[key]));
    button.addEventListener("keydown", event => {
      const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
      if (!by) return;
      event.preventDefault();
      const to = group[(n + by + group.length) % group.length];
      turn(to.dataset[key]);
      to.focus();
    });
  }
}
byId("k-stone").addEventListener("change", () => { show(); again(0); });
byId("k-before").addEventListener("click", () => step(-1));
byId("k-after").addEventListener("click", () => step(1));
byId("k-back").addEventListener("click", () => { const last = here().at(-1); spots = spots.filter(one => one !== last); kept("The last spot is taken back."); });
byId("k-clear").addEventListener("click", () => { const all = here(); spots = spots.filter(one => !all.includes(one)); kept("All spots are taken back."); });
byId("k-words").addEventListener("change", () => again(0));
byId("k-form").addEventListener("submit", async event => {
  event.preventDefault();
  byId("k-said").textContent = "Being saved.";
  try { byId("k-said").textContent = (await post("/api/colours/save", { ...body(), name: byId("k-name").value.trim() || "mine" })).words; }
  catch (err) { byId("k-said").textContent = `Not saved: ${err.message || "the table is out of reach"}`; }
});
