"use strict";
// The open stone's picture: photo, lines, regions and best view of one place, at any size.
const LAYERS = ["photo", "lines", "regions", "best view"];
const LAYER_KEY = "stone-sheet-layer";
let shownFace = null, layer = LAYERS.includes(kept(LAYER_KEY)) ? kept(LAYER_KEY) : "photo";

// Elements made by hand: text is only ever text, so that a name from a file is never markup.
function el(tag, given = {}, ...children) {
  const svg = ["svg", "path", "text", "rect"].includes(tag);
  const made = svg ? document.createElementNS("http://www.w3.org/2000/svg", tag) : document.createElement(tag);
  for (const [key, value] of Object.entries(given)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.flat(Infinity).filter(child => child !== null && child !== undefined && child !== false && child !== ""));
  return made;
}
const fill = (where, ...children) => where.replaceChildren(...children.flat(Infinity).filter(child => child !== null && child !== undefined && child !== false && child !== ""));

const jpeg = text => `data:image/jpeg;base64,${text}`;
const png = text => `data:image/png;base64,${text}`;
const kindOf = name => name.replaceAll(" ", "-");
const outlined = points => "M" + points.map(point => point.join(" ")).join("L");

function showFace(face) {
  shownFace = face;
  nearer(false);
  drawPicture();
}

function turnLayer(step) {
  layer = LAYERS[(LAYERS.indexOf(layer) + step + LAYERS.length) % LAYERS.length];
  keep(LAYER_KEY, layer);
  drawPicture();
}

const layerButtons = LAYERS.map((name, n) => el("button", {
  type: "button", role: "radio",
  onclick: () => turnLayer(n - LAYERS.indexOf(layer)),
  onkeydown: event => {
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    event.stopPropagation();
    turnLayer(step);
    layerButtons[LAYERS.indexOf(layer)].focus();
  },
}, name));
fill(byId("layers"), layerButtons);

function drawPicture() {
  for (const [n, button] of layerButtons.entries()) {
    button.setAttribute("aria-checked", String(LAYERS[n] === layer));
    button.tabIndex = LAYERS[n] === layer ? 0 : -1;
  }
  const face = shownFace, image = new Image();
  image.alt = `${face.photo}, stone ${face.piece}`;
  image.className = "photo";
  image.addEventListener("error", () => {
    if (!face.url || image.src === face.url) return;
    image.src = face.url;
    byId("told").append(el("span", { class: "lacking" }, "the folder of large pictures is not beside this page; this is the small one"));
  });
  image.src = face.large ? jpeg(face.large) : face.beside || face.url || "";
  const over = layer === "regions" && face.regions ? el("img", { src: png(face.regions), alt: "" }) : null;
  fill(byId("frame"), image, over, layer === "lines" || layer === "best view" ? drawing(face) : null);
  fill(byId("told"), pictureWords(face));
}

function pictureWords(face) {
  if (layer === "photo") return [el("span", {}, `photo: ${face.state}`)];
  if (layer === "lines") {
    const classes = [...new Set(face.lines.map(line => line.class))];
    return classes.length ? classes.map(name => el("span", {}, sample(name), name)) : [el("span", {}, "no line seen")];
  }
  if (layer === "best view") return face.best_words.map(text => el("span", {}, text));
  if (!face.regions) return [el("span", {}, "no regions were kept of this stone; grade its photo anew")];
  return face.counted.map(([swatch, text]) => el("span", {}, el("img", { src: png(swatch), alt: "" }), text));
}

const sample = name => el("svg", { viewBox: "0 0 34 12", "aria-hidden": "true" }, twice({ d: "M3 6H31" }, kindOf(name)));
const twice = (given, kind) => ["under", "over"].map(how => el("path", { ...given, class: `seen ${how} ${kind}` }));

// In px of the photo.
function drawing(face) {
  const [x, y, w, h] = face.window, size = Math.max(w, h) / 34;
  const svg = el("svg", { viewBox: `${x} ${y} ${w} ${h}`, "aria-hidden": "true" });
  if (layer === "best view") {
    if (face.best) svg.append(el("path", { d: `M${x} ${y}h${w}v${h}h${-w}Z${outlined(face.best)}Z`, class: "dim" }), ...twice({ d: outlined(face.best) + "Z" }, "rim"));
    return svg;
  }
  svg.append(...twice({ d: outlined(face.outline) + "Z" }, "rim"));
  for (const line of face.lines) {
    const [lx, ly] = line.points[Math.floor(line.points.length / 2)];
    svg.append(...twice({ d: outlined(line.points) }, kindOf(line.class)));
    svg.append(el("text", { x: lx + size / 3, y: ly - size / 3, "font-size": size, "stroke-width": size / 5 }, String(line.id)));
  }
  return svg;
}

const isNear = () => byId("picture").classList.contains("near");

// Each px of the picture as one of the screen, or the whole stone again.
function nearer(on, event) {
  const place = byId("picture"), frame = byId("frame"), image = frame.querySelector(".photo");
  if (!image || (on && !image.naturalWidth)) return;
  const box = frame.getBoundingClientRect();
  const at = event ? [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height] : [0.5, 0.5];
  place.classList.toggle("near", on);
  byId("stone").classList.toggle("nearer", on);
  const grow = Math.max(1, (1.6 * place.clientWidth) / image.naturalWidth);
  frame.style.width = on ? `${image.naturalWidth * grow}px` : "";
  frame.style.height = on ? `${image.naturalHeight * grow}px` : "";
  if (on) place.scrollTo(at[0] * frame.clientWidth - place.clientWidth / 2, at[1] * frame.clientHeight - place.clientHeight / 2);
}
byId("picture").addEventListener("click", event => nearer(!isNear(), event));
