// The walk itself: every label that comes into view is counted once and answered at once, and the camera stays on.
import { alertOf } from "../alerts.js";
import { ask } from "../ask.js";
import { watch } from "../camera.js";
import { read } from "../code.js";
import * as data from "../data.js";
import { dayWords } from "../dates.js";
import * as queue from "../queue.js";
import { verdictBox } from "../shapes.js";
import * as time from "../time.js";
import { listen } from "../wedge.js";
import { confirm } from "../who.js";
import { copyOf, word } from "../words.js";
import { truckNamed } from "./begin.js";
import * as kept from "./kept.js";
import { listsOf, placeOf, whyOf } from "./lists.js";
import { current } from "./marks.js";
import { expectedOf, judged, lostOf, piecesOf, tallyOf } from "./tally.js";

const AGAIN_MS = 2500; // the camera reads a label many times a second: for so long it is the same scan
const GOOD_MS = 1600; // a good answer makes room by itself; any other stays until the next scan

const asking = new Map(); // about which piece: a question that the server may still answer

// Resolves when every answer so far stands in its walk.
export const settled = () => Promise.allSettled(asking.values());

export function scanning(stage, walk, { go }) {
  stage.append(copyOf("walk-scanning", { truck: walk.truck, leaving: word("walk-leaving", { day: dayWords(walk.back_on) }) }));
  const part = (name) => stage.querySelector(`[data-part="${name}"]`);
  const lately = new Map(); // text: when it was seen last
  let camera = null, left = false, tally = null, clearing = 0, chain = Promise.resolve();

  function draw() {
    if (left) return;
    if (data.meta()) walk.expected = expectedOf(walk, data.rows());
    tally = tallyOf(walk, listOf(), data.rows());
    part("seen").textContent = word("walk-seen", tally);
    part("unseen").textContent = word("walk-unseen", { count: tally.notSeen.length });
    part("blocked").textContent = tally.blocked.length ? word("walk-blocked", { count: tally.blocked.length }) : "";
    const open = new Map([...part("lists").querySelectorAll("details")].map((one) => [one.dataset.list, one.open]));
    part("lists").replaceChildren(...listsOf(walk, tally, lostOf(walk, data.rows()), takeOver));
    for (const one of part("lists").querySelectorAll("details")) one.open = open.get(one.dataset.list) ?? one.open;
    part("lists").dataset.seen = tally.seen;
  }

  // The version that the walk began with counts to its end.
  function listOf() {
    const list = truckNamed(walk.truck)?.list ?? null;
    return list && walk.list && list.class === walk.list.class && list.version === walk.list.version ? list : null;
  }

  // One scan after the other: two at once must not both find that a piece is new.
  const seen = (texts) => texts.forEach((text) => {
    const now = performance.now();
    const before = lately.get(text);
    lately.set(text, now);
    if (before === undefined || now - before > AGAIN_MS) take(text);
  });
  const take = (text) => { chain = chain.then(() => (left ? null : scanned(text))); return chain; };

  async function renew() {
    walk.marks = await current(() => walk.marks);
  }

  async function scanned(text) {
    await renew();
    const { code, problem } = read(text);
    const typed = code ?? (data.find(text) ? text : null);
    if (!typed) return tell([copyOf("walk-notice", { words: word(problem === "foreign" ? "walk-foreign" : "walk-misread") })], "unknown");
    const row = data.find(typed);
    const known = walk.marks.find((one) => (row ? one.no === row.no : one.code === typed));
    if (known && known.verdict === "good") return tell([copyOf("walk-notice", { words: word("walk-twice", { no: known.no || known.code }) })], "");
    const about = row?.no ?? typed;
    await asking.get(about); // of two answers about one piece the newer one counts
    await firstAnswer(about, typed);
  }

  // The next piece does not wait for the server's word on this one: that counts whenever it comes, and the walk is not
  // finished without it.
  const firstAnswer = (about, typed) => new Promise((done) => {
    const whole = ask(typed, { onAnswer: (answer) => { answered(typed, answer).then(done); } });
    asking.set(about, whole);
    whole.finally(() => asking.delete(about));
  });

  async function answered(typed, answer) {
    const mark = markOf(typed, answer, walk);
    const same = (one) => (mark.no ? one.no === mark.no : !one.no && one.code === mark.code) || one.code === mark.code;
    const before = walk.marks.find(same);
    mark.taken = before?.taken ?? false;
    walk.marks = [...walk.marks.filter((one) => !same(one)), mark];
    await kept.save(walk);
    if (left) return;
    draw();
    if (before?.verdict === mark.verdict && before.last_day === mark.last_day && answer.source === "server" && !answer.worse && before.at_ms > answer.at_ms - 20_000) return;
    show(judged(mark, walk, new Map(walk.expected.map((one) => [one.no, one]))));
  }

  function show(one) {
    const words = one.early ? word("walk-early-word") : one.words;
    const shown = one.early ? "stop" : one.verdict;
    const found = copyOf("walk-found", { no: one.no || one.code, heading: one.heading ?? "" });
    const why = one.blocked ? [whyOf(one, walk)] : [];
    if (one.stray) why.push(placeOf(one));
    for (const line of why.filter(Boolean)) {
      const item = document.createElement("li");
      item.textContent = line;
      found.querySelector("[data-list]").append(item);
    }
    tell([verdictBox(shown, words), found], one.blocked || one.stray ? (one.blocked ? shown : "unknown") : "good");
  }

  function tell(parts, sound) {
    clearTimeout(clearing);
    part("answer").replaceChildren(...parts);
    if (sound) alertOf(sound);
    if (sound === "good" || !sound) clearing = setTimeout(() => part("answer").replaceChildren(), GOOD_MS);
  }

  // What is in date and here may be put on record here; what must not be used is not moved about.
  function takeOver(one) {
    if (one.blocked || !one.no) return [];
    const choice = copyOf("walk-take", { words: word("walk-take", { no: one.no, truck: walk.truck }) });
    choice.querySelector("button").addEventListener("click", async () => {
      const by = await confirm();
      if (!by || left) return;
      const told = { verdict: one.verdict, as_of_ms: one.as_of_ms, data_age_s: one.age_s, source: one.source };
      await queue.add("moved", { item: one.no, told, to: { kind: "truck", name: walk.truck } }, by);
      walk.marks = walk.marks.map((mark) => (mark.no === one.no ? { ...mark, taken: true } : mark));
      await kept.save(walk);
      draw();
    });
    return [choice];
  }

  async function finish() {
    const by = await confirm();
    if (left) return;
    if (!by) {
      part("problem").textContent = word("walk-not-confirmed");
      return;
    }
    await renew();
    draw();
    const { ms } = time.now();
    const oldest = walk.marks.map((one) => one.as_of_ms);
    const record = {
      walk: walk.id, truck: walk.truck, started_ms: walk.started_ms, finished_ms: Math.max(ms, walk.started_ms),
      back_on: walk.back_on, crew: walk.crew, list: listOf() ? walk.list : null, outcome: tally.outcome,
      data_as_of_ms: oldest.length ? Math.min(...oldest) : null, pieces: piecesOf(tally), short: tally.short };
    await queue.add("load_check", record, by);
    await kept.save({ ...walk, finished_ms: record.finished_ms, tally: { ...tally, lost: lostOf(walk, data.rows()) } });
    go(`walk/${walk.id}`);
  }

  async function start() {
    try {
      camera = await watch(part("picture"), seen);
    } catch (error) {
      part("no-camera").textContent = word(error.name === "NotAllowedError" ? "camera-refused" : "camera-none");
      part("camera").hidden = true;
      return;
    }
    if (left) return camera.stop();
    part("torch").hidden = !camera.hasTorch();
  }

  part("code").addEventListener("submit", (event) => {
    event.preventDefault();
    const field = part("code").elements.code;
    take(field.value);
    field.value = "";
  });
  part("torch").addEventListener("click", () => {
    const on = part("torch").getAttribute("aria-pressed") !== "true";
    camera?.torch(on);
    part("torch").setAttribute("aria-pressed", String(on));
  });
  part("finish").addEventListener("click", () => chain.then(settled).then(finish));
  const deafen = listen(take);
  data.changes.addEventListener("change", draw);
  renew().then(draw);
  start();
  return () => {
    left = true;
    clearTimeout(clearing);
    data.changes.removeEventListener("change", draw);
    deafen();
    camera?.stop();
  };
}

// An answer as the walk keeps it. That a pair is another's is no reason against it where that person rides along.
function markOf(typed, answer, walk) {
  const { row } = answer;
  const rides = row?.holder?.kind === "person" && walk.crew.includes(row.holder.name);
  const reasons = answer.reasons.filter((reason) => !(rides && reason.code === "OTHER_HOLDER"));
  const cleared = answer.verdict === "stop" && answer.reasons.length > 0 && !reasons.length;
  return {
    no: row?.no ?? "", code: typed, heading: row?.heading ?? "", holder: row?.holder ?? null,
    verdict: cleared ? "good" : answer.verdict,
    words: cleared ? word("walk-good-through", { day: answer.last_day ? dayWords(answer.last_day) : "" }) : answer.words,
    reasons: reasons.map(({ code, sentence }) => ({ code, sentence })), last_day: answer.last_day ?? null,
    source: answer.source, as_of_ms: answer.at_ms - (answer.ageS ?? 0) * 1000, age_s: answer.ageS ?? 0, at_ms: answer.at_ms };
}
