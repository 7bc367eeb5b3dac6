// The server's answers; what it refuses is told apart from its being out of reach.
export class Refused extends Error {
  constructor(status, text) { super(text); this.status = status; }
}

async function answered(path, options) {
  const answer = await fetch(path, { credentials: "same-origin", ...options });
  let body = null;
  try { body = await answer.json(); } catch { /* told below */ }
  if (answer.ok) return body;
  throw new Refused(answer.status, body?.error || body?.detail || "the table did not understand that");
}

export function get(path, asked = {}) {
  const given = Object.entries(asked).filter(([, value]) => value !== "" && value !== null && value !== undefined);
  const query = new URLSearchParams(given).toString();
  return answered(query ? `${path}?${query}` : path);
}

export function post(path, body) {
  return answered(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
}

export function postPart(path, content) {
  return answered(path, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: content });
}
