// What is taught and looked at again: one of four at a time.
import { byId } from "./dom.js";
import { setting } from "./kept.js";
import { who } from "./stones.js";
import * as pairs from "./pairs.js";
import * as again from "./again.js";
import * as agree from "./agree.js";
import * as colours from "./colours.js";

const SUBS = { pairs, again, agree, colours };
let sub = SUBS[setting("sub")] ? setting("sub") : "pairs";

export const newSorter = () => [pairs, again].forEach(one => one.newSorter());

export async function load() {
  for (const button of document.querySelectorAll("[data-sub]")) {
    if (button.dataset.sub === sub) button.setAttribute("aria-current", "true");
    else button.removeAttribute("aria-current");
    byId(button.dataset.sub).hidden = button.dataset.sub !== sub;
  }
  if (!who()) { byId("who").click(); return; }
  await SUBS[sub].load();
}

for (const button of document.querySelectorAll("[data-sub]")) {
  button.addEventListener("click", () => { sub = button.dataset.sub; setting("sub", sub); load(); });
}

addEventListener("keydown", event => {
  if (byId("teach").hidden || document.querySelector("dialog[open]") || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (["SELECT", "INPUT"].includes(event.target.tagName) || !byId("keys-on").checked) return;
  if (SUBS[sub].press?.(event)) event.preventDefault();
});
