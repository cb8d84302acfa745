// May I use this? The answer to one label as word, shape and colour. It ages in sight and is taken away in time.
import { alertOf } from "../alerts.js";
import { ask } from "../ask.js";
import { grouped, read } from "../code.js";
import * as data from "../data.js";
import { ageWords, dayWords, momentWords } from "../dates.js";
import { verdictBox } from "../shapes.js";
import { listen } from "../wedge.js";
import { copyOf, word } from "../words.js";

const LONGEST_MS = 5 * 60 * 1000;

export function show(root, text, { go, has }) {
  if (!text.trim()) return go("scan"); // nothing to ask about
  const part = (name) => root.querySelector(`[data-part="${name}"]`);
  let shown = null, began = null, left = false, asking = false;

  function draw(answer) {
    if (left) return;
    const other = answer.verdict !== shown?.verdict;
    const worse = answer.worse || (shown?.verdict === "good" && other);
    shown = answer;
    began = { steady: performance.now(), wall: Date.now() };
    part("verdict").replaceChildren(...(worse ? [copyOf("answer-worse")] : []), verdictBox(answer.verdict, answer.words), reasonsOf(answer));
    part("piece").replaceChildren(...pieceOf(answer, text));
    part("acts").replaceChildren(actsOf(answer, has));
    offerCheck(answer.row);
    tellAge();
    if (other) alertOf(answer.verdict);
  }

  function offerCheck(row) {
    part("check").hidden = !row || !has("check");
    part("check").href = `#check/${encodeURIComponent(row?.no ?? "")}`;
  }

  // The steady clock may stand still while a phone sleeps, the other may be set: the worse of both counts.
  function elapsed() {
    const wall = Date.now() - began.wall;
    return wall < -1000 ? Infinity : Math.max(wall, performance.now() - began.steady);
  }

  function tellAge() {
    const ms = elapsed();
    const told = shown.source === "server"
      ? word("answer-server", { at: momentWords(shown.at_ms), age: ageWords(ms / 1000) })
      : word(shown.ageS === null ? "answer-no-data" : "answer-phone", {
        at: momentWords(shown.at_ms - (shown.ageS ?? 0) * 1000), age: ageWords((shown.ageS ?? 0) + ms / 1000) });
    if (part("age").textContent !== told) part("age").textContent = told;
    const since = ms >= 60_000 ? word("answer-since", { n: Math.floor(ms / 60_000) }) : "";
    if (part("since").textContent !== since) part("since").textContent = since;
  }

  function look() {
    if (!shown || left) return;
    if (elapsed() < LONGEST_MS) return tellAge();
    shown = null;
    part("verdict").replaceChildren(verdictBox("unknown"), copyOf("answer-too-old"));
    for (const name of ["piece", "acts", "age", "since"]) part(name).replaceChildren();
    offerCheck(null);
  }

  const next = (typed) => {
    const { code } = read(typed);
    go(code ? `answer/${code}` : `scan/${typed}`);
  };
  const clock = setInterval(look, 1000);
  document.addEventListener("visibilitychange", look);
  const deafen = listen(next);
  const inquire = () => {
    asking = true;
    return ask(text, { onAnswer: draw }).finally(() => { asking = false; });
  };
  // What this device said by itself is asked anew as soon as it hears from the server.
  const heard = () => shown?.source === "phone" && !asking && inquire();
  data.changes.addEventListener("change", heard);
  inquire();
  return () => {
    left = true;
    clearInterval(clock);
    data.changes.removeEventListener("change", heard);
    document.removeEventListener("visibilitychange", look);
    deafen();
  };
}

function reasonsOf({ reasons, row, verdict, last_day: lastDay }) {
  const found = document.createDocumentFragment();
  if (reasons.length) {
    const list = copyOf("answer-reasons");
    for (const reason of reasons) list.querySelector("ol").append(copyOf("answer-reason", reason));
    found.append(list);
  }
  if (verdict === "good" && row?.set_good_through && row.good_through && row.set_good_through < row.good_through) {
    found.append(copyOf("answer-set-limit", { set: row.set_no, day: dayWords(lastDay) }));
  }
  return found;
}

function pieceOf({ row, notes, verdict }, text) {
  if (!row) {
    const { code } = read(text);
    return [copyOf("answer-no-piece", { code: code ? grouped(code) : text.slice(0, 40) || word("answer-no-code") })];
  }
  const piece = copyOf("answer-piece", { no: row.no, heading: row.heading, match: word(row.serial ? "match-serial" : "match-marks") });
  const marks = piece.querySelector(".marks");
  const held = row.holder ? [[word("held-by"), [row.holder.name, row.holder.crew].filter(Boolean).join(", ")]] : [];
  for (const [name, value] of [...row.markings, ...held]) marks.append(copyOf("answer-mark", { name, value }));
  const panels = document.createElement("div");
  panels.className = "panels";
  panels.append(piece, ...ratingOf(row));
  return [panels, ...notesOf(notes), ...datesOf(row, verdict)];
}

function ratingOf({ rating }) {
  if (!rating) return [];
  const panel = copyOf("answer-rating", rating);
  for (const line of rating.lines) panel.querySelector("[data-lines]").append(copyOf("answer-line", { line }));
  return [panel];
}

function notesOf(notes) {
  if (!notes.length) return [];
  const list = copyOf("answer-notes");
  for (const { sentence } of notes) list.querySelector("ul").append(copyOf("answer-note", { sentence }));
  return [list];
}

// Where the answer is not good the word good does not stand beside a date.
function datesOf(row, verdict) {
  const days = [[word("this-piece"), row.good_through], [word("its-set", { set: row.set_no }), row.set_good_through]];
  const dated = days.filter(([, day]) => day);
  if (!dated.length) return [];
  const list = copyOf("answer-dates");
  for (const [name, day] of dated) {
    const value = word(verdict === "good" ? "good-through" : "by-date-alone", { day: dayWords(day) });
    list.querySelector("dl").append(copyOf("answer-mark", { name, value }));
  }
  return [list];
}

// What can be done next with this piece, as far as this release has the screens for it.
function actsOf({ row, asked, source }, has) {
  const buttons = copyOf("answer-acts");
  for (const link of buttons.querySelectorAll("[data-about]")) {
    link.hidden = !row || !has(link.dataset.about);
    link.href = `#${link.dataset.about}/${encodeURIComponent(row?.no ?? "")}`;
  }
  const record = buttons.querySelector("[data-record]");
  record.hidden = !row;
  if (row) record.href = record.dataset.record.replace("ITEM", encodeURIComponent(row.no));
  const { code } = read(asked ?? "");
  const server = buttons.querySelector("[data-server]");
  server.hidden = !code || source === "server";
  if (code) server.href = `${server.dataset.server}${code}`;
  return buttons;
}
