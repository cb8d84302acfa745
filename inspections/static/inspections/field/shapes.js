// A verdict as the server's page shows it: word, shape and colour. A good without its words is unknown.
import { copyOf, word } from "./words.js";

export const VERDICTS = ["good", "unknown", "stop"]; // from the best to the worst

export function verdictBox(verdict, words) {
  const shown = verdict === "stop" || (verdict === "good" && words) ? verdict : "unknown";
  const box = copyOf(`verdict-${shown}`);
  if (shown !== "unknown" && words) box.querySelector(".word").textContent = words;
  return box;
}

export const isWorse = (verdict, than) => VERDICTS.indexOf(verdict) > VERDICTS.indexOf(than);

// "4 min", in the words of the page.
export function ageWords(seconds) {
  if (!Number.isFinite(seconds)) return word("age-unknown");
  if (seconds < 60) return word("age-seconds", { n: Math.max(0, Math.floor(seconds)) });
  if (seconds < 7200) return word("age-minutes", { n: Math.floor(seconds / 60) });
  return word("age-hours", { n: Math.floor(seconds / 3600) });
}
