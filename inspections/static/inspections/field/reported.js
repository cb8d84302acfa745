// What was recorded on this device and is not in its data yet: a piece reported damaged here is stop here at once, also
// after the server has it, until newer data arrives. Sent or not, it outranks every good.
import * as store from "./store.js";

const KEPT = "reported"; // {item: {ms, on, kind}}: ms null until the server has it, then the server's time
export const OUT_KINDS = new Set(["damage", "event", "lost", "held"]);

const takesOut = (record) => OUT_KINDS.has(record.kind) || (record.kind === "checked" && record.outcome && record.outcome !== "accept");

// {out: record or null, checkedOn: day or null} of an item.
export async function reportedOf(item) {
  const sent = (await store.kept(KEPT)) ?? {};
  const waiting = (await store.all("queue")).map((row) => row.record).filter((record) => record.item === item);
  const out = waiting.find(takesOut) ?? sent[item]?.out ?? null;
  const looks = waiting.filter((record) => record.kind === "checked" && record.outcome === "accept");
  const on = [...looks.map((record) => record.on), sent[item]?.checkedOn].filter(Boolean).sort().pop() ?? null;
  return { out, checkedOn: on };
}

// The server has it, at its own time `serverMs`.
export async function acknowledged(record, serverMs) {
  if (!record.item || !(takesOut(record) || record.kind === "checked")) return;
  const sent = (await store.kept(KEPT)) ?? {};
  const before = sent[record.item] ?? {};
  sent[record.item] = takesOut(record)
    ? { ...before, ms: serverMs, out: { kind: record.kind, occurred_at: record.occurred_at } }
    : { ...before, ms: serverMs, checkedOn: record.on };
  await store.keep(KEPT, sent);
}

// Data of `issuedMs` holds everything that the server had by then.
export async function settled(issuedMs) {
  const sent = Object.entries((await store.kept(KEPT)) ?? {}).filter(([, one]) => one.ms >= issuedMs);
  await store.keep(KEPT, Object.fromEntries(sent));
}
