// What I hold: from the data of this device, each piece with the answer that holds now, and what the trucks of my crew
// carry. The same rows as on the server's page.
import { ofPhone } from "../ask.js";
import * as data from "../data.js";
import * as queue from "../queue.js";
import * as time from "../time.js";
import { changes, confirm, ready, who } from "../who.js";
import { copyOf, word } from "../words.js";

const DAY_MS = 86_400_000;
const WORST_FIRST = ["stop", "unknown", "good"];
const EVERY_MS = 30_000; // data grow old while the list is looked at

function daysLeft(answer) {
  if (answer.verdict !== "good" || !answer.last_day) return "";
  const today = data.meta().days.findLast((day) => day.from_ms <= time.now().ms)?.on;
  return today ? word("mine-days", { days: Math.round((Date.parse(answer.last_day) - Date.parse(today)) / DAY_MS) + 1 }) : "";
}

async function card(row, me) {
  const answer = await ofPhone(row, me.holder);
  const why = answer.reasons[0] ?? answer.notes.find((note) => note.code !== "DUE_SOON");
  const copy = copyOf("mine-row", {
    no: row.no, heading: row.heading, words: answer.words, days: daysLeft(answer),
    why: why ? `${why.sentence} ${why.who ?? ""}`.trim() : "",
  });
  copy.querySelector("li").dataset.verdict = answer.verdict;
  copy.querySelector("a").href = `#answer/${encodeURIComponent(row.code || row.no)}`;
  return { copy, verdict: answer.verdict, last: answer.last_day ?? "" };
}

async function put(place, rows, me) {
  const cards = (await Promise.all(rows.map((row) => card(row, me)))).sort((one, other) =>
    WORST_FIRST.indexOf(one.verdict) - WORST_FIRST.indexOf(other.verdict) || one.last.localeCompare(other.last));
  place.replaceChildren(...cards.map((one) => one.copy));
}

const crewOf = (scope) => (scope.kind === "crew" ? scope.name : null);

export function show(root) {
  const place = (name) => root.querySelector(`[data-${name}]`);
  let left = false;
  const draw = async () => {
    await Promise.all([data.ready, time.ready, ready]);
    if (left) return;
    const me = who();
    for (const name of ["mine", "truck"]) place(`has-${name}`).hidden = !me || !data.meta();
    place("nobody").hidden = Boolean(me);
    place("no-data").hidden = !me || Boolean(data.meta());
    if (!me || !data.meta()) return;
    const own = data.rows().filter((row) => row.holder?.kind === "person" && row.holder.name === me.holder);
    const crew = data.meta().people.find((one) => one.username === me.username)?.crew || me.crew || crewOf(data.meta().scope);
    const aboard = data.rows().filter((row) => row.holder?.kind === "truck" && crew && row.holder.crew === crew);
    place("name").textContent = me.name;
    await Promise.all([put(place("rows"), own, me), put(place("truck-rows"), aboard, me)]);
    place("none").hidden = own.length > 0;
    place("truck-none").hidden = aboard.length > 0;
  };
  place("confirm").addEventListener("click", () => confirm());
  const heard = [changes, data.changes, queue.changes];
  for (const one of heard) one.addEventListener("change", draw);
  document.addEventListener("visibilitychange", draw);
  const clock = setInterval(draw, EVERY_MS);
  draw();
  return () => {
    left = true;
    clearInterval(clock);
    document.removeEventListener("visibilitychange", draw);
    for (const one of heard) one.removeEventListener("change", draw);
  };
}
