// The time this device may rely on. It is the highest it has ever seen, its own or the server's, and never goes back:
// a clock that is set back cannot make old data fresh. Only the server, asked a question of our own, sets it anew.
import { change, keep, kept } from "./store.js";

const JITTER = 60_000; // clocks are put right by seconds now and then; the time used never goes back all the same
const SAVE_EVERY = 10_000;
let highest = Infinity; // until it is read from disk nothing can be trusted
let behind = 0; // how far this clock is behind the server's
let saved = 0;

export const ready = kept("time").then((found) => {
  highest = Number.isFinite(found?.highest) ? found.highest : 0;
  behind = Number.isFinite(found?.behind) ? Math.max(0, found.behind) : 0;
});

// {ms, trusted}: milliseconds since 1970 in UTC; not trusted where this clock lies below what was seen before.
export function now() {
  const device = Date.now() + behind;
  if (highest === Infinity) return { ms: device, trusted: false };
  const trusted = device >= highest - JITTER;
  if (device > highest) {
    highest = device;
    if (highest - saved > SAVE_EVERY) save();
  }
  return { ms: highest, trusted };
}

// The server said what time it is, in answer to a question that nobody could have answered before.
export function saw(serverMs) {
  highest = serverMs;
  behind = Math.max(0, serverMs - Date.now());
  saved = highest;
  return keep("time", { highest, behind });
}

// What another window has seen meanwhile is never taken back.
function save() {
  saved = highest;
  const mine = { highest, behind };
  return change("time", (found) => ({
    highest: Math.max(mine.highest, found?.highest ?? 0), behind: Math.max(mine.behind, found?.behind ?? 0) }));
}

addEventListener("pagehide", () => highest !== Infinity && now() && save());
