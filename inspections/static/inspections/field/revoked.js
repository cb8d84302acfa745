// A device that was revoked forgets everything, whoever heard of it first: once the server, asked by a question of our
// own, has signed that it is so, and once it has what it still takes. Nothing else ever deletes
// an unsent record, but a person who wipes the device by hand.
import { post } from "./contact.js";
import { fetchJson } from "./fetching.js";
import { sendPhotos } from "./photo.js";
import * as queue from "./queue.js";
import { newNonce, opened } from "./signed.js";
import { wipe } from "./store.js";
import { copyOf } from "./words.js";

const page = document.documentElement;
let busy = false;

async function isSo() {
  const nonce = newNonce();
  const { status, json } = await fetchJson(`/truck/bundle/?nonce=${nonce}`, { timeout: 15_000 });
  return status === 410 && Boolean(await opened(json, { what: "revoked", nonce }).catch(() => null));
}

// Of the phone of a closed account the server takes what it holds; of a revoked device only how much that is. Whether
// one of the two was done: without an answer everything stays, and the next contact tries again.
async function delivered() {
  await navigator.locks.request("truck-queue", () => {}); // whoever sends now comes to an end first
  await queue.send();
  if (queue.waitsFor() === "REVOKED") return true;
  if (queue.waitsFor() || (await queue.list()).some((row) => row.state === "waiting" && row.code === "BROKEN")) return false;
  await sendPhotos();
  return true;
}

// The queue, the photos, the signed data, the shell. Says so, and how much was never sent.
async function forget(words) {
  page.dataset.revoked = "begun";
  const unsent = await queue.list().then((rows) => rows.length).catch(() => 0);
  await wipe().catch(() => {});
  await Promise.all((await caches.keys()).map((name) => caches.delete(name))).catch(() => {});
  const workers = (await navigator.serviceWorker?.getRegistrations().catch(() => [])) ?? [];
  await Promise.all(workers.map((worker) => worker.unregister()));
  sessionStorage.clear();
  localStorage.clear();
  document.querySelector("dialog[open]")?.close();
  document.getElementById("status").hidden = true;
  document.getElementById("screen").replaceChildren(copyOf(words, { unsent: String(unsent) }));
  page.dataset.revoked = "done";
}

async function revoked() {
  if (busy || page.dataset.revoked) return;
  busy = true;
  try {
    if ((await isSo()) && (await delivered())) await forget("device-revoked");
  } finally {
    busy = false;
  }
}

// A person wiped this device by hand, and was told what is lost. The server is told how many records nobody will ever get,
// where it can be. The device stays enrolled, and begins anew when it is opened again.
export async function wiped() {
  page.dataset.revoked = "begun";
  const lost = (await queue.list()).length;
  const told = { v: 1, nonce: newNonce(), device_now_ms: Date.now(), unsent: 0, wiped: lost, records: [] };
  if (lost) await post("/truck/sync/", told, { patience: 5000 });
  await forget("device-wiped");
}

addEventListener("device-revoked", revoked);
