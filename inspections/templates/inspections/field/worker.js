// Keeps the shell of the phone client for the hour without a network. It keeps no answer and no data: those are in the
// database of the page, signed.
"use strict";
const VERSION = "shell-{{ version }}";
const SHELL = "{{ shell|escapejs }}";
const LABEL = "{{ label|escapejs }}";
// Each file by the hash of its content: what a captive portal gives instead, or half a file, is not kept.
const KEPT = new Map([{% for address, integrity in kept.items %}
  ["{{ address|escapejs }}", "{{ integrity|escapejs }}"],{% endfor %}
]);
const PATIENCE_MS = 4000;

async function keepShell(cache) {
  const response = await fetch(SHELL, { cache: "reload" });
  const page = await response.clone().text();
  if (!response.ok || response.redirected || !page.includes('data-version="{{ version }}"')) throw new Error("Not the shell");
  await cache.put(SHELL, response);
}

async function keepFile(cache, address, integrity) {
  await cache.put(address, await fetch(address, { cache: "reload", integrity }));
}

// All of it or nothing: the browser tries again at the next visit, and the release that is kept stays until then.
async function install() {
  const cache = await caches.open(VERSION);
  try {
    await Promise.all([keepShell(cache), ...[...KEPT].map(([address, integrity]) => keepFile(cache, address, integrity))]);
  } catch (error) {
    await caches.delete(VERSION);
    throw error;
  }
  await self.skipWaiting();
}

async function activate() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name !== VERSION).map((name) => caches.delete(name)));
  await self.clients.claim();
}

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(activate()));

const kept = async (address) => (await caches.open(VERSION)).match(address);

// A page of ours bears these; a captive portal's does not. What leads elsewhere (to the sign-in) is followed.
const isOurs = (response) => response.type === "opaqueredirect" || (response.status < 500
  && response.headers.get("Cross-Origin-Embedder-Policy") === "require-corp"
  && response.headers.get("Cross-Origin-Opener-Policy") === "same-origin");

// A label that was opened from the phone's own camera: the server's page, or the shell, which answers for that code.
async function labelPage(request) {
  const stop = new AbortController();
  const late = setTimeout(() => stop.abort(), PATIENCE_MS);
  try {
    const response = await fetch(request, { signal: stop.signal });
    if (isOurs(response)) return response;
  } catch {
    // no network, or none that answers in time
  } finally {
    clearTimeout(late);
  }
  return (await kept(SHELL)) ?? Response.error();
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate") {
    if (url.pathname === SHELL) event.respondWith(kept(SHELL).then((page) => page ?? fetch(request)));
    else if (url.pathname.toLowerCase().startsWith(LABEL)) event.respondWith(labelPage(request));
  } else if (KEPT.has(url.pathname)) {
    event.respondWith(kept(url.pathname).then((file) => file ?? fetch(request)));
  }
});

// The network is back while no window of the client is awake, or one sleeps: whoever is there sends what is waiting.
self.addEventListener("sync", (event) => {
  if (event.tag === "send") event.waitUntil(self.clients.matchAll().then((windows) => windows.forEach((one) => one.postMessage("send"))));
});
