// The signed data this device answers from. It is verified at each start and each time it arrives; what does not verify
// is as good as nothing. A new bundle replaces the old one only when it is whole, ours, signed and newer.
import * as delivered from "./delivered.js";
import { fetchJson } from "./fetching.js";
import { settled } from "./reported.js";
import { newNonce, opened } from "./signed.js";
import { keep, kept } from "./store.js";
import * as time from "./time.js";

export const changes = new EventTarget(); // "change" when the data changed, "revoked" when this device was
let held = null; // the bundle as signed
let numbers = new Map(); // apart from the codes: a code with its dashes taken out must never be read as a number
let codes = new Map();
let wrong = "NO_DATA"; // why nothing can be said: NO_DATA or BAD_DATA

export const ready = Promise.all([kept("bundle"), time.ready]).then(async ([found]) => {
  if (!found) return;
  const stated = await opened(found, { what: "bundle" });
  if (stated) take(stated);
  else wrong = "BAD_DATA";
}).catch(() => { wrong = "BAD_DATA"; });

export const meta = () => held;
export const trouble = () => (held ? "" : wrong);
export const rows = () => held?.items ?? [];
export const ageMs = () => (held ? Math.max(0, time.now().ms - held.issued_ms) : null);

const typed = (text) => String(text).trim().replace(/\s+/g, " ");
const asCode = (text) => typed(text).toUpperCase().replace(/[ -]/g, "");

// The row of a label code or item number, with what was asked beside it; null for whatever is not in the data.
export function find(text) {
  const numbered = numbers.get(typed(text)) ?? numbers.get(typed(text).toUpperCase());
  if (numbered) return { ...numbered, asked: numbered.no };
  const labelled = codes.get(asCode(text));
  return labelled ? { ...labelled, asked: asCode(text) } : null;
}

// Fetches new data. {ok} or {ok: false, refused, message}: without an answer `refused` is "NO_ANSWER".
export async function refresh() {
  await ready;
  const nonce = newNonce();
  const scope = (await kept("scope")) ?? {};
  const asked = new URLSearchParams({ nonce, lang: document.documentElement.dataset.language ?? "" });
  if (scope.kind) asked.set("scope", scope.kind);
  if (scope.name) asked.set("name", scope.name);
  const seal = await kept("seal"); // the newest that we were handed: a record without it is an older copy
  if (seal) asked.set("seal", JSON.stringify(seal));
  const { status, json } = await fetchJson(`/truck/bundle/?${asked}`, { timeout: 60_000 });
  if (status === 410 && json?.refused === "REVOKED") {
    const signed = await opened(json, { what: "revoked", nonce }).catch(() => null);
    return signed ? revoked(json) : { ok: false, refused: "NO_ANSWER", message: "" };
  }
  if (json?.refused) return { ok: false, refused: json.refused, message: json.message ?? "" };
  const stated = status === 200 ? await opened(json, { what: "bundle", nonce }).catch(() => null) : null;
  if (!stated || !Array.isArray(stated.items)) return { ok: false, refused: "NO_ANSWER", message: "" };
  await keep("bundle", { text: json.text, signature: json.signature });
  if (stated.seal) await keep("seal", stated.seal);
  await time.saw(stated.issued_ms);
  await settled(stated.issued_ms);
  await delivered.heard(stated.epoch);
  await delivered.pruned(stated.issued_ms);
  take(stated);
  return { ok: true };
}

async function revoked(json) {
  await keep("bundle", null);
  held = null;
  numbers = new Map();
  codes = new Map();
  wrong = "NO_DATA";
  changes.dispatchEvent(new Event("revoked"));
  return { ok: false, refused: "REVOKED", message: json.message ?? "" };
}

function take(stated) {
  held = stated;
  wrong = "";
  numbers = new Map(stated.items.map((row) => [row.no, row]));
  codes = new Map(stated.items.flatMap((row) => [...row.old_codes, row.code].filter(Boolean).map((code) => [code, row])));
  changes.dispatchEvent(new Event("change"));
}
