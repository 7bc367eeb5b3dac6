// Photos that are not at the table yet: held in the browser's own database, so that a closed page loses none; where it has
// no such database they wait in the page.
const held = new Map();
let opening = null;

function base() {
  opening ??= new Promise((done, lacks) => {
    const asked = indexedDB.open("grader-table", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("photos", { keyPath: "uid" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => lacks(asked.error);
    asked.onblocked = () => lacks(new Error("blocked"));
  });
  return opening;
}

async function act(way, what) {
  const db = await base();
  return new Promise((done, lacks) => {
    const deal = db.transaction("photos", way), asked = what(deal.objectStore("photos"));
    deal.oncomplete = () => done(asked.result);
    deal.onerror = deal.onabort = () => lacks(deal.error);
  });
}

export async function hold(photo) {
  held.set(photo.uid, photo);
  // Copied: a file that a phone's camera gave may be gone once the page is.
  try { await act("readwrite", store => store.put({ ...photo, file: new Blob([photo.file], { type: photo.file.type }) })); } catch { /* waits in the page */ }
}

export async function letGo(uid) {
  held.delete(uid);
  try { await act("readwrite", store => store.delete(uid)); } catch { /* was not there */ }
}

export async function coming() {
  let kept = [];
  try { kept = await act("readonly", store => store.getAll()); } catch { /* keeps nothing */ }
  for (const one of kept) if (!held.has(one.uid)) held.set(one.uid, one);
  return [...held.values()].sort((a, b) => a.at - b.at);
}
