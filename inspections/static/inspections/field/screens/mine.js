// What I hold: from the data of this device, each piece with the answer that holds now, and what the trucks of my crew
// carry. The same rows as on the server's page.
import * as data from "../data.js";
import * as time from "../time.js";
import { decide } from "../verdict.js";
import { changes, confirm, who } from "../who.js";
import { copyOf, word } from "../words.js";

const DAY_MS = 86_400_000;
const WORST_FIRST = ["stop", "unknown", "good"];

function judged(row, me) {
  const { ms, trusted } = time.now();
  return decide(row, { nowMs: ms, trusted, meta: data.meta(), trouble: data.trouble(), holderName: me.holder });
}

function daysLeft(answer) {
  if (answer.verdict !== "good" || !answer.last_day) return "";
  const today = data.meta().days.findLast((day) => day.from_ms <= time.now().ms)?.on;
  return today ? word("mine-days", { days: Math.round((Date.parse(answer.last_day) - Date.parse(today)) / DAY_MS) + 1 }) : "";
}

function card(row, me) {
  const answer = judged(row, me);
  const why = answer.reasons[0] ?? answer.notes[0];
  const copy = copyOf("mine-row", {
    no: row.no, heading: row.heading, words: answer.words, days: daysLeft(answer),
    why: why ? `${why.sentence} ${why.who ?? ""}`.trim() : "",
  });
  copy.querySelector("li").dataset.verdict = answer.verdict;
  copy.querySelector("a").href = `#answer/${encodeURIComponent(row.code || row.no)}`;
  return { copy, verdict: answer.verdict, last: answer.last_day ?? "" };
}

function put(place, rows, me) {
  const cards = rows.map((row) => card(row, me)).sort((one, other) =>
    WORST_FIRST.indexOf(one.verdict) - WORST_FIRST.indexOf(other.verdict) || one.last.localeCompare(other.last));
  place.replaceChildren(...cards.map((one) => one.copy));
}

export function show(root) {
  const place = (name) => root.querySelector(`[data-${name}]`);
  const draw = async () => {
    await Promise.all([data.ready, time.ready]);
    const me = who();
    for (const name of ["mine", "truck"]) place(`has-${name}`).hidden = !me || !data.meta();
    place("nobody").hidden = Boolean(me);
    place("no-data").hidden = !me || Boolean(data.meta());
    if (!me || !data.meta()) return;
    const own = data.rows().filter((row) => row.holder?.kind === "person" && row.holder.name === me.holder);
    const crew = data.meta().people.find((one) => one.username === me.username)?.crew ?? own[0]?.holder.crew;
    const aboard = data.rows().filter((row) => row.holder?.kind === "truck" && crew && row.holder.crew === crew);
    place("name").textContent = me.name;
    put(place("rows"), own, me);
    put(place("truck-rows"), aboard, me);
    place("none").hidden = own.length > 0;
    place("truck-none").hidden = aboard.length > 0;
  };
  place("confirm").addEventListener("click", () => confirm());
  changes.addEventListener("change", draw);
  data.changes.addEventListener("change", draw);
  draw();
  return () => {
    changes.removeEventListener("change", draw);
    data.changes.removeEventListener("change", draw);
  };
}
