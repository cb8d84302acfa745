// May I use this? This device's own answer and the server's, whichever is due. Only the server's word, or data that is
// whole and fresh, makes good; stop and unknown are said at once. Every answer that is shown is put on record.
import * as data from "./data.js";
import { fetchJson } from "./fetching.js";
import { add } from "./queue.js";
import { reported } from "./reported.js";
import { newNonce, opened } from "./signed.js";
import * as time from "./time.js";
import { decide, stopped } from "./verdict.js";
import { ready as whoReady, who } from "./who.js";
import { word } from "./words.js";

const PATIENCE = 1500; // milliseconds for which a good from this device waits for the server's word
let latest = null; // the answer that was shown last, for a record about the same piece
const WORSE = { good: 0, unknown: 1, stop: 2 };

// onAnswer(answer) for each answer as it comes: that of verdict.js with `source` ("phone" or "server"), `asked`, `at_ms`,
// `worse` (worse than the one shown before) and `final`. Returns the last one.
export async function ask(text, { onAnswer }) {
  await Promise.all([data.ready, whoReady]); // whose gear it is counts as well
  const server = fromServer(text);
  const own = await fromPhone(text);
  let shown = null;
  const show = async (answer, final) => {
    const worse = shown !== null && WORSE[answer.verdict] > WORSE[shown.verdict];
    shown = { ...answer, asked: String(text).trim(), at_ms: time.now().ms, worse, final };
    latest = shown;
    onAnswer(shown);
    await put(shown);
  };
  const early = own.verdict === "good" ? await within(server, navigator.onLine ? PATIENCE : 0) : null;
  if (!early) await show(own, false);
  const theirs = early ?? (await server);
  if (theirs) await show(theirs, true);
  return shown;
}

// What was shown of a piece last, if it was the last one shown at all; null otherwise.
export const shownOf = (no) => (latest?.row?.no === no ? latest : null);

// The same as a record keeps it.
export const toldOf = (shown) => ({
  verdict: shown.verdict, as_of_ms: Math.round(shown.at_ms - (shown.ageS ?? 0) * 1000),
  data_age_s: Math.round((shown.ageS ?? 0) + Math.max(0, time.now().ms - shown.at_ms) / 1000), source: shown.source,
});

const fromPhone = (text) => ofPhone(data.find(text));

// The answer of this device's data about a row of it, as `ask` gives it, for lists: it is not put on record.
export async function ofPhone(row, holderName = who()?.holder ?? null) {
  return { ...(await judged(row, data.meta(), data.trouble(), holderName)), source: "phone" };
}

async function fromServer(text) {
  if (!navigator.onLine) return null;
  const nonce = newNonce();
  const asked = new URLSearchParams({ nonce, lang: document.documentElement.dataset.language ?? "" });
  const address = `/truck/answer/${encodeURIComponent(String(text).trim())}/?${asked}`;
  const { status, json } = await fetchJson(address, { timeout: 10_000 });
  const stated = status === 200 ? await opened(json, { what: "answer", nonce }).catch(() => null) : null;
  if (!stated) return null;
  await time.saw(stated.issued_ms);
  if (stated.answer) return { ...stated.answer, row: null, ageS: 0, source: "server" };
  const row = { ...stated.item, asked: stated.asked_code };
  return { ...(await judged(row, stated, "", who()?.holder ?? null)), source: "server" };
}

// The decision, with what was recorded here and cannot be in the data yet.
async function judged(row, meta, trouble, holderName) {
  const found = await reported();
  const here = (no) => found(no, meta?.issued_ms);
  const given = decide(row, { ...clock(), meta, trouble, holderName, checkedOn: row ? here(row.no).checkedOn : null });
  // A pair or a set is no better than the worst of its pieces.
  if (!row || ![row.no, ...row.members].some((no) => here(no).out)) return given;
  const reason = { code: "REPORTED_HERE", sentence: word("why_REPORTED_HERE"), who: word("who_REPORTED_HERE"), source: "" };
  return stopped(given, reason);
}

function clock() {
  const { ms, trusted } = time.now();
  return { nowMs: ms, trusted };
}

const within = (promise, ms) => Promise.race([promise, new Promise((done) => setTimeout(done, ms, null))]);

function put(shown) {
  const meta = data.meta();
  return add("answered", {
    item: shown.row?.no ?? null,
    told: { verdict: shown.verdict, as_of_ms: shown.at_ms - (shown.ageS ?? 0) * 1000, data_age_s: shown.ageS, source: shown.source },
    code: shown.asked.slice(0, 64),
    reasons: shown.reasons.map((reason) => reason.code),
    last_day: shown.last_day,
    rule_pack: meta?.rule_pack ?? "",
  });
}
