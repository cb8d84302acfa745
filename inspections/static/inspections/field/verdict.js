// What this device may say of a row of its data. No rule is run here: the server decided for each day, and this finds
// the day, or says why it can say nothing. Anything in doubt is unknown.
import { word } from "./words.js";

const DAY = 86_400_000;

// row: ROW or null. {nowMs, trusted} of time.js; meta: the bundle or live answer that the row is from, or null;
// trouble: why there is no meta; holderName: under which name whoever asks has gear; checkedOn: ISO day of a look before
// use that was recorded here. -> {verdict, words, reasons, notes, row, ageS, last_day}
export function decide(row, { nowMs, trusted, meta, trouble = "NO_DATA", holderName = null, checkedOn = null }) {
  const ageS = meta ? Math.max(0, Math.floor((nowMs - meta.issued_ms) / 1000)) : null;
  const why = doubt(row, { nowMs, trusted, meta, trouble });
  if (why) return unknown(why, row, ageS);
  const index = dayIndex(meta, nowMs);
  const given = answerOf(row, index, meta.days[index].on, checkedOn);
  if (!given || !["good", "stop", "unknown"].includes(given.verdict)) return unknown("BAD_DATA", row, ageS);
  if (given.verdict === "good" && given.last_day && meta.days[index].on > given.last_day) return unknown("BAD_DATA", row, ageS);
  return othersOf(row, index, { ...given, row, ageS }, holderName);
}

function doubt(row, { nowMs, trusted, meta, trouble }) {
  if (!meta) return trouble || "NO_DATA";
  if (!trusted) return "CLOCK_BACK";
  if (!(nowMs >= meta.issued_ms - DAY && nowMs < meta.expires_ms)) return "DATA_OLD";
  if (dayIndex(meta, nowMs) < 0) return "DATA_OLD";
  return row ? "" : "NOT_IN_DATA";
}

const dayIndex = (meta, nowMs) => {
  const at = Math.max(nowMs, meta.issued_ms);
  return meta.days.findIndex((day) => day.from_ms <= at && at < day.until_ms);
};

function answerOf(row, index, on, checkedOn) {
  if (row.old_codes.includes(row.asked) && row.asked !== row.code) return row.old_code_answers[index];
  return (checkedOn === on && row.checked_answers[index]) || row.answers[index];
}

// Another person's gear is said, and stops whoever does not have it where the site chose so.
function othersOf(row, index, given, holderName) {
  const others = row.other && holderName && row.holder.name !== holderName;
  if (!others) return given;
  const { stops, ...reason } = row.other;
  if (!stops[index]) return { ...given, notes: [reason, ...given.notes] };
  const reasons = [...given.reasons, reason];
  return given.verdict === "good" ? { ...given, verdict: "stop", words: word("verdict_stop"), reasons } : { ...given, reasons };
}

export function unknown(code, row = null, ageS = null) {
  const hours = ageS === null ? "" : Math.floor(ageS / 3600);
  const reason = { code, sentence: word(`why_${code}`, { hours }), who: word(`who_${code}`), source: "" };
  return { verdict: "unknown", words: word("verdict_unknown"), reasons: [reason], notes: [], row, ageS, last_day: null };
}

export function stopped(given, reason) {
  return { ...given, verdict: "stop", words: word("verdict_stop"), reasons: [reason, ...given.reasons], notes: [] };
}
