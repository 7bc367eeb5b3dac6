// Cards and pictures of stones: those of the next ones are fetched before they are asked for.
import { get } from "./server.js";
import { setting } from "./kept.js";

const MOST = 40;
const cards = new Map(), pictures = new Map(), asked = new Map();

export const who = () => setting("who") || "";

function remember(map, key, value) {
  map.delete(key);
  map.set(key, value);
  if (map.size > MOST) map.delete(map.keys().next().value);
  return value;
}

export const known = id => cards.get(id);
export const forget = id => cards.delete(id);
export function forgetAll() { cards.clear(); }

// A card tells whose word is whose: one on its way to a sorter who has left is kept for nobody.
export function fetchCard(id) {
  const by = who(), key = `${id} ${by}`;
  if (!asked.has(key)) {
    const wish = get(`/api/stones/${id}`, { by }).then(card => {
      if (by !== who()) return card;
      remember(cards, id, card);
      ready(card);
      return card;
    }).finally(() => asked.delete(key));
    asked.set(key, wish);
  }
  return asked.get(key);
}

// Pictures are held, so that the browser has them decoded.
export function picture(url) {
  if (!url) return null;
  if (pictures.has(url)) return pictures.get(url);
  const image = new Image();
  image.alt = "";
  image.decoding = "async";
  image.src = url;
  image.addEventListener("error", () => pictures.delete(url));
  return remember(pictures, url, image);
}

function ready(card) {
  picture(card.pictures.small);
  picture(card.pictures.large);
  picture(card.pictures.regions);
}

export function ahead(ids) {
  return Promise.all(ids.filter(id => id && !cards.has(id)).map(id => fetchCard(id).catch(() => null)));
}

const tiles = new Map();
export const tileOf = id => tiles.get(id);
export function keepTile(tile) { tiles.set(tile.id, tile); }
export async function fetchTiles(ids) {
  const by = who(), missing = ids.filter(id => id && !tiles.has(id));
  for (let n = 0; n < missing.length; n += 60) {
    const found = await get("/api/tiles", { ids: missing.slice(n, n + 60).join(","), by });
    if (by === who()) found.forEach(keepTile);
  }
  return ids.map(tileOf).filter(Boolean);
}
export function forgetTiles() { tiles.clear(); }
