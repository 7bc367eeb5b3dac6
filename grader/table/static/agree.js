// How well people agree, and the stones and pairs that divide them most.
import { byId, el, fill } from "./dom.js";
import { get } from "./server.js";

export function worst(one) {
  return el("figure", {},
    one.picture ? el("img", { src: one.picture, alt: one.name, loading: "lazy" }) : null,
    el("figcaption", {}, el("span", {}, one.name), el("dl", {}, one.says.map(call => el("div", {}, el("dt", {}, call.who), el("dd", {}, call.says))))));
}

const COMPARED = { scene: "the better scene", grade: "the better stone" };

function pair(one) {
  return el("div", { class: "pair" },
    el("p", {}, `${one.by} took the first for ${COMPARED[one.of]}; the calls say the opposite.`),
    one.sides.map(side => el("figure", {}, side.picture ? el("img", { src: side.picture, alt: side.name, loading: "lazy" }) : null, el("figcaption", {}, el("span", {}, side.name), el("strong", {}, side.says)))));
}

export async function load() {
  byId("agree-said").textContent = "The calls are being held beside each other.";
  try {
    const found = await get("/api/agreement");
    byId("agree-said").textContent = "";
    fill(byId("agree-lines"), found.lines.map(text => el("li", {}, text)));
    fill(byId("agree-worst"),
      found.stones.length ? el("h2", {}, "Stones that divide you most") : null,
      el("div", { class: "worst" }, found.stones.map(worst)),
      found.pairs.length ? el("h2", {}, "Pairs against calls") : null,
      el("div", { class: "worst pairs" }, found.pairs.map(pair)));
  } catch (err) { byId("agree-said").textContent = err.message || "The table is out of reach."; }
}
