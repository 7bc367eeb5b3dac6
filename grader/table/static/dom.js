// Elements made by hand: text is only ever text, so that a name from a file is never markup.
const SVG = "http://www.w3.org/2000/svg";

export const byId = id => document.getElementById(id);

export function el(tag, given = {}, ...children) {
  const [name, space] = tag.startsWith("svg:") ? [tag.slice(4), SVG] : [tag, null];
  const made = space ? document.createElementNS(space, name) : document.createElement(name);
  for (const [key, value] of Object.entries(given)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.flat(Infinity).filter(child => child !== null && child !== undefined && child !== false));
  return made;
}

export function fill(where, ...children) {
  where.replaceChildren(...children.flat(Infinity).filter(child => child !== null && child !== undefined && child !== false));
}

// Told to those who do not see the page.
export function tell(text) {
  byId("said").textContent = text;
}

export function clock(time) {
  const day = new Date(time);
  if (Number.isNaN(day.getTime())) return time.slice(0, 10);
  const today = new Date().toDateString() === day.toDateString();
  return today ? day.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" }) : time.slice(0, 10);
}
