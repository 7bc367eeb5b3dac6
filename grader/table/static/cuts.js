// The cut plan of a stone, laid over its photo: asked for when the layer is shown, for it takes a while.
import { el } from "./dom.js";
import { setting } from "./kept.js";
import { get } from "./server.js";
import { addToLayer, overlay, pathOf, redraw } from "./picture.js";

const plans = new Map();  // By stone, measurement and template: the plans, or why there are none.
const PLANS = [["most", "most pieces"], ["scenes", "best scenes first"]];

const template = () => setting("template") || "30x22";
const chosen = () => (setting("plan") === "scenes" ? "scenes" : "most");

function make(card) {
  const key = `${card.id} ${card.measured} ${template()}`, plan = plans.get(key);
  if (!plans.has(key)) fetchPlan(card, key);
  const svg = overlay(card, "Templates on the stone"), [, , w, h] = card.pictures.window, size = Math.max(w, h) / 30;
  const draw = d => { for (const how of ["under", "over"]) svg.append(el("svg:path", { d, class: `seen ${how}` })); };
  draw(pathOf(card.pictures.outline) + "Z");
  for (const line of card.pictures.lines) svg.append(el("svg:path", { d: pathOf(line.points), class: `seen thin ${line.class.replaceAll(" ", "-")}` }));
  for (const one of plan?.plans?.find(named => named.name === chosen()).templates || []) {
    draw(pathOf(one.outline) + "Z");
    if (one.scene !== null) draw(pathOf(one.tick));
    const x = one.outline.reduce((sum, point) => sum + point[0], 0) / one.outline.length;
    const y = one.outline.reduce((sum, point) => sum + point[1], 0) / one.outline.length;
    svg.append(el("svg:text", { x, y: y + size / 3, "font-size": size, "stroke-width": size / 5, "text-anchor": "middle" }, String(one.number)));
  }
  return { parts: [svg], words: [controls(card), said(plan)] };
}

function said(plan) {
  if (!plan) return el("p", { class: "plan" }, "The cuts are being planned; sort on meanwhile.");
  if (plan.error) return el("p", { class: "plan" }, plan.error);
  return el("ul", { class: "plan" }, plan.lines.map(text => el("li", {}, text)));
}

function controls(card) {
  const size = el("input", { type: "text", value: template(), maxlength: 20, size: 6, "aria-label": "Oval in mm, as 30x22", onchange: event => { setting("template", event.target.value.trim() || "30x22"); redraw(card); } });
  const plan = el("select", { "aria-label": "Which plan is drawn", onchange: event => { setting("plan", event.target.value); redraw(card); } }, PLANS.map(([name, words]) => el("option", { value: name, selected: name === chosen() }, words)));
  return el("span", { class: "cut" }, "oval ", size, " mm ", plan);
}

async function fetchPlan(card, key) {
  plans.set(key, null);
  try { plans.set(key, await get(`/api/stones/${card.id}/cuts`, { template: template() })); }
  catch (err) { plans.set(key, { error: err.message || "The table is out of reach." }); }
  redraw(card);
  if (plans.get(key)?.error) plans.delete(key);
}

addToLayer("cut plan", make);
