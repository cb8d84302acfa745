// What this device recorded and the server does not have: why, and what can be done about it.
import * as data from "../data.js";
import { exported } from "../exported.js";
import * as queue from "../queue.js";
import { confirm, isShared, who } from "../who.js";
import { copyOf, word } from "../words.js";

export function show(root) {
  const part = (name) => root.querySelector(`[data-part="${name}"]`);
  let saved = "", left = false;

  async function draw() {
    const rows = await queue.list();
    if (left || root.querySelector("input:focus")) return; // nobody loses what they are typing
    part("state").textContent = await state(rows);
    part("list").replaceChildren(...rows.map((row) => card(row, draw)));
    part("send").disabled = !rows.some((row) => row.state === "waiting");
    part("file").hidden = !rows.length;
    if (saved) URL.revokeObjectURL(saved);
    saved = exported(rows);
    part("file").href = saved;
  }

  part("send").addEventListener("click", () => queue.send());
  queue.changes.addEventListener("change", draw);
  data.changes.addEventListener("change", draw);
  draw();
  return () => {
    left = true;
    queue.changes.removeEventListener("change", draw);
    data.changes.removeEventListener("change", draw);
    if (saved) URL.revokeObjectURL(saved);
  };
}

async function state(rows) {
  const refused = rows.filter((row) => row.state === "refused").length;
  if (!rows.length) return word("unsent-none");
  const said = [word(refused ? "unsent-refused" : "unsent-some", { n: rows.length, refused })];
  for (const [name, n] of await others(rows)) said.push(word("unsent-others", { name, n }));
  if (!navigator.onLine) said.push(word("unsent-offline"));
  else if (queue.waitsFor()) said.push(word(`unsent-${queue.waitsFor()}`));
  return said.join(" ");
}

// Whose records wait for their person: nobody else can send them as theirs.
async function others(rows) {
  const found = new Map();
  for (const row of rows) {
    const { person } = row.record;
    if (isShared() || !person || person === who()?.username) continue;
    found.set(person, (found.get(person) ?? 0) + 1);
  }
  return found;
}

function card(row, draw) {
  const { record } = row;
  const copy = copyOf("unsent-row", {
    what: word(`kind-${record.kind}`), item: record.item ?? record.code ?? "",
    at: record.occurred_at.slice(0, 16).replace("T", " "),
    person: record.person ?? word("unsent-nobody"),
    why: row.message || word("unsent-waits"),
  });
  const form = copy.querySelector("form");
  form.hidden = row.state !== "refused";
  copy.querySelector('[data-part="again"]').addEventListener("click", async () => {
    const by = record.person ? await confirm() : null;
    if (record.person && !by) return;
    await queue.again(row.id, {}, by);
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const reason = form.elements.reason.value.trim();
    form.elements.reason.setCustomValidity(reason ? "" : word("unsent-reason"));
    if (!form.reportValidity()) return;
    const by = await confirm();
    if (!by) return;
    form.elements.reason.blur();
    await queue.dismiss(row.id, reason, by);
    draw();
  });
  return copy;
}
