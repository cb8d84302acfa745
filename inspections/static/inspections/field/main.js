// The phone client: one screen at a time, each a module of its own. The address after # names the screen and what it is
// about; going back draws it anew, so that no old answer ever stands there.
import { SCREENS } from "./screens.js";
import { copyOf } from "./words.js";

const root = document.getElementById("screen");
let leave = null;

export const go = (address) => {
  if (location.hash === `#${address}`) draw();
  else location.hash = address;
};

function draw() {
  const [name, ...rest] = decodeURIComponent(location.hash.slice(1)).split("/");
  const screen = name in SCREENS ? name : "scan";
  leave?.();
  leave = null;
  root.replaceChildren(copyOf(`screen-${screen}`));
  root.dataset.screen = screen;
  root.focus();
  leave = SCREENS[screen].show(root, rest.join("/"), { go }) ?? null; // what to stop when the screen is left
}

addEventListener("hashchange", draw);
addEventListener("pageshow", (event) => event.persisted && draw());
draw();
