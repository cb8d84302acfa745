// Who uses this device. On an own phone that is its person. On a shared tablet nobody is, until they confirm with their
// PIN; it is kept in memory alone, for three minutes since the last touch, and never when the screen is left.
//
// `confirm()` gives {username, name, holder, role, proof}: `proof` is null on an own phone; on a shared tablet it is a
// function that seals the PIN for one record: `await who.proof(record.id)` is what is queued and sent as `proof`.
import { post } from "./contact.js";
import { choose } from "./pin.js";
import { seal } from "./seal.js";
import { keep, kept } from "./store.js";

export const KEPT_FOR_MS = 3 * 60 * 1000;
export const changes = new EventTarget(); // "change": another person, or locked

let here = null; // {device: {name, kind, depot}, person, owner, people}: what the server last said
let confirmed = null; // {person, pin, until, timer}

export const ready = kept("here").then((known) => { here ??= known ?? null; });
const told = () => changes.dispatchEvent(new Event("change"));

export const device = () => here?.device ?? null;
export const owner = () => here?.owner ?? "";
export const isShared = () => here?.device.kind === "shared";
export const people = () => here?.people ?? [];
export const who = () => (isShared() ? stillConfirmed()?.person : here?.person) ?? null;

// Asks the server what this device is; makes the phone of a person who signed in known. Resolves to {status, body}.
export async function ask(more = {}) {
  await ready;
  const version = document.documentElement.dataset.version ?? "";
  const answer = await post("/truck/enrol/", { version, ...more });
  if (answer.status !== 200) return answer;
  const signedIn = answer.body.person !== null;
  // A session that ended does not make the phone somebody else's: what is recorded on it stays its person's.
  const person = answer.body.person ?? (here?.device.name === answer.body.device.name ? here.person : null);
  here = { ...answer.body, person, signedIn };
  await keep("here", here);
  told();
  return answer;
}

// Whether the server still knows the person of this phone; true for a tablet, and while it was not asked.
export const signedIn = () => isShared() || here?.signedIn !== false;

export async function confirm() {
  await ready;
  if (!here) await ask();
  if (!here) return nobody();
  if (!isShared()) return here.person ? { ...here.person, proof: null } : nobody();
  const still = stillConfirmed() ?? (await asked());
  return still ? { ...still.person, proof: (id) => seal(still.pin, { id, username: still.person.username }) } : null;
}

export function lock() {
  if (!confirmed) return;
  clearTimeout(confirmed.timer);
  confirmed = null;
  told();
}

function nobody() {
  location.hash = "#device";
  return null;
}

async function asked() {
  const recent = (await kept("recent")) ?? [];
  const chosen = await choose(people(), { recent, depot: here.device.depot, check });
  if (!chosen) return null;
  await keep("recent", [chosen.person.username, ...recent.filter((name) => name !== chosen.person.username)].slice(0, 12));
  confirmed = { ...chosen, until: 0, timer: 0 };
  touched();
  told();
  return confirmed;
}

// {person} where the PIN is theirs, {person, unchecked} where nobody could be asked, {message} where it is not.
async function check(person, pin) {
  const id = crypto.randomUUID();
  const proof = await seal(pin, { id, username: person.username });
  const { status, body } = navigator.onLine
    ? await post("/truck/person/", { id, person: person.username, proof }, { patience: 4000 }) : { status: 0 };
  if (status === 200) return { person: body.person };
  if (body?.message) return { message: body.message };
  return { person, unchecked: true };
}

function stillConfirmed() {
  if (confirmed && Date.now() >= confirmed.until) lock();
  return confirmed;
}

function touched() {
  if (!confirmed) return;
  if (confirmed.until && Date.now() >= confirmed.until) return lock();
  clearTimeout(confirmed.timer);
  confirmed.until = Date.now() + KEPT_FOR_MS;
  confirmed.timer = setTimeout(lock, KEPT_FOR_MS);
}

for (const kind of ["pointerdown", "keydown"]) addEventListener(kind, touched, { capture: true, passive: true });
document.addEventListener("visibilitychange", () => document.hidden && lock());
addEventListener("pagehide", lock);
addEventListener("online", () => ask());
ask();
