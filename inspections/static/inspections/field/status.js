// The bar above every screen: the way to the other screens, who uses this device, how old its data are, and what the
// server does not have yet.
import * as data from "./data.js";
import { ageWords } from "./dates.js";
import * as queue from "./queue.js";
import * as person from "./who.js";
import { copyOf, word } from "./words.js";

const EVERY_MS = 20_000;
const bar = document.getElementById("status");
const part = (name) => bar.querySelector(`[data-part="${name}"]`);

function set(name, text) {
  if (part(name).textContent !== text) part(name).textContent = text;
}

async function draw() {
  const age = data.ageMs();
  set("person", person.who()?.name ?? person.device()?.name ?? "");
  set("age", word(age === null ? "status-no-data" : "status-age", { age: ageWords((age ?? 0) / 1000) }));
  const waiting = await queue.list();
  const refused = waiting.filter((row) => row.state === "refused").length;
  set("unsent", word(refused ? "status-refused" : "status-unsent", { n: refused || waiting.length }));
  part("unsent").hidden = !waiting.length;
  part("unsent").classList.toggle("late", refused > 0);
}

export function startStatus() {
  bar.append(copyOf("status-bar"));
  data.changes.addEventListener("change", draw);
  data.changes.addEventListener("revoked", draw);
  queue.changes.addEventListener("change", draw);
  person.changes.addEventListener("change", draw);
  addEventListener("pageshow", draw);
  document.addEventListener("visibilitychange", draw);
  setInterval(draw, EVERY_MS);
  data.ready.then(draw);
}

// The screen that is shown is the one its button leads to.
export function markScreen(name) {
  for (const link of bar.querySelectorAll(".status-nav a")) {
    if (link.hash === `#${name}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
}
