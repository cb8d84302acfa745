// What this device recorded and the server has not acknowledged. It is on disk before anything is said to be recorded,
// is sent in the order in which it was recorded, and leaves only when the server has it (delivered.js: not for good).
import * as data from "./data.js";
import * as delivered from "./delivered.js";
import { fetchJson } from "./fetching.js";
import { acknowledged, letGo } from "./reported.js";
import * as store from "./store.js";
import * as time from "./time.js";
import { isShared, who } from "./who.js";

const AT_ONCE = 50;
const LONGEST_WAIT = 5 * 60_000;
const FIRST_WAIT = 4_000;
export const changes = new EventTarget(); // "change" when a record came, went, or was refused
let last = 0;
let failures = 0;
let timer = 0;
let asked = "";

const changed = () => {
  changes.dispatchEvent(new Event("change"));
  count();
};

// The ordinary pages read it before they sign somebody out (gear/leaving.js).
async function count() {
  const { length } = await store.all("queue");
  try {
    localStorage.setItem("unsent", String(length));
  } catch {
    // a browser that keeps nothing: those pages cannot warn
  }
}

// {item, told, ...body} of a record, and {username, proof} of whoever confirmed it. Resolves once it is on disk.
export async function add(kind, { item = null, told = null, ...body }, by = null) {
  await time.ready;
  const { ms } = time.now();
  last = Math.max(last + 1, ms);
  const id = crypto.randomUUID();
  const record = {
    ...body, id, kind, item, told,
    person: by?.username ?? (isShared() ? null : who()?.username) ?? null, // on a tablet nobody who did not confirm
    proof: (await by?.proof?.(id)) ?? null,
    occurred_at: withOffset(ms),
  };
  if (kind === "checked") record.on = siteDay(ms);
  await store.put("queue", { id: record.id, seq: last, state: "waiting", code: "", message: "", tries: 0, record });
  changed();
  keepForGood();
  send();
  return record;
}

// All rows in their order: {id, seq, state: "waiting" | "refused", code, message, record}.
export async function list() {
  return (await store.all("queue")).sort((one, other) => one.seq - other.seq);
}

// Why nothing is being sent, as the server said: "", or SIGN_IN, NO_DEVICE, REVOKED, NO_ANSWER.
export const waitsFor = () => asked;

// Sends again what was refused, with what was put right; `by` is whoever confirmed it anew.
export async function again(id, changed_ = {}, by = null) {
  const row = await store.get("queue", id);
  if (!row) return;
  const record = { ...row.record, ...changed_ };
  if (row.code === "IdReused") record.id = crypto.randomUUID();
  if (typeof record.proof === "function") record.proof = await record.proof(record.id); // a PIN is sealed for one record
  if (by) Object.assign(record, { person: by.username, proof: (await by.proof?.(record.id)) ?? null });
  const waiting = { ...row, id: record.id, state: "waiting", code: "", message: "", tries: 0, record };
  await (record.id === id ? store.put("queue", waiting) : store.renamed(id, waiting));
  changed();
  await send();
}

// Lets a refused record go: the server is told, and keeps it as a refusal.
export async function dismiss(id, reason, by = null) {
  const row = await store.get("queue", id);
  if (!row) return;
  const { proof, ...record } = row.record;
  await add("dismissed", { item: null, record, code: row.code, reason }, by);
  await letGo(record, time.now().ms);
  await store.remove("queue", id);
  changed();
}

// One sender at a time on this device, whatever number of windows is open.
export function send() {
  return navigator.locks.request("truck-queue", { ifAvailable: true }, async (lock) => {
    if (!lock) return later(FIRST_WAIT); // whoever sends now may have looked before the newest record was there
    if (!navigator.onLine) return;
    clearTimeout(timer);
    let size = AT_ONCE;
    for (;;) {
      const batch = (await list()).filter(mine).slice(0, size);
      if (!batch.length) return;
      const outcome = await sent(batch);
      if (outcome === "smaller" && size > 1) size = Math.ceil(batch.length / 2);
      else if (outcome === "smaller") await mark(batch[0], "refused", "BODY", "");
      else if (outcome !== "more") return later(outcome);
      else size = AT_ONCE;
    }
  });
}

// Records of a person are sent as theirs alone: on an own phone whoever is signed in must be the one who made them.
function mine(row) {
  const { person } = row.record;
  return row.state === "waiting" && (isShared() || !person || !who() || person === who().username);
}

// "more" when something of the batch is settled, "smaller" when it is too much at once, else how long to wait in ms.
async function sent(batch) {
  const nonce = crypto.randomUUID();
  const body = JSON.stringify({
    v: 1, nonce, device_now_ms: Date.now(), unsent: (await list()).length, records: batch.map((row) => row.record) });
  const { status, json, retryAfter } = await posted(body);
  if (status === 413 || status === 422) return "smaller";
  if (json?.refused) asked = String(json.refused);
  const whole = status === 200 && json?.nonce === nonce && Array.isArray(json.results);
  if (!whole) {
    if (!json?.refused) asked = "NO_ANSWER";
    return waitFor(retryAfter);
  }
  asked = "";
  return (await settle(batch, json)) ? "more" : waitFor(retryAfter);
}

async function settle(batch, { results, server_ms: serverMs, epoch }) {
  let settled = 0;
  const byId = new Map(results.map((result) => [result.id, result]));
  for (const row of batch) {
    const result = byId.get(row.id);
    if (result?.outcome === "recorded" || result?.outcome === "already") {
      await acknowledged(row.record, serverMs);
      await delivered.settled("queue", row, serverMs, epoch);
      settled += 1;
    } else if (result?.outcome === "refused") {
      await mark(row, "refused", result.code, result.message);
      settled += 1;
    } else {
      await mark(row, "waiting", result?.code ?? "", result?.message ?? "");
    }
  }
  if (settled) failures = 0;
  await delivered.heard(epoch);
  changed();
  return settled > 0;
}

async function mark(row, state, code, message) {
  const now = await store.get("queue", row.id);
  if (now) await store.put("queue", { ...now, state, code, message, tries: now.tries + 1 });
  changed();
}

async function posted(body) {
  const once = () => fetchJson("/truck/sync/", {
    method: "POST", body, timeout: 30_000,
    headers: { "Content-Type": "application/json", "X-CSRFToken": cookie() },
  });
  const answer = await once();
  if (answer.status !== 403) return answer;
  await fetch("/truck/", { cache: "no-store" }).catch(() => null); // a new cookie against forged requests
  return once();
}

const cookie = () => document.cookie.match(/(?:^|; )(?:__Host-)?csrftoken=([^;]+)/)?.[1] ?? "";

function waitFor(retryAfter) {
  failures += 1;
  return Math.min(LONGEST_WAIT, Math.max(retryAfter * 1000, FIRST_WAIT * 2 ** Math.min(failures - 1, 8)));
}

function later(ms) {
  changed();
  clearTimeout(timer);
  timer = setTimeout(send, ms);
}

let persisted = false;
function keepForGood() {
  if (persisted) return;
  persisted = true;
  navigator.storage?.persist?.().catch(() => null);
  navigator.serviceWorker?.ready.then((worker) => worker.sync?.register("send")).catch(() => null);
}

// RFC 3339 with the offset of this device: 2026-11-28T05:45:00.000-05:00.
export function withOffset(ms) {
  const away = -new Date(ms).getTimezoneOffset();
  const two = (value) => String(Math.trunc(Math.abs(value))).padStart(2, "0");
  const local = new Date(ms + away * 60_000).toISOString().slice(0, -1);
  return `${local}${away < 0 ? "-" : "+"}${two(away / 60)}:${two(away % 60)}`;
}

// The calendar day of the site, as the data says where its days begin.
function siteDay(ms) {
  return data.meta()?.days.find((day) => day.from_ms <= ms && ms < day.until_ms)?.on ?? null;
}

addEventListener("online", () => { failures = 0; send(); });
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
navigator.serviceWorker?.addEventListener("message", (event) => event.data === "send" && send());
data.changes.addEventListener("change", () => { changed(); send(); }); // what was sent before may wait again
data.ready.then(send);
count();
