// The phone client: one screen at a time, each a module of its own. The address after # names the screen and what it is
// about; going back draws it anew, so that no old answer ever stands there.
import { startFreshness } from "./freshness.js";
import { followPage } from "./language.js";
import "./revoked.js";
import { SCREENS } from "./screens.js";
import { markScreen, startStatus } from "./status.js";
import { copyOf } from "./words.js";

const page = document.documentElement;
const root = document.getElementById("screen");
const OPENED_BY_LABEL = /^\/t\/([^/]+)\/?$/i; // the worker gave the shell where the server's page could not be had
let leave = null;
let released = false;

export const go = (address) => {
  if (location.hash === `#${address}`) draw();
  else location.hash = address;
};
const has = (name) => Object.hasOwn(SCREENS, name);

function wanted() {
  try {
    const [name, ...rest] = decodeURIComponent(location.hash.slice(1)).split("/");
    return has(name) ? [name, rest.join("/")] : ["scan", ""];
  } catch {
    return ["scan", ""]; // an address that is not text
  }
}

function clear() {
  const stop = leave;
  leave = null;
  root.replaceChildren();
  stop?.();
}

function draw() {
  if (page.dataset.revoked) return; // what it says then is the last thing it says
  clear();
  if (released) return location.reload(); // a newer release is there: it begins with the next screen
  const [name, rest] = wanted();
  root.dataset.screen = name;
  root.append(copyOf(`screen-${name}`));
  scrollTo(0, 0);
  root.focus({ preventScroll: true });
  markScreen(name);
  leave = SCREENS[name].show(root, rest, { go, has }) ?? null; // what to stop when the screen is left
}

// What broke must not leave half a screen with a verdict on it.
function broken(event) {
  if (page.dataset.revoked || root.querySelector(".broken")) return;
  clear();
  root.append(copyOf("broken"));
  console.warn(event.reason ?? event.error);
}

function keepForOffline() {
  if (!("serviceWorker" in navigator)) return;
  const had = navigator.serviceWorker.controller;
  navigator.serviceWorker.addEventListener("controllerchange", () => { released = Boolean(had); });
  navigator.serviceWorker.register(page.dataset.worker, { scope: "/", updateViaCache: "none" }).catch(() => {});
  navigator.serviceWorker.ready.then(() => { page.dataset.kept = "yes"; });
}

page.dataset.screens = Object.keys(SCREENS).join(" ");
const label = OPENED_BY_LABEL.exec(location.pathname);
if (label) history.replaceState(null, "", `${page.dataset.shell}#answer/${label[1]}`);
addEventListener("hashchange", draw);
addEventListener("pagehide", clear); // a page that the browser keeps holds no answer
addEventListener("pageshow", (event) => event.persisted && draw());
addEventListener("error", broken);
addEventListener("unhandledrejection", broken);
startStatus();
draw();
keepForOffline();
startFreshness();
followPage();
