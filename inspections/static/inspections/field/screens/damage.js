// Damage: a word, and the place on the drawing of the piece. What follows comes from the word; the piece is out at once.
import { done, extras, headed, notKnown, pieceOf, recorded } from "../piece.js";
import { copyOf, word } from "../words.js";

export function show(root, no, { go }) {
  let stop = null, left = false, busy = false;
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
    const place = root.querySelector('[data-part="words"]');
    place.append(copyOf(`damage-words-${piece.row.kind}`));
    place.addEventListener("click", (event) => {
      const button = event.target.closest("button[data-word-code]");
      if (button) where(piece, button);
    });
  }

  // The last tap says where, and with that it is recorded; what rides on it, note or photo, is there before and after.
  function where(piece, { dataset: { wordCode, outcome }, firstElementChild: name }) {
    const { row } = piece;
    const words = name.textContent;
    root.replaceChildren(copyOf("damage-where", { words, outcome: word(`outcome-${outcome}`) }));
    headed(root, row);
    scrollTo(0, 0);
    root.focus({ preventScroll: true });
    const more = extras(root);
    const side = sides(row);
    const drawing = document.getElementById(`damage-place-${row.kind}-${row.hand ?? ""}`)
      ?? document.getElementById(`damage-place-${row.kind}-`) ?? document.getElementById(`damage-place-${row.kind}-L`);
    if (drawing) root.querySelector('[data-part="drawing"]').append(drawing.content.cloneNode(true));
    root.querySelector('[data-part="without"]').hidden = false;
    root.querySelector('[data-part="again"]').addEventListener("click", () => go(`damage/${encodeURIComponent(no)}`));
    root.querySelector('[data-part="place"]').addEventListener("click", (event) => {
      const part = event.target.closest("[data-part-code], .part[data-part]");
      const without = event.target.closest('[data-part="without"]');
      if (!part && !without) return;
      const code = part?.dataset.partCode ?? part?.dataset.part ?? "";
      const at = code && side() ? `${side()}:${code}` : code;
      record(piece, { wordCode, outcome, words, at, more });
    });
  }

  function sides(row) {
    const template = document.getElementById(`damage-sides-${row.kind}`);
    const place = root.querySelector('[data-part="side"]');
    if (template) place.append(template.content.cloneNode(true));
    return () => place.querySelector("input:checked")?.value ?? "";
  }

  async function record(piece, { wordCode, outcome, words, at, more }) {
    if (busy) return;
    busy = true;
    const made = await recorded("damage", piece, { words: [wordCode], place: at, note: more.note() }, more.photos());
    busy = false;
    if (!made || left) return;
    const sentence = `${words}. ${word(`follows-${outcome}`)}`;
    stop = done(root, piece, { record: made, sentence, out: true });
  }
}
