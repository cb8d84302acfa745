// The lists of a walk, each piece by number and name: what must not be used first.
import { dayWords } from "../dates.js";
import { copyOf, word } from "../words.js";

// `choices(mark)` adds what can be done about a piece that is not on record here.
export function listsOf(walk, tally, lost, choices = () => []) {
  const rows = (marks, why) => marks.map((one) => rowOf(one, why(one)));
  return [
    listOf("blocked", rows(tally.blocked, (one) => whyOf(one, walk))),
    listOf("strays", tally.strays.map((one) => rowOf(one, placeOf(one, walk), choices(one)))),
    listOf("unseen", tally.notSeen.map((one) => rowOf(one, one.holder === walk.truck ? "" : one.holder))),
    listOf("short", tally.short.filter((line) => line.aboard < line.count)
      .map((line) => rowOf({ no: line.words, heading: "" }, word("walk-short", line))), !tally.notSeen.length),
    listOf("lost", lost.map((one) => rowOf(one, ""))),
    listOf("seen", rows(tally.found.filter((one) => one.counts), (one) => (one.taken ? word("walk-taken", walk) : one.last_day ? dayWords(one.last_day) : "")), false),
  ].filter(Boolean);
}

// Why a piece is not to be used, worst first.
export function whyOf(one, walk) {
  const reasons = one.reasons.map((reason) => reason.sentence);
  if (one.early) reasons.push(word("walk-early", { day: dayWords(one.last_day), back: dayWords(walk.back_on) }));
  return reasons.join(" ");
}

export const placeOf = (one) => (one.state === "unknown" ? word("walk-unknown")
  : word(one.state === "wrong_truck" ? "walk-wrong-truck" : "walk-extra", { holder: one.holder?.name ?? "?" }));

function listOf(name, rows, open = true) {
  if (!rows.length) return null;
  const list = copyOf("walk-list", { title: word(`walk-title-${name}`), count: rows.length });
  const details = list.querySelector("details");
  details.dataset.list = name;
  details.open = open;
  list.querySelector("ul").append(...rows);
  return list;
}

function rowOf(one, why, more = []) {
  const row = copyOf("walk-row", { no: one.no || one.code, heading: one.heading ?? "", why });
  row.querySelector("li").append(...more);
  return row;
}
