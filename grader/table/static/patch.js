// A tap on a region says what the place is: shown at once, measured after, and taken back with one button.
import { byId, el, tell } from "./dom.js";
import { post } from "./server.js";
import { who } from "./stones.js";
import { addToLayer, overlay, redraw } from "./picture.js";

const told = { wait: () => {}, done: () => {} };
const aims = new Map();  // Where the keyboard aims, by stone.
let last = null;         // The last word said here, with what held there before.

export function whenPlace(handlers) { Object.assign(told, handlers); }

const middle = patch => [patch.x + patch.w / 2, patch.y + patch.h / 2];

function make(card) {
  if (!card.pictures.regions) return {};
  const svg = overlay(card, "Places of which something was said");
  const [x, y, w, h] = card.pictures.window, size = Math.max(w, h) / 38;
  for (const patch of card.pictures.patches) {
    const [cx, cy] = middle(patch), words = `${patch.says}${patch.by ? `, said by ${patch.by}` : ""}${patch.waits ? ", being measured" : ""}`;
    svg.append(
      el("svg:circle", { cx, cy, r: size / 3, class: "seen under" }), el("svg:circle", { cx, cy, r: size / 3, class: "seen over" }),
      el("svg:text", { x: cx + size / 2, y: cy - size / 3, "font-size": size, "stroke-width": size / 5 }, patch.says),
      spot(cx, cy, size, `${words}; say what it is`, () => ask(card, [cx, cy], patch)),
    );
  }
  const at = aims.get(card.id) || [x + w / 2, y + h / 2];
  const aim = spot(...at, size, "Aim at a place: arrow keys move, Enter says what it is", () => ask(card, aims.get(card.id) || at));
  aim.classList.add("aim");
  const cross = el("svg:path", { class: "seen cross" });
  const put = ([cx, cy]) => {
    aim.setAttribute("cx", cx); aim.setAttribute("cy", cy);
    cross.setAttribute("d", `M${cx - size} ${cy}h${2 * size}M${cx} ${cy - size}v${2 * size}`);
  };
  put(at);
  aim.addEventListener("keydown", event => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!step) return;
    event.preventDefault();
    event.stopPropagation();
    const far = Math.max(w, h) / (event.shiftKey ? 200 : 40), from = aims.get(card.id) || at;
    const to = [from[0] + far * step[0], from[1] + far * step[1]];
    aims.set(card.id, [Math.min(x + w - 1, Math.max(x, to[0])), Math.min(y + h - 1, Math.max(y, to[1]))]);
    put(aims.get(card.id));
  });
  svg.append(aim, cross);
  const back = last?.id === card.id && el("button", { type: "button", class: "small", onclick: () => takeBack(card) }, `Take back: ${last.says}`);
  return { parts: [svg], words: [el("span", {}, "tap a place to say what it is"), back, last?.id === card.id && el("span", {}, last.words)] };
}

function spot(cx, cy, size, label, act) {
  const heard = event => {
    if (event.type === "keydown" && !["Enter", " "].includes(event.key)) return;
    event.preventDefault();
    event.stopPropagation();
    act();
  };
  return el("svg:circle", { cx, cy, r: size, class: "spot", role: "button", tabindex: 0, "aria-label": label, onclick: heard, onkeydown: heard });
}

// The place larger, so that a finger sees what it hit.
function crop(card, [x, y]) {
  const canvas = byId("place-crop"), draw = canvas.getContext("2d"), [left, top, w, h] = card.pictures.window;
  const image = [...byId("picture").querySelectorAll("img")].find(one => one.alt && one.complete && one.naturalWidth);
  canvas.hidden = !image;
  if (!image) return;
  const px = image.naturalWidth / w, side = Math.max(w, h) / 8 * px, cx = (x - left) * px, cy = (y - top) * px;
  draw.fillStyle = "#77777a";
  draw.fillRect(0, 0, 240, 240);
  draw.drawImage(image, cx - side / 2, cy - side / 2, side, side, 0, 0, 240, 240);
  for (const [colour, width] of [["#16140f", 5], ["#fffdf2", 2]]) {
    draw.strokeStyle = colour; draw.lineWidth = width;
    draw.beginPath(); draw.arc(120, 120, 16, 0, 2 * Math.PI); draw.stroke();
  }
}

function ask(card, point, patch = null) {
  const box = byId("place-box");
  box.asked = { card, point, patch };
  byId("place-title").textContent = `${card.name}, this place`;
  byId("place-words").textContent = patch ? `Said to be ${patch.says}${patch.by ? ` by ${patch.by}` : ""}. What is it?` : "What is it? Your word goes over what is of like colour around it.";
  box.querySelector('[data-is="withdrawn"]').hidden = !patch;
  for (const button of box.querySelectorAll("[data-is]")) button.classList.toggle("mine", button.dataset.is === patch?.says);
  crop(card, point);
  box.showModal();
}

for (const button of byId("place-box").querySelectorAll("[data-is]")) {
  button.addEventListener("click", () => {
    const { card, point, patch } = byId("place-box").asked;
    byId("place-box").close();
    const place = patch ? { x: patch.x, y: patch.y, w: patch.w, h: patch.h } : { x: Math.max(0, Math.round(point[0])), y: Math.max(0, Math.round(point[1])) };
    say(card, place, button.dataset.is);
  });
}

async function say(card, place, says, back = false) {
  if (!who()) { byId("who").click(); return; }
  const before = card.pictures.patches, kept = { w: 4, h: 4, ...place, says, by: who(), waits: true };
  const there = one => one.x === place.x && one.y === place.y;
  card.pictures.patches = [...before.filter(one => !there(one)), ...(says === "withdrawn" ? [] : [kept])];
  redraw(card);
  told.wait(card);
  tell("The stone is measured with your word.");
  try {
    const answer = await post("/api/patches", { stone: card.id, measured: card.measured, by: who(), ...place, says });
    const words = [answer.words, answer.offer].filter(Boolean).join(". ");
    last = back ? null : { id: card.id, box: answer.box, before: answer.before, says, words };
    await told.done(card, words, true);
  } catch (err) {
    // Only this word goes; another may have been said meanwhile.
    card.pictures.patches = [...card.pictures.patches.filter(one => one !== kept), ...before.filter(there)];
    redraw(card);
    await told.done(card, `Not kept: ${err.message || "the table is out of reach; say it again later"}`, false);
  }
}

function takeBack(card) {
  const { box, before } = last;
  last = null;
  say(card, box, before, true);
}

addToLayer("regions", make, (card, point) => { if (card.pictures.regions) ask(card, point); });
