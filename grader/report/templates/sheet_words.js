"use strict";
// What is said on this sheet: kept in the browser until it is saved, and saved as a table.
const byId = id => document.getElementById(id);
const SHEET = JSON.parse(byId("sheet-data").textContent);
const STONES = SHEET.stones;
const COLUMNS = ["photo", "sha256", "piece", "box", "grade", "scene", "by", "note", "time", "uid", "shown_grade", "shown_scene", "shown_state", "shown_model"];
const PLACE = "stone-sheet:" + SHEET.id + ":";
const words = new Map();  // Of who calls now, by number: grade, scene, note, by, time, uid, and the file in which it was saved.
let keepsAll = true, by = "";

function kept(key) {
  try { return JSON.parse(localStorage.getItem(key)); } catch { return null; }
}
function keep(key, value) {
  try {
    if (value === null) localStorage.removeItem(key);
    else localStorage.setItem(key, JSON.stringify(value));
  } catch { keepsAll = false; }
}
// Each person's words have keys of their own: of two at one screen, none writes over the other's.
const keyOf = stone => [PLACE, by, ":", stone.saved.sha256, ":", stone.saved.box].join("");

// Made here, so that a call that is taken in twice is kept once.
const newUid = () => [...crypto.getRandomValues(new Uint8Array(16))].map(byte => byte.toString(16).padStart(2, "0")).join("");

// The time where the sorter is, with its offset, as the ledger has it.
function now() {
  const at = new Date(), off = -at.getTimezoneOffset();
  const two = n => String(Math.floor(Math.abs(n))).padStart(2, "0");
  return new Date(at.getTime() + off * 60000).toISOString().slice(0, 19) + (off < 0 ? "-" : "+") + two(off / 60) + ":" + two(off % 60);
}

const isCall = word => Boolean(word && (word.grade || word.scene !== ""));
const unsaved = () => STONES.filter(stone => isCall(words.get(stone.n)) && !words.get(stone.n).saved);

// The words of one stone changed in part; without grade, scene and note nothing is said.
function say(stone, part) {
  const before = words.get(stone.n) || { grade: "", scene: "", note: "" };
  const word = { grade: before.grade, scene: before.scene, note: before.note, ...part, by, time: now(), uid: newUid(), saved: "" };
  if (isCall(word) || word.note) words.set(stone.n, word);
  else words.delete(stone.n);
  keep(keyOf(stone), words.get(stone.n) || null);
}

function unsay(stone) {
  words.delete(stone.n);
  keep(keyOf(stone), null);
}

// Whose words are kept from now on. What was said before anybody gave a name is then that person's.
function callsNow(name) {
  const unnamed = by === "" && name !== "" ? [...words] : [];
  for (const [n] of unnamed) keep(keyOf(STONES.find(stone => stone.n === n)), null);
  by = name;
  keep("stone-sheet-by", name);
  restore();
  for (const [n, word] of unnamed) {
    if (words.has(n)) continue;
    words.set(n, { ...word, by });
    keep(keyOf(STONES.find(stone => stone.n === n)), words.get(n));
  }
}

// What was taken in since, or said anew elsewhere, stands on the sheet already.
function restore() {
  words.clear();
  for (const stone of STONES) {
    const word = kept(keyOf(stone));
    if (!word || typeof word.uid !== "string") continue;
    const later = stone.people.some(one => (!word.by || one.by === word.by) && Date.parse(one.time) >= Date.parse(word.time));
    if (word.saved && later) { unsay(stone); continue; }
    if (!SHEET.grades.includes(word.grade)) word.grade = "";
    words.set(stone.n, word);
  }
}

// What a spreadsheet would run begins with an apostrophe, as in all tables of the tool.
const defused = text => (SHEET.formulas.includes(text.replace(/^'+/, "")[0] || " ") ? "'" + text : text);
const cell = value => (/[",;\r\n]/.test(value) ? '"' + value.replaceAll('"', '""') + '"' : value);
function table() {
  const rows = STONES.filter(stone => isCall(words.get(stone.n))).map(stone => {
    const all = { ...stone.saved, ...words.get(stone.n), ...stone.shown };
    return COLUMNS.map(name => cell(defused(String(all[name] ?? ""))));
  });
  return [COLUMNS, ...rows].map(row => row.join(",") + "\n").join("");
}

// Saves all calls, also those saved before: the file alone tells all. Returns its name.
function save() {
  const name = `${SHEET.saved}-${now().slice(0, 10)}.csv`;
  for (const stone of STONES) {
    const word = words.get(stone.n);
    if (!isCall(word)) continue;
    word.saved = name;
    keep(keyOf(stone), word);
  }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([table()], { type: "text/csv;charset=utf-8" }));
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  return name;
}
