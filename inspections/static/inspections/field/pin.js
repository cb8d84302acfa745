// Name or badge, then PIN, on a pad for gloved hands. There is no field for the PIN: no browser offers to keep it.
import { copyOf, word } from "./words.js";

const MOST_SHOWN = 12;
const LEAST_DIGITS = 4;
const MOST_DIGITS = 8;

// Resolves to {person, pin, unchecked} or null where it was left. `check(person, pin)` says whether they fit.
export function choose(people, { recent, depot, check }) {
  return new Promise((done) => {
    const dialog = copyOf("who-dialog").querySelector("dialog");
    document.body.append(dialog);
    let result = null;
    const leave = (found) => { result = found; dialog.close(); };
    dialog.addEventListener("close", () => { dialog.remove(); done(result); });
    dialog.querySelector("[data-leave]").addEventListener("click", () => leave(null));
    names(dialog, ordered(people, recent), (person) => pad(dialog, person, check, leave));
    dialog.dataset.depot = depot;
    dialog.showModal();
  });
}

export const isBadge = (text) => /^B-?[0-9A-Z]{11}$/i.test(text.trim());
const bare = (text) => text.trim().toUpperCase().replace("-", "");

function ordered(people, recent) {
  const place = (one) => (recent.indexOf(one.username) + 1 || recent.length + 1);
  return [...people].sort((a, b) => place(a) - place(b) || a.name.localeCompare(b.name));
}

function fits(person, typed) {
  return `${person.name} ${person.username}`.toLowerCase().split(/\s+/).some((part) => part.startsWith(typed));
}

function names(dialog, people, take) {
  const field = dialog.querySelector("[name=name]");
  const list = dialog.querySelector("[data-people]");
  const draw = () => {
    const typed = field.value.trim().toLowerCase();
    const found = people.filter((person) => !typed || fits(person, typed)).slice(0, MOST_SHOWN);
    list.replaceChildren(...found.map((person) => {
      const row = copyOf("who-person", { name: person.name });
      row.querySelector("button").addEventListener("click", () => take(person));
      return row;
    }));
    dialog.querySelector("[data-nobody]").hidden = found.length > 0;
    return found;
  };
  field.addEventListener("input", draw);
  dialog.querySelector("form").addEventListener("submit", (event) => {
    event.preventDefault();
    const typed = field.value.trim();
    const badge = isBadge(typed) && people.find((one) => one.badge && bare(one.badge) === bare(typed));
    const found = badge ? [badge] : draw();
    if (found.length === 1) take(found[0]);
    else if (typed && !found.length) take({ username: typed, name: typed, holder: typed, role: "" }); // of another depot
  });
  draw();
}

function pad(dialog, person, check, leave) {
  const part = copyOf("who-pad", { name: person.name });
  dialog.querySelector("[data-part]").replaceChildren(part);
  const [dots, message, enter] = ["dots", "message", "enter"].map((name) => dialog.querySelector(`[data-${name}]`));
  let pin = "";
  const show = () => {
    dots.textContent = "●".repeat(pin.length);
    dots.setAttribute("aria-label", word("pin-digits", { count: pin.length }));
    enter.disabled = pin.length < LEAST_DIGITS;
  };
  const press = (key) => {
    if (/^[0-9]$/.test(key) && pin.length < MOST_DIGITS) pin += key;
    if (key === "Backspace") pin = pin.slice(0, -1);
    message.textContent = "";
    show();
  };
  const send = async () => {
    if (enter.disabled) return;
    enter.disabled = true;
    const given = pin;
    const found = await check(person, given);
    if (found.person) return leave({ ...found, pin: given });
    pin = "";
    show();
    message.textContent = found.message;
  };
  for (const button of dialog.querySelectorAll("[data-key]")) button.addEventListener("click", () => press(button.dataset.key));
  enter.addEventListener("click", send);
  dialog.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && !event.target.closest("button")) send();
    else if (/^([0-9]|Backspace)$/.test(event.key)) press(event.key);
  });
  show();
  dialog.querySelector("[data-pad]").focus();
}
