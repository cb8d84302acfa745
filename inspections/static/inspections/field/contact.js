// What is asked about this device itself; and a device that was revoked forgets everything, whoever heard of it first.
import { fetchJson } from "./fetching.js";
import { all, wipe } from "./store.js";
import { copyOf } from "./words.js";

const csrf = () => document.cookie.match(/(?:^|; )(?:__Host-)?csrftoken=([^;]+)/)?.[1] ?? "";

const posted = (address, body, timeout) => fetchJson(address, {
  method: "POST", timeout, headers: { "Content-Type": "application/json", "X-CSRFToken": csrf() }, body: JSON.stringify(body),
});

// {status, body}; status 0 where nobody answered, or something that is not this server's JSON.
export async function post(address, body, { patience = 8000 } = {}) {
  const { status, json } = await posted(address, body, patience);
  return { status: json ? status : 0, body: json ?? {} };
}

// Forgets everything: the queue, the photos, the signed data, the shell. Says so, and how much was never sent.
async function revoked() {
  const page = document.documentElement;
  if (page.dataset.revoked) return;
  page.dataset.revoked = "begun";
  const unsent = await all("queue").then((rows) => rows.length).catch(() => 0);
  const told = { v: 1, nonce: crypto.randomUUID(), device_now_ms: Date.now(), unsent, records: [] };
  if (unsent) await posted("/truck/sync/", told, 5000); // what was lost with the device should be known
  await wipe().catch(() => {});
  await Promise.all((await caches.keys()).map((name) => caches.delete(name))).catch(() => {});
  const workers = (await navigator.serviceWorker?.getRegistrations().catch(() => [])) ?? [];
  await Promise.all(workers.map((worker) => worker.unregister()));
  sessionStorage.clear();
  document.querySelector("dialog[open]")?.close();
  document.getElementById("status").hidden = true;
  document.getElementById("screen").replaceChildren(copyOf("device-revoked", { unsent: String(unsent) }));
  page.dataset.revoked = "done";
}

addEventListener("device-revoked", revoked);
