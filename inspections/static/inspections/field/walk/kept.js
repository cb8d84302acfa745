// Walks on this device: one that was begun goes on where it was, after whatever killed the page.
import * as queue from "../queue.js";
import * as store from "../store.js";

const KEPT_MS = 14 * 86_400_000; // a finished walk stays here so long, to be looked at

export const save = (walk) => store.put("walks", walk);

export async function open(id) {
  const walk = await store.get("walks", id);
  return walk ? put(walk) : null;
}

// Unfinished ones, the newest first; finished ones that are old are let go.
export async function unfinished(now) {
  const walks = await Promise.all((await store.all("walks")).map(put));
  for (const old of walks.filter((one) => one.finished_ms && one.finished_ms < now - KEPT_MS)) await store.remove("walks", old.id);
  return walks.filter((one) => !one.finished_ms).sort((one, other) => other.started_ms - one.started_ms);
}

// A walk whose record is on disk is finished, also where the page was killed before it could say so.
async function put(walk) {
  if (walk.finished_ms) return walk;
  const row = (await queue.list()).find((one) => one.record.kind === "load_check" && one.record.walk === walk.id);
  if (!row) return walk;
  const done = { ...walk, finished_ms: row.record.finished_ms };
  await save(done);
  return done;
}
