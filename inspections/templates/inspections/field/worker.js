// Keeps the shell of the phone client for the hour without a network. It keeps no answer and no data: those are in the
// database of the page, signed.
"use strict";
const VERSION = "shell-{{ version }}";
const SHELL = "{{ shell }}";
const KEPT = [SHELL, {% for address in kept %}"{{ address|escapejs }}", {% endfor %}];
const PATIENCE_MS = 4000;

self.addEventListener("install", (event) => event.waitUntil(
  caches.open(VERSION).then((cache) => cache.addAll(KEPT)).then(() => self.skipWaiting())));

self.addEventListener("activate", (event) => event.waitUntil(
  caches.keys().then((names) => Promise.all(names.filter((name) => name !== VERSION).map((name) => caches.delete(name))))
    .then(() => self.clients.claim())));

// The shell itself, or a label that was opened from the camera of the phone.
const isOurs = (path) => path === SHELL || /^\/t\//i.test(path);

const fromNetwork = (request) => {
  const stop = new AbortController();
  const late = setTimeout(() => stop.abort(), PATIENCE_MS);
  return fetch(request, { signal: stop.signal }).finally(() => clearTimeout(late));
};

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (event.request.mode === "navigate") {
    if (!isOurs(url.pathname)) return;
    event.respondWith(fromNetwork(event.request).then((response) => (response.status >= 500 ? caches.match(SHELL) : response))
      .catch(() => caches.match(SHELL)));
  } else if (KEPT.includes(url.pathname)) {
    event.respondWith(caches.match(url.pathname).then((found) => found || fetch(event.request)));
  }
});
