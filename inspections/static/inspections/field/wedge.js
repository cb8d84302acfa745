// A hand scanner is a keyboard that types fast and presses Enter. What it types counts wherever the focus is; what a
// person types into a field is the field's.

const PAUSE_MS = 400;
const SHORTEST = 8;

// Calls `typed(text)`; returns what stops listening.
export function listen(typed) {
  let text = "", last = 0;

  function key(event) {
    if (event.target.closest("input, textarea, select") || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.timeStamp - last > PAUSE_MS) text = "";
    last = event.timeStamp;
    if (event.key.length === 1) text += event.key;
    if (event.key !== "Enter" || text.length < SHORTEST) return;
    event.preventDefault(); // or it would press the button that has the focus
    event.stopPropagation();
    typed(text);
    text = "";
  }

  document.addEventListener("keydown", key, true);
  return () => document.removeEventListener("keydown", key, true);
}
