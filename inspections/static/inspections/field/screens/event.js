// Something happened to a piece: what, and it is out until a test; lost and found again are told here as well.
import { done, extras, headed, notKnown, pieceOf, recorded } from "../piece.js";
import { who } from "../who.js";
import { copyOf, word } from "../words.js";

export function show(root, no) {
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
    const place = root.querySelector('[data-part="events"]');
    place.append(copyOf(`event-words-${piece.row.kind}`));
    const lost = piece.shown?.reasons.some((reason) => reason.code === "LOST");
    for (const button of place.querySelectorAll("button")) {
      const { event } = button.dataset;
      button.hidden = (event === "repaired" && who()?.role !== "clerk") || (event === "found" && !lost) || (event === "lost" && lost);
    }
    place.addEventListener("click", (event) => {
      const button = event.target.closest("button[data-event]");
      if (button) last(piece, button.dataset.event, button.textContent.trim());
    });
  }

  function last(piece, event, words) {
    const follows = word(["lost", "found"].includes(event) ? `follows-${event}` : "follows-test");
    root.replaceChildren(copyOf("event-last", { words, follows }));
    headed(root, piece.row);
    scrollTo(0, 0);
    root.focus({ preventScroll: true });
    const more = extras(root);
    const said = root.querySelector('[data-part="said"]');
    const button = root.querySelector('[data-part="done"]');
    button.addEventListener("click", async () => {
      if (event === "repaired" && !more.note()) {
        said.textContent = word("repair-note");
        return;
      }
      button.disabled = true;
      const told = ["lost", "found"].includes(event);
      const record = await recorded(told ? event : "event", piece, { ...(told ? {} : { event }), note: more.note() }, more.photos());
      button.disabled = false;
      if (!record || left) return;
      stop = done(root, piece, { record, sentence: `${words}. ${follows}`, out: true });
    });
  }
}
