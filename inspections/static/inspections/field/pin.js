// Name or badge, then PIN, on a pad for gloved hands. There is no field for the PIN: no browser offers to keep it.
import { watch } from "./camera.js";
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
    let stop = () => {};
    dialog.addEventListener("close", () => { stop(); dialog.remove(); done(result); });
    dialog.querySelector("[data-leave]").addEventListener("click", () => leave(null));
    stop = names(dialog, ordered(people, recent), (person) => { stop(); pad(dialog, person, check, leave); });
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
    if (isBadge(typed)) return badge(typed);
    const found = draw();
    if (found.length === 1) take(found[0]);
    else if (typed && !found.length) take({ username: typed, name: typed, holder: typed, role: "", crew: "" }); // of another depot
  });
  // A badge names its person and proves nothing: the PIN is asked for all the same.
  const badge = (text) => {
    const found = people.find((one) => one.badge && bare(one.badge) === bare(text));
    if (found) take(found);
    else dialog.querySelector("[data-badge]").textContent = word("badge-nobody");
  };
  draw();
  return badgeCamera(dialog, badge);
}

// Asks for the camera only when somebody wants it. Returns what switches it off.
function badgeCamera(dialog, badge) {
  const [button, picture, said] = ["camera", "picture", "badge"].map((name) => dialog.querySelector(`[data-${name}]`));
  let camera = null, left = false;
  const seen = (texts) => {
    if (left) return;
    const badges = texts.filter(isBadge);
    if (badges.length === 1) badge(badges[0]);
    else said.textContent = word(badges.length ? "badge-two" : "badge-other");
  };
  button.addEventListener("click", async () => {
    button.hidden = true;
    picture.hidden = false;
    try {
      camera = await watch(picture, seen);
    } catch {
      picture.hidden = true;
      said.textContent = word("badge-no-camera");
    }
    if (left) camera?.stop();
  });
  return () => {
    left = true;
    camera?.stop();
  };
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
