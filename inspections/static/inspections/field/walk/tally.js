// What a walk round a truck comes to: which pieces were seen, what speaks against each, and how far the load list is
// filled. The twin of inspections/rules/loadlist.py, held against it by tests/browser/test_truck_walk.py.

// Reasons by which a piece is not looked for although it is on record here.
const AWAY = new Set(["LOST", "DESTROYED"]);

// A piece as the lists name it.
const named = (row) => ({ no: row.no, heading: row.heading, holder: row.holder.name });

// What is looked for: everything on record with the truck and with the people who ride along.
export function expectedOf(walk, rows) {
  const here = (row) => row.holder && (row.holder.kind === "truck"
    ? row.holder.name === walk.truck
    : row.holder.kind === "person" && walk.crew.includes(row.holder.name));
  return rows.filter(here).filter((row) => !away(row)).map(named);
}

// Reported lost, and still on record here: named, and not looked for.
export const lostOf = (walk, rows) => rows
  .filter((row) => row.holder?.kind === "truck" && row.holder.name === walk.truck && away(row)).map(named);

const away = (row) => row.answers[0].reasons.some((reason) => AWAY.has(reason.code));

// One scanned piece: where it belongs, and what speaks against it.
export function judged(mark, walk, expected) {
  const state = !mark.no ? "unknown"
    : expected.has(mark.no) ? "seen"
      : mark.holder?.kind === "truck" && mark.holder.name !== walk.truck ? "wrong_truck" : "extra";
  const early = mark.verdict === "good" && mark.last_day !== null && mark.last_day < walk.back_on;
  const blocked = mark.verdict !== "good" || early;
  const stray = state !== "seen" && !mark.taken;
  return { ...mark, state, early, blocked, stray, counts: !blocked && !stray };
}

// Everything that the screen shows and the record keeps. `list` is the load list of the truck's class, or null.
export function tallyOf(walk, list, rows) {
  const expected = new Map(walk.expected.map((one) => [one.no, one]));
  const found = walk.marks.map((mark) => judged(mark, walk, expected));
  const seen = new Set(found.filter((one) => one.state === "seen").map((one) => one.no));
  const notSeen = walk.expected.filter((one) => !seen.has(one.no));
  const short = list ? shortOf(list.lines, found.filter((one) => one.counts), rows) : [];
  const blocked = found.filter((one) => one.blocked);
  const strays = found.filter((one) => one.stray);
  const lacking = short.some((line) => line.aboard < line.count);
  const complete = walk.expected.length > 0 && !notSeen.length && !strays.length && !lacking;
  return { found, seen: seen.size, expected: walk.expected.length, notSeen, blocked, strays, short,
    outcome: blocked.length ? "stop" : complete ? "good" : "unknown" };
}

// How far what counts fills each line: a pair with both hands, a set with all of it, and no piece twice.
function shortOf(lines, counting, rows) {
  const here = new Set(counting.map((one) => one.no));
  const byNo = new Map(rows.map((row) => [row.no, row]));
  const units = { piece: new Map(), pair: new Map(), set: new Map() };
  for (const no of here) {
    const row = byNo.get(no);
    if (!row) continue;
    const unit = ["glove", "sleeve"].includes(row.kind) ? "pair" : row.kind === "grounding_jumper" ? "set" : "piece";
    const name = unit === "piece" || !row.set_no ? no : `set ${row.set_no}`;
    units[unit].set(name, [...(units[unit].get(name) ?? []), row]);
  }
  const whole = (unit, of) => {
    if (unit === "piece") return true;
    const hands = of.map((row) => row.hand);
    return of[0].members.every((no) => here.has(no)) && (unit === "set" || (hands.includes("L") && hands.includes("R")));
  };
  const fits = lines.map((line) => {
    const takes = new Set(line.fits);
    return [...units[line.unit]].filter(([, of]) => whole(line.unit, of) && of.every((row) => takes.has(row.no)))
      .map(([name]) => `${line.unit} ${name}`);
  });
  const filled = matched(fits, lines.map((line) => line.count));
  return lines.map((line, at) => ({ words: line.words, count: line.count, aboard: filled[at] }));
}

// Kuhn's augmenting paths, as in loadlist.matched: a unit that another line could do without is given up by it.
export function matched(fits, wanted) {
  const given = new Map();
  const place = (line, tried) => fits[line].some((unit) => {
    if (tried.has(unit)) return false;
    tried.add(unit);
    if (given.has(unit) && !place(given.get(unit), tried)) return false;
    given.set(unit, line);
    return true;
  });
  wanted.forEach((count, line) => {
    for (let one = 0; one < count && place(line, new Set()); one += 1);
  });
  return fits.map((_, line) => [...given.values()].filter((to) => to === line).length);
}

// The pieces as the record keeps them.
export function piecesOf({ found, notSeen }) {
  const told = found.map((one) => ({
    no: one.no ?? "", code: one.code, state: one.state, verdict: one.verdict, reasons: one.reasons.map((reason) => reason.code),
    good_through: one.last_day, as_of_ms: one.as_of_ms, age_s: one.age_s, source: one.source, taken: one.taken === true }));
  const unseen = notSeen.map((one) => ({
    no: one.no, code: "", state: "not_seen", verdict: "", reasons: [], good_through: null, as_of_ms: null, age_s: null, source: "", taken: false }));
  return [...told, ...unseen];
}
