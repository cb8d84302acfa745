// What was recorded on this device and is not in its data yet: a piece reported damaged here is stop here at once, also
// after the server has it, until newer data arrives. Sent or not, it outranks every good.
import * as store from "./store.js";

const KEPT = "reported"; // {item: {ms, out: record, checkedOn: day}}: ms is the server's time when it had it
const LONGEST_MS = 3 * 86_400_000; // longer than any data answer: another window may still hold those from before
export const OUT_KINDS = new Set(["damage", "event", "lost", "held"]);

const takesOut = (record) => OUT_KINDS.has(record.kind) || (record.kind === "checked" && record.outcome && record.outcome !== "accept");
const isLook = (record) => record.kind === "checked" && record.outcome === "accept";

// What tells {out: record or null, checkedOn: day or null} of an item, beside an answer from data of `issuedMs`, which
// hold everything that the server had by then. A report that was refused counts, a look that was refused does not.
export async function reported() {
  // The queue first: a record that is acknowledged in between is then found twice, and never not at all.
  const queued = await store.all("queue");
  const had = (await store.kept(KEPT)) ?? {};
  return (item, issuedMs = 0) => foundOf(
    queued.filter((row) => row.record.item === item), had[item]?.ms >= issuedMs ? had[item] : {});
}

function foundOf(waiting, sent) {
  const out = waiting.map((row) => row.record).find(takesOut) ?? sent.out ?? null;
  const looks = waiting.filter((row) => row.state !== "refused" && isLook(row.record));
  const on = [...looks.map((row) => row.record.on), sent.checkedOn].filter(Boolean).sort().pop() ?? null;
  return { out, checkedOn: on };
}

// The server has it, at its own time `serverMs`.
export async function acknowledged(record, serverMs) {
  if (takesOut(record)) await noted(record, serverMs, { out: { kind: record.kind, occurred_at: record.occurred_at } });
  else if (isLook(record)) await noted(record, serverMs, { checkedOn: record.on });
}

// A refused record that its person lets go: the piece may be on hold for it, so newer data decides.
export async function letGo(record, nowMs) {
  if (takesOut(record)) await acknowledged(record, nowMs);
}

async function noted({ item }, ms, what) {
  if (!item) return;
  await store.change(KEPT, (sent = {}) => ({ ...sent, [item]: { ...sent[item], ...what, ms: Math.max(ms, sent[item]?.ms ?? 0) } }));
}

// Data of `issuedMs` arrived: forgets what no data of before can be asked about any more.
export async function settled(issuedMs) {
  await store.change(KEPT, (sent = {}) =>
    Object.fromEntries(Object.entries(sent).filter(([, one]) => one.ms >= issuedMs - LONGEST_MS)));
}
