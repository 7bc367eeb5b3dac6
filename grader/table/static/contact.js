// All stones at once, about twenty a screen; one is enlarged in its place.
import { byId, el, fill } from "./dom.js";
import { get } from "./server.js";
import { fetchCard, fetchTiles, forgetTiles, tileOf, who } from "./stones.js";
import { showNear } from "./picture.js";

const A_PAGE = 20;
let ids = [], groups = [], page = 0, large = null, lists = 0, draws = 0, sortFrom = () => {};
const CHOICES = ["pile", "grade", "proposed", "haul", "first", "group", "sorter", "size", "state", "lot"], TYPED = ["text", "price_from", "price_to"];

export function whenSortFrom(handler) { sortFrom = handler; }

export async function load() {
  choices();
  const asked = { by: who() };
  for (const name of [...CHOICES, ...TYPED]) asked[name] = byId(`c-${name}`).value.trim();
  for (const name of ["price_from", "price_to"]) asked[name] = asked[name].replace(",", ".");
  byId("c-more").classList.toggle("chosen", ["text", "sorter", "size", "state", "lot", "price_from", "price_to"].some(name => asked[name]));
  const list = ++lists;
  let found;
  try { found = await get("/api/stones", asked); } catch (err) { byId("c-count").textContent = err.message || "The table is out of reach."; return; }
  if (list !== lists) return;  // Others were asked for meanwhile.
  ({ ids, groups } = found);
  page = 0;
  forgetTiles();
  await draw();
}

async function draw() {
  const turn = ++draws;
  const pages = Math.max(1, Math.ceil(ids.length / A_PAGE)), part = ids.slice(page * A_PAGE, (page + 1) * A_PAGE);
  byId("c-count").textContent = ids.length === 1 ? "1 stone" : `${ids.length} stones`;
  byId("c-page").textContent = `page ${page + 1} of ${pages}`;
  byId("c-back").disabled = page === 0;
  byId("c-next").disabled = page >= pages - 1;
  const tiles = new Map((await fetchTiles(part)).map(one => [one.id, tile(one)]));
  if (turn !== draws) return;
  fill(byId("tiles"), part.map((id, n) => [heading(page * A_PAGE + n, n === 0), tiles.get(id)]));
}

// The name of a group stands before its first stone, and again on top of a page in its midst.
function heading(n, onTop) {
  let from = 0;
  for (const group of groups) {
    if (n < from + group.stones) return n === from || onTop ? el("li", { class: "group" }, el("h2", {}, group.name), el("p", {}, n === from ? group.words : "goes on")) : null;
    from += group.stones;
  }
  return null;
}

// What cannot be graded has nothing proposed.
const proposed = one => (["retake", "unfamiliar"].includes(one.proposed) ? one.proposed : `proposed ${one.proposed}`);

function tile(one) {
  const word = one.grade ? el("strong", { class: "own" }, one.grade) : el("strong", { class: "open" }, proposed(one));
  const told = [one.grade && proposed(one), one.differ && "sorters differ", one.left && "for the decider", one.weight?.replace(" ", "\u00a0")];
  return el("li", {}, el("button", { type: "button", class: "tile", onclick: () => enlarge(one.id) },
    el("span", { class: "pic" }, one.picture && el("img", { src: one.picture, alt: "", loading: "lazy" })),
    el("span", { class: "under" }, word, el("small", {}, one.name), told.some(Boolean) && el("small", {}, told.filter(Boolean).join(", ")))));
}

async function enlarge(id) {
  large = id;
  const box = byId("near-box"), one = tileOf(id), n = ids.indexOf(id);
  byId("near-title").textContent = one?.name || "";
  byId("near-words").textContent = one ? [one.grade, proposed(one)].filter(Boolean).join("; ") : "";
  for (const [button, to] of [["near-before", ids[n - 1]], ["near-after", ids[n + 1]]]) {
    byId(button).hidden = false;
    byId(button).disabled = !to;
  }
  byId("near-sort").hidden = false;
  if (!box.open) box.showModal();
  byId("near").focus();
  try {
    const card = await fetchCard(id);
    if (large !== id) return;
    byId("near-title").textContent = card.name;
    byId("near-words").textContent = card.own ? `${card.own}; proposed ${card.headline}` : card.headline;
    showNear(card.pictures.large, card.pictures.small, card.name);
  } catch { byId("near-words").textContent = "The table is out of reach."; }
}

function step(by) {
  const to = ids[ids.indexOf(large) + by];
  if (to) enlarge(to);
}

byId("near-before").addEventListener("click", () => step(-1));
byId("near-after").addEventListener("click", () => step(1));
byId("near-box").addEventListener("keydown", event => {
  if (byId("near-sort").hidden || byId("near").classList.contains("full")) return;
  if (event.key === "ArrowRight") step(1);
  if (event.key === "ArrowLeft") step(-1);
});
byId("near-sort").addEventListener("click", () => { byId("near-box").close(); sortFrom(ids, large); });
byId("c-back").addEventListener("click", () => { page -= 1; draw(); });
byId("c-next").addEventListener("click", () => { page += 1; draw(); });
for (const name of CHOICES) byId(`c-${name}`).addEventListener("change", load);
let typing = null;
for (const name of TYPED) byId(`c-${name}`).addEventListener("input", () => { clearTimeout(typing); typing = setTimeout(load, 250); });

export function totals(rows) {
  fill(byId("totals"), rows.map(row => el("tr", {}, el("th", { scope: "row" }, row.grade || "not called yet"), el("td", {}, String(row.stones)), el("td", {}, String(row.weighed)), el("td", {}, row.weight || "")))); 
}

// What there is to choose among; what is chosen stays so.
async function choices() {
  let found;
  try { found = await get("/api/choices"); } catch { return; }
  for (const name of ["haul", "sorter", "size", "state", "lot"]) {
    const select = byId(`c-${name}`), chosen = select.value;
    fill(select, el("option", { value: "" }, "any"), found[name].map(value => el("option", { value }, value)));
    select.value = found[name].includes(chosen) ? chosen : "";
    select.disabled = !found[name].length;
  }
  byId("c-price").hidden = !found.currency;
  byId("c-currency").textContent = found.currency || "";
}
