// A verdict as the server's page shows it: word, shape and colour. A good without its words is unknown.
import { copyOf } from "./words.js";

export function verdictBox(verdict, words = "") {
  const shown = verdict === "stop" || (verdict === "good" && words) ? verdict : "unknown";
  const box = copyOf(`verdict-${shown}`);
  if (shown !== "unknown" && words) box.querySelector(".word").textContent = words;
  return box;
}
