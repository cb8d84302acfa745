// May I use this? The answer to one label, as word, shape and colour; it ages in sight and is gone after five minutes.
import { alertOf } from "../alerts.js";
import { read } from "../code.js";
import { ageWords, isWorse, verdictBox } from "../shapes.js";
import { listen } from "../wedge.js";
import { copyOf, word } from "../words.js";

const LONGEST_MS = 5 * 60 * 1000;
const NOT_ASKED = { verdict: "unknown", words: "", reasons: [], notes: [], row: null, ageS: null, source: "phone" };

const ask = async (text, { onAnswer }) => onAnswer(NOT_ASKED);

export function show(root, text, { go, has }) {
  const place = root.querySelector('[data-part="answer"]');
  let shown = null, began = null, left = false;

  function draw(answer) {
    if (left) return;
    const worse = shown && isWorse(answer.verdict, shown.verdict);
    const other = !shown || answer.verdict !== shown.verdict;
    place.replaceChildren(verdictBox(answer.verdict, answer.words));
    if (worse) place.prepend(copyOf("answer-worse"));
    shown = answer;
    began = { steady: performance.now(), wall: Date.now() };
    if (other) alertOf(answer.verdict);
  }

  ask(text, { onAnswer: draw });
  const deafen = listen((typed) => go(read(typed).code ? `answer/${read(typed).code}` : "scan"));
  return () => {
    left = true;
    deafen();
  };
}
