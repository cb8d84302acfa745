// Lend or borrow: the piece that was scanned, its mates with it, to another truck or person. The address holds its code.
import { ofPhone } from "../ask.js";
import * as data from "../data.js";
import { add } from "../queue.js";
import { confirm, who } from "../who.js";
import { copyOf, word } from "../words.js";

const TO_HANDS = new Set(["truck", "person", "crew", "contractor"]);

// Where it may go: what is not good goes to a shelf, a bench or a lab alone. The trucks of the person's crew first.
function places(row, answer) {
  const crew = who()?.crew;
  const rank = (one) => (one.kind === "truck" ? (crew && one.crew === crew ? 0 : 1) : one.kind === "person" ? 2 : 3);
  return data.meta().holders
    .filter((one) => one.kind !== row.holder?.kind || one.name !== row.holder?.name)
    .filter((one) => answer.verdict === "good" || !TO_HANDS.has(one.kind))
    .sort((one, other) => rank(one) - rank(other) || one.name.localeCompare(other.name));
}

export function show(root, code) {
  const place = (name) => root.querySelector(`[data-${name}]`);
  let row = null, answer = null;

  const give = async (to) => {
    const by = await confirm();
    if (!by) return;
    const told = { verdict: answer.verdict, as_of_ms: data.meta().issued_ms, data_age_s: answer.ageS, source: "phone" };
    const also = place("mates").checked ? row.members.filter((no) => no !== row.no) : [];
    await add("moved", { item: row.no, told, to: { kind: to.kind, name: to.name }, with: also }, by);
    place("choice").hidden = true;
    place("done").textContent = word("lend-done", { no: row.no, to: to.name });
    place("done").focus();
  };

  const list = () => {
    const typed = place("filter").value.trim().toLowerCase();
    const found = places(row, answer).filter((one) => one.name.toLowerCase().includes(typed)).slice(0, 30);
    place("places").replaceChildren(...found.map((one) => {
      const copy = copyOf("lend-place", { name: one.name, kind: word(`holder-${one.kind}`) });
      copy.querySelector("button").addEventListener("click", () => give(one));
      return copy;
    }));
  };

  data.ready.then(async () => {
    row = data.find(code);
    place("missing").hidden = Boolean(row);
    place("choice").hidden = !row;
    if (!row) return;
    answer = await ofPhone(row, null);
    place("what").textContent = `${row.no} · ${row.heading}`;
    place("now").textContent = row.holder ? word("lend-now", { name: row.holder.name }) : "";
    place("blocked").hidden = answer.verdict === "good";
    place("with-mates").hidden = row.members.filter((no) => no !== row.no).length === 0;
    place("filter").addEventListener("input", list);
    list();
  });
}
