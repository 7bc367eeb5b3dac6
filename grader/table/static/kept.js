// What outlives the page: who sorts, and words that are not sent yet, each under a key of its own, so that two windows
// never write over one another.
const PLACE = "grader-table:";
const QUEUE = PLACE + "word:";

function read(key) {
  try { return JSON.parse(localStorage.getItem(key)); } catch { return null; }
}
function write(key, value) {
  try {
    if (value === null) localStorage.removeItem(key);
    else localStorage.setItem(key, JSON.stringify(value));
    return true;
  } catch { return false; }
}

export const setting = (name, value) => (value === undefined ? read(PLACE + name) : write(PLACE + name, value));

// Made here, so that a word that is sent twice is kept once. getRandomValues is there without https too.
export function newUid() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map(byte => byte.toString(16).padStart(2, "0")).join("");
}

let last = 0;
const unkept = new Map();  // Where a browser keeps nothing, words wait in the page.

export function enqueue(word) {
  last = Math.max(Date.now(), last + 1);
  const key = QUEUE + String(last).padStart(15, "0") + word.body.uid;
  if (!write(key, word)) unkept.set(key, word);
  return key;
}

export function queued() {
  const keys = new Set(unkept.keys());
  try {
    for (let n = 0; n < localStorage.length; n += 1) {
      const key = localStorage.key(n);
      if (key.startsWith(QUEUE)) keys.add(key);
    }
  } catch { /* keeps nothing */ }
  return [...keys].sort().map(key => [key, unkept.get(key) ?? read(key)]).filter(([, word]) => word);
}

export function dequeue(key) {
  unkept.delete(key);
  write(key, null);
}

// The time where the sorter is, with its offset, as the ledger has it.
export function now() {
  const at = new Date(), off = -at.getTimezoneOffset();
  const two = n => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const local = new Date(at.getTime() + off * 60000).toISOString().slice(0, 19);
  return `${local}${off < 0 ? "-" : "+"}${two(off / 60)}:${two(off % 60)}`;
}
