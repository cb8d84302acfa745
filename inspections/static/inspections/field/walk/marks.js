// What was scanned on a walk, as far as it still holds: a walk may be left, and go on hours or a report of damage later.
import * as data from "../data.js";
import { reported } from "../reported.js";
import * as time from "../time.js";
import { word } from "../words.js";

const LONGEST_MS = 12 * 3_600_000; // as long as data answer at most
const MARGIN_MS = 60_000; // a mark says when it was answered, to the second; the data were a little older

// The marks of now: a good one from another day or from data too old since is forgotten, so that the piece is scanned
// again; one that was reported here since, or whose mate was, is stop.
export async function current(marksOf) {
  const found = await reported();
  const isOut = (mark) => [mark.no, ...(data.find(mark.no)?.members ?? [])].some((no) => found(no, mark.as_of_ms - MARGIN_MS).out);
  const { ms, trusted } = time.now();
  const { days = [], issued_ms: issued = 0, expires_ms: expires = LONGEST_MS } = data.meta() ?? {};
  const from = days.findLast((day) => day.from_ms <= ms)?.from_ms ?? 0;
  const holds = (mark) => trusted && mark.at_ms >= from && ms - mark.as_of_ms < Math.min(LONGEST_MS, expires - issued);
  return marksOf().filter((mark) => mark.verdict !== "good" || isOut(mark) || holds(mark))
    .map((mark) => (isOut(mark) && mark.verdict !== "stop" ? stopped(mark) : mark));
}

const stopped = (mark) => ({
  ...mark, verdict: "stop", words: word("verdict_stop"), reasons: [{ code: "REPORTED_HERE", sentence: word("why_REPORTED_HERE") }] });
