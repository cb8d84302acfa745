// What the server has of this device, kept for thirty days: a copy of the server's record that was put back may lack it,
// and it is then sent again. The server takes each record once, by its id.
import * as store from "./store.js";

const A_DAY_MS = 86_400_000;
const KEPT_MS = 30 * A_DAY_MS;
const MOST = { queue: 5000, photos: 60 }; // of records, and of photos, which take a hundred times the room
const EPOCH = "epoch"; // changes where an older copy may have taken the record's place (gear/queries/restored.py)

// Takes a row of `from` (queue or photos) from what waits; the server had it at its own time `ms`. A device without room
// to keep it lets it go: the server has it.
export async function settled(from, row, ms, epoch) {
  const sent = { id: row.id, from, ms, epoch: epoch ?? (await store.kept(EPOCH)) ?? "", row: { ...row, state: "waiting" } };
  await store.moved(from, "delivered", sent).catch(() => store.remove(from, row.id));
}

// The server named its epoch. Where it is another, everything from before waits again; resolves to how many that is.
export async function heard(epoch) {
  if (typeof epoch !== "string" || epoch === (await store.kept(EPOCH))) return 0;
  const before = (await store.all("delivered")).filter((sent) => sent.epoch !== epoch);
  for (const sent of before) await store.moved("delivered", sent.from, sent.row);
  await store.keep(EPOCH, epoch);
  return before.length;
}

// Lets go what is too old or too much, by the server's time, once a day, since it reads every photo; the newest stay.
export async function pruned(nowMs) {
  if (nowMs < ((await store.kept("pruned")) ?? 0) + A_DAY_MS) return;
  await store.keep("pruned", nowMs);
  const rows = (await store.all("delivered")).sort((one, other) => other.ms - one.ms);
  const seen = { queue: 0, photos: 0 };
  for (const { id, from, ms } of rows) {
    seen[from] += 1;
    if (ms < nowMs - KEPT_MS || seen[from] > MOST[from]) await store.remove("delivered", id);
  }
}
