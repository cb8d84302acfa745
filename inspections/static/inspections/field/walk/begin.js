// Which truck, back by when, and who rides along.
import * as data from "../data.js";
import * as time from "../time.js";
import { who } from "../who.js";
import { copyOf, word } from "../words.js";
import * as kept from "./kept.js";
import { expectedOf, tallyOf } from "./tally.js";

export function begin(stage, _walk, { go }) {
  stage.append(copyOf("walk-begin"));
  const part = (name) => stage.querySelector(`[data-part="${name}"]`);
  const form = part("form");
  let left = false;

  function fill() {
    const meta = data.meta();
    const trucks = mineFirst(meta?.trucks ?? []);
    form.hidden = !trucks.length;
    part("none").textContent = trucks.length ? "" : word(meta ? "walk-no-trucks" : "walk-no-data");
    if (!trucks.length) return;
    const chosen = form.elements.truck.value;
    form.elements.truck.replaceChildren(...trucks.map((one) => new Option([one.name, one.crew].filter(Boolean).join(", "), one.name)));
    if (trucks.some((one) => one.name === chosen)) form.elements.truck.value = chosen;
    if (!form.elements.back.value) form.elements.back.value = today();
    form.elements.back.min = today();
    about();
  }

  function about() {
    const truck = truckNamed(form.elements.truck.value);
    const list = truck?.list ? word("walk-list-of", truck.list) : word("walk-no-list");
    const count = expectedOf({ truck: truck.name, crew: [] }, data.rows()).length;
    part("about").textContent = word("walk-about", { count, list });
    part("crew").querySelectorAll("label").forEach((one) => one.remove());
    for (const name of peopleOf(truck)) {
      const pieces = expectedOf({ truck: "", crew: [name] }, data.rows()).length;
      const tick = copyOf("walk-person", { words: word("walk-person", { name, count: pieces }) });
      const box = tick.querySelector("input");
      box.value = name;
      box.checked = name === who()?.holder;
      part("crew").append(tick);
    }
    part("crew").hidden = !part("crew").querySelector("input");
  }

  async function offerOpen() {
    for (const walk of await kept.unfinished(time.now().ms)) {
      if (left) return;
      const { seen, expected } = tallyOf(walk, null, []);
      const link = copyOf("walk-open", { words: word("walk-go-on", { truck: walk.truck, seen, expected }) });
      link.querySelector("a").href = `#walk/${walk.id}`;
      part("open").append(link);
    }
  }

  form.elements.truck.addEventListener("change", about);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const truck = truckNamed(form.elements.truck.value);
    const crew = [...form.querySelectorAll('input[name="crew"]:checked')].map((box) => box.value);
    const walk = {
      id: crypto.randomUUID(), truck: truck.name, crew, back_on: form.elements.back.value, started_ms: time.now().ms,
      finished_ms: null, list: truck.list ? { class: truck.list.class, version: truck.list.version } : null, marks: [] };
    walk.expected = expectedOf(walk, data.rows());
    await kept.save(walk);
    go(`walk/${walk.id}`);
  });
  data.changes.addEventListener("change", fill);
  fill();
  offerOpen();
  if (!data.meta()) data.refresh();
  return () => {
    left = true;
    data.changes.removeEventListener("change", fill);
  };
}

export const truckNamed = (name) => (data.meta()?.trucks ?? []).find((one) => one.name === name) ?? null;

// The trucks of the crew of whoever asks stand first.
function mineFirst(trucks) {
  const meta = data.meta();
  const own = (meta?.holders ?? []).find((one) => one.kind === "person" && one.name === who()?.holder)?.crew
    ?? (meta?.scope.kind === "crew" ? meta.scope.name : null);
  const mine = (one) => (one.crew !== null && one.crew === own ? 0 : 1);
  return [...trucks].sort((one, other) => mine(one) - mine(other) || one.name.localeCompare(other.name));
}

// People of the truck's crew, with gear or without.
function peopleOf(truck) {
  if (!truck.crew) return [];
  const named = [...(data.meta().holders ?? []), ...data.rows().map((row) => row.holder)]
    .filter((one) => one?.kind === "person" && one.crew === truck.crew).map((one) => one.name);
  return [...new Set(named)].sort((one, other) => one.localeCompare(other));
}

// The calendar day of the site, as the data say where days begin.
function today() {
  const { ms } = time.now();
  const days = data.meta()?.days ?? [];
  return (days.find((day) => day.from_ms <= ms && ms < day.until_ms) ?? days[0])?.on ?? "";
}
