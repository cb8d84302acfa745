// New data whenever there may be some: at the start, when a network or a person comes, when the phone wakes, and every
// ten minutes. Old data are told by their age and answer nothing for ever; this only spares people from seeing that.
import * as data from "./data.js";
import * as person from "./who.js";

const EVERY_MS = 10 * 60 * 1000;
const YOUNG_MS = 2 * 60 * 1000;
let asking = false;
let again = false; // something happened meanwhile: a phone was enrolled just after it had been refused

async function renew() {
  await data.ready;
  if (asking) {
    again = true;
    return;
  }
  const age = data.ageMs();
  if (!navigator.onLine || document.hidden || (age !== null && age < YOUNG_MS)) return;
  asking = true;
  await data.refresh().catch(() => {});
  asking = false;
  if (!again) return;
  again = false;
  renew();
}

export function startFreshness() {
  addEventListener("online", renew);
  document.addEventListener("visibilitychange", renew);
  person.changes.addEventListener("change", renew);
  setInterval(renew, EVERY_MS);
  renew();
}
