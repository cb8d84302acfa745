// The look before use: the lines for this kind of piece, and one button that says that all of it is as it should be.
import * as data from "../data.js";
import { done, headed, notKnown, pieceOf, recorded } from "../piece.js";
import { copyOf, word } from "../words.js";
import * as time from "../time.js";

const HANDED = ["glove", "sleeve"];

export function show(root, no, { go }) {
  let stop = null, left = false;
  begin();
  return () => {
    left = true;
    stop?.();
  };

  async function begin() {
    const piece = await pieceOf(no);
    if (left) return;
    if (!piece) return notKnown(root);
    headed(root, piece.row);
    const lines = copyOf(`check-lines-${piece.row.kind}`);
    const codes = [...lines.querySelectorAll("[data-code]")].map((line) => line.dataset.code);
    root.querySelector('[data-part="lines"]').append(lines);
    root.querySelector('[data-part="wrong"]').href = `#damage/${encodeURIComponent(no)}`;
    if (!mayAccept(piece)) {
      root.querySelector('[data-part="barred"]').hidden = false;
      root.querySelector('[data-part="happened"]').href = `#event/${encodeURIComponent(no)}`;
      return;
    }
    const both = mateOf(piece.row);
    const button = root.querySelector('[data-part="accept"]');
    button.hidden = false;
    if (both) button.querySelector('[data-part="both"]').textContent = word("check-both", { one: no, other: both });
    button.addEventListener("click", () => accept(piece, codes, both, button));
  }

  async function accept(piece, codes, both, button) {
    button.disabled = true;
    const body = { outcome: "accept", checklist: codes, ...(both ? { also: both } : {}) };
    const record = await recorded("checked", piece, body);
    button.disabled = false;
    if (!record || left) return;
    const sentence = both ? word("checked-both", { one: no, other: both }) : word("checked-one", { one: no });
    stop = done(root, piece, { record, sentence, out: false });
  }
}

// Where the answer is good, or a look before use is all that it waits for, as the server decided it.
function mayAccept({ row, shown }) {
  if (shown?.verdict === "good") return true;
  const { ms } = time.now();
  const days = data.meta()?.days ?? [];
  const day = shown?.source === "server" ? 0 : days.findIndex((one) => one.from_ms <= ms && ms < one.until_ms);
  const reported = shown?.reasons.some((reason) => reason.code === "REPORTED_HERE");
  return !reported && shown?.verdict === "stop" && row.checked_answers?.[day]?.verdict === "good";
}

// The other piece of a pair, where it is with the same holder.
function mateOf(row) {
  const other = HANDED.includes(row.kind) && row.members.length === 2 ? row.members.find((one) => one !== row.no) : null;
  const mate = other && data.find(other);
  return mate?.holder && mate.holder.kind === row.holder?.kind && mate.holder.name === row.holder.name ? other : null;
}
