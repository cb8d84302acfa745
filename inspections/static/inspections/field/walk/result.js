// What a finished walk came to, as it was told and recorded, and whether the server has it.
import { dayWords } from "../dates.js";
import * as queue from "../queue.js";
import { verdictBox } from "../shapes.js";
import * as time from "../time.js";
import { copyOf, word } from "../words.js";
import { listsOf } from "./lists.js";
import { tallyOf } from "./tally.js";

const LONGEST_MS = 5 * 60_000; // for which a good stands, as on the screen of a single answer

export function result(stage, walk) {
  stage.append(copyOf("walk-result", { truck: walk.truck, leaving: word("walk-leaving", { day: dayWords(walk.back_on) }) }));
  const part = (name) => stage.querySelector(`[data-part="${name}"]`);
  const tally = walk.tally ?? tallyOf(walk, null, []);
  // The page was killed in the moment of finishing: what is shown lacks the load list, so it is never good.
  const outcome = walk.tally || tally.outcome === "stop" ? tally.outcome : "unknown";
  let left = false;

  const box = verdictBox(outcome, word(`walk-result-${outcome}`, { count: tally.expected }));
  box.querySelector(".word").textContent = word(`walk-result-${outcome}`, { count: tally.expected });
  part("verdict").append(box);
  part("sentence").textContent = sentences(walk, tally, outcome);
  part("caution").textContent = word("walk-caution");
  part("lists").append(...listsOf(walk, tally, walk.tally?.lost ?? []));

  // The record stays as it was told; on the screen a good is worth what it says for a few minutes only.
  function age() {
    const { ms, trusted } = time.now();
    if (outcome !== "good" || (trusted && ms < walk.finished_ms + LONGEST_MS)) return;
    part("verdict").replaceChildren(verdictBox("unknown"));
    part("sentence").textContent = word("walk-aged");
  }
  age();
  const aging = setInterval(age, 1000);

  async function tellSent() {
    const row = (await queue.list()).find((one) => one.record.walk === walk.id);
    if (!left) part("sent").textContent = word(!row ? "walk-sent" : row.state === "refused" ? "walk-refused" : "walk-waiting");
  }
  queue.changes.addEventListener("change", tellSent);
  tellSent();
  return () => {
    left = true;
    clearInterval(aging);
    queue.changes.removeEventListener("change", tellSent);
  };
}

function sentences(walk, tally, outcome) {
  if (outcome === "good") return word("walk-good-sentence", { count: tally.expected, day: dayWords(walk.back_on) });
  const lacking = tally.short.filter((line) => line.aboard < line.count).length;
  return [
    ["stop", tally.blocked.length], ["unseen", tally.notSeen.length], ["strays", tally.strays.length], ["short", lacking],
    ["empty", tally.expected ? 0 : 1],
  ].filter(([, count]) => count).map(([name, count]) => word(`walk-${name}-sentence`, { count })).join(" ");
}
