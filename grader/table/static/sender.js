// Sends words one after the other, in the order of saying, until each is kept; out of reach they wait.
import { dequeue, enqueue, queued } from "./kept.js";
import { post, Refused } from "./server.js";

const PATHS = { call: "/api/calls", back: "/api/back" };
const listeners = [];
let busy = false, wait = 0, timer = null;

export function whenSent(listener) { listeners.push(listener); }

export function send(kind, body) {
  enqueue({ kind, body });
  changed();
  work();
}

export const waiting = () => queued().length;

function changed(event = {}) {
  for (const listener of listeners) listener({ waiting: waiting(), ...event });
}

async function work() {
  if (busy) return;
  busy = true;
  clearTimeout(timer);
  try {
    for (let next = queued()[0]; next; next = queued()[0]) {
      const [key, word] = next;
      try {
        const answer = await post(PATHS[word.kind], word.body);
        dequeue(key);
        wait = 0;
        changed({ word, answer });
      } catch (err) {
        // Refused: it would be refused again. All else is tried again later.
        if (!(err instanceof Refused) || err.status >= 500 || err.status === 403) throw err;
        dequeue(key);
        changed({ word, refused: err.message });
      }
    }
  } catch {
    wait = Math.min(15000, wait ? wait * 2 : 1000);
    timer = setTimeout(work, wait);
    changed({ out: true });
  } finally {
    busy = false;
  }
}

addEventListener("online", work);
document.addEventListener("visibilitychange", () => { if (!document.hidden) work(); });
export const begin = work;
