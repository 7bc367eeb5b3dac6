// The stone's picture: photo, lines, regions and best view of one place, and the close-up.
import { byId, el, fill } from "./dom.js";
import { setting } from "./kept.js";
import { picture } from "./stones.js";

const LAYERS = ["photo", "lines", "regions", "best view", "cut plan"];
const HANDLERS = { line: () => {} };
const MORE = {};  // By layer, what other files lay over the picture.
let shown = null, layer = LAYERS.includes(setting("layer")) ? setting("layer") : "photo";

export function whenLine(handler) { HANDLERS.line = handler; }

// make(card) returns parts to be laid over the picture, and words below it; tap(card, point) hears a tap, in px of the photo.
export function addToLayer(name, make, tap) { MORE[name] = { make, tap }; }
export const redraw = card => { if (card === shown) draw(); };

// How many words a stone is being measured with: shown over its picture, where the tap was.
const underway = new Map();
export function measuring(card, more) {
  underway.set(card.id, (underway.get(card.id) || 0) + more);
  if (shown?.id === card.id) draw();
}

export function showPicture(card) {
  shown = card;
  draw();
}

export function turnLayer(step) {
  const n = LAYERS.indexOf(layer);
  choose(LAYERS[(n + step + LAYERS.length) % LAYERS.length]);
}

function choose(name) {
  layer = name;
  setting("layer", name);
  draw();
}

const layers = LAYERS.map(name => el("button", {
  type: "button", role: "radio",
  onclick: () => choose(name),
  onkeydown: event => {
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    event.stopPropagation();
    turnLayer(step);
    layers[LAYERS.indexOf(layer)].focus();
  },
}, name));
fill(byId("layers"), layers);

function draw() {
  for (const [n, button] of layers.entries()) {
    button.setAttribute("aria-checked", String(LAYERS[n] === layer));
    button.tabIndex = LAYERS[n] === layer ? 0 : -1;
  }
  if (!shown) { fill(byId("picture")); fill(byId("told")); return; }
  const { pictures, name, photo, stone } = shown;
  const place = byId("picture");
  const large = picture(pictures.large), small = pictures.small && new Image();
  if (small) { small.src = pictures.small; small.alt = ""; }
  const what = large || small;
  if (large) large.alt = `${name}: photo ${photo}, stone ${stone}`;
  const parts = [large?.complete && large.naturalWidth ? null : small, what];
  if (layer === "regions" && pictures.regions) {
    const over = new Image();
    over.src = pictures.regions; over.alt = "";
    parts.push(over);
  }
  if (layer === "best view" && pictures.best) {
    const over = new Image();
    over.src = pictures.best; over.alt = "";
    parts.push(over);
  }
  if (layer === "lines") parts.push(drawing());
  const more = MORE[layer]?.make(shown) || {};
  parts.push(more.parts);
  place.classList.toggle("aims", Boolean(MORE[layer]?.tap));
  parts.push(el("button", { type: "button", class: "nearer", onclick: event => { event.stopPropagation(); near(); } }, "Close-up"));
  if (underway.get(shown.id)) parts.push(el("p", { class: "measuring", id: "measuring", role: "status" }, "Being measured with your word; sort on meanwhile.", el("progress", { "aria-label": "The stone is being measured" })));
  fill(place, parts);
  if (large && !(large.complete && large.naturalWidth)) {
    large.addEventListener("load", () => { if (large.parentNode === place) small?.remove(); }, { once: true });
    large.addEventListener("error", () => {
      large.remove();
      if (small && !small.parentNode) place.prepend(small);
      place.append(el("span", { class: "lacking" }, "the photo is gone; this is the small picture kept of it"));
    }, { once: true });
  }
  fill(byId("told"), words(), more.words);
}

function words() {
  const { pictures } = shown;
  if (layer === "regions") {
    if (!pictures.regions) return [el("span", {}, "no regions were kept of this stone; grade its photo anew")];
    return pictures.counted.map(one => el("span", {}, el("img", { src: one.swatch, alt: "" }), one.words));
  }
  if (layer === "best view") return pictures.best_words.map(text => el("span", {}, text));
  if (layer === "lines") {
    const classes = [...new Set(pictures.lines.map(line => line.class))];
    if (!classes.length) return [el("span", {}, "no line seen")];
    return [...classes.map(name => el("span", {}, sample(name), name)), el("span", {}, "tap a line to say what it is")];
  }
  if (layer === "cut plan") return [];
  return (shown.blocks.find(block => block.name === "photo")?.lines || []).map(text => el("span", {}, `photo ${text}`));
}

const kindOf = name => name.replaceAll(" ", "-");

function sample(name) {
  return el("svg:svg", { viewBox: "0 0 34 12", "aria-hidden": "true" },
    ["under", "over"].map(how => el("svg:path", { d: "M3 6H31", class: `seen ${how} ${kindOf(name)}` })));
}

export const pathOf = points => "M" + points.map(point => point.join(" ")).join("L");

// What is laid over the picture, in px of the photo.
export function overlay(card, label) {
  const [x, y, w, h] = card.pictures.window;
  return el("svg:svg", { viewBox: `${x} ${y} ${w} ${h}`, role: "group", "aria-label": label });
}

// Outline and lines.
function drawing() {
  const [, , w, h] = shown.pictures.window, path = pathOf;
  const svg = overlay(shown, "Lines on the stone");
  for (const how of ["under", "over"]) svg.append(el("svg:path", { d: path(shown.pictures.outline) + "Z", class: `seen ${how}` }));
  const size = Math.max(w, h) / 34;
  for (const line of shown.pictures.lines) {
    const d = path(line.points);
    for (const how of ["under", "over"]) svg.append(el("svg:path", { d, class: `seen ${how} ${kindOf(line.class)}` }));
    const [lx, ly] = line.points[Math.floor(line.points.length / 2)];
    svg.append(el("svg:text", { x: lx + size / 3, y: ly - size / 3, "font-size": size, "stroke-width": size / 5 }, String(line.id)));
    const ask = event => {
      if (event.type === "keydown" && !["Enter", " "].includes(event.key)) return;
      event.preventDefault();
      event.stopPropagation();
      HANDLERS.line(shown, line);
    };
    svg.append(el("svg:path", { d, class: "hit", role: "button", tabindex: 0, "aria-label": `${line.words}; say what it is`, onclick: ask, onkeydown: ask }));
  }
  return svg;
}

// The stone at full size.
export function near(card = shown) {
  if (!card) return;
  const box = byId("near-box");
  byId("near-title").textContent = card.name;
  byId("near-words").textContent = card.headline || "";
  for (const id of ["near-before", "near-after", "near-sort"]) byId(id).hidden = true;
  showNear(card.pictures.whole, card.pictures.small, `${card.name}, close-up`);
  if (!box.open) box.showModal();
  byId("near").focus();
}

export function showNear(url, small, alt) {
  const image = new Image();
  image.alt = alt;
  image.addEventListener("error", () => { if (small && !image.src.endsWith(small)) image.src = small; }, { once: true });
  image.src = url;
  image.addEventListener("click", event => full(!byId("near").classList.contains("full"), event));
  byId("near").classList.remove("full");
  byId("near-size").textContent = "Full size";
  fill(byId("near"), image);
}

function full(on, event) {
  const place = byId("near"), image = place.querySelector("img");
  if (!image) return;
  const box = image.getBoundingClientRect();
  const at = event ? [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height] : [0.5, 0.5];
  place.classList.toggle("full", on);
  // Each px of the photo as one of the screen; a small photo is enlarged all the same.
  const grow = Math.max(1, 1.6 * place.clientWidth / (image.naturalWidth || 1));
  image.style.width = on ? `${image.naturalWidth * grow}px` : "";
  image.style.height = on ? `${image.naturalHeight * grow}px` : "";
  byId("near-size").textContent = on ? "Whole stone" : "Full size";
  if (on) place.scrollTo(at[0] * image.clientWidth - place.clientWidth / 2, at[1] * image.clientHeight - place.clientHeight / 2);
}

byId("near-size").addEventListener("click", () => full(!byId("near").classList.contains("full")));
byId("picture").addEventListener("click", event => {
  const svg = byId("picture").querySelector("svg"), tap = MORE[layer]?.tap;
  if (!tap || !svg || !shown) { near(); return; }
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  tap(shown, [at.x, at.y]);
});
