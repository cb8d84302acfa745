// This device: what it is, what it holds and since when, what it has not sent; its scope, language and sound; and how
// it becomes known to the server, is signed out of, and is wiped.
import { isMuted, mute } from "../alerts.js";
import * as data from "../data.js";
import { ageWords, momentWords } from "../dates.js";
import { exported } from "../exported.js";
import { lastContact } from "../fetching.js";
import { chooser } from "../language.js";
import * as queue from "../queue.js";
import { wiped } from "../revoked.js";
import * as scope from "../scope.js";
import * as time from "../time.js";
import { ask, changes, device, isShared, owner, ready, signedIn, who } from "../who.js";
import { copyOf, word } from "../words.js";

function kind() {
  const { kind: stated, depot } = device();
  if (stated === "own") return word("device-own");
  return depot ? word("device-shared", { depot }) : word("device-shared-nowhere");
}

// "45 pieces of crew 7, 4 min old", and until when they are answered from.
function held() {
  const meta = data.meta();
  if (!meta) return [word(`why_${data.trouble()}`), "–"];
  const { ms, trusted } = time.now();
  const until = Math.min(meta.expires_ms, meta.days.at(-1).until_ms);
  const said = word("device-holds", { count: meta.items.length, scope: scope.words(meta.scope), age: ageWords(data.ageMs() / 1000) });
  if (!trusted) return [said, word("why_CLOCK_BACK")];
  return [said, word(ms < until ? "device-until" : "device-expired", { when: momentWords(until) })];
}

// Asks before anything that could lose records. Resolves to whether it was wanted.
function confirmed(words, values, count) {
  return new Promise((done) => {
    const dialog = copyOf(words, values).querySelector("dialog");
    const part = (name) => dialog.querySelector(`[data-${name}]`);
    let wanted = false;
    for (const one of dialog.querySelectorAll("[data-some]")) one.hidden = !count;
    for (const one of dialog.querySelectorAll("[data-none]")) one.hidden = count > 0;
    part("leave").addEventListener("click", () => dialog.close());
    part("do").addEventListener("click", () => {
      if (count && !part("sure").reportValidity()) return;
      wanted = true;
      dialog.close();
    });
    dialog.addEventListener("close", () => { dialog.remove(); done(wanted); });
    document.body.append(dialog);
    dialog.showModal();
  });
}

async function wipe() {
  await Promise.race([queue.send(), new Promise((done) => { setTimeout(done, 5000); })]); // what can go, goes first
  const rows = await queue.list();
  const file = rows.length ? exported(rows) : "";
  const asked = confirmed("device-wipe", { count: rows.length }, rows.length);
  if (file) document.querySelector("dialog [data-file]").href = file;
  if (await asked) await wiped();
  if (file) URL.revokeObjectURL(file);
}

async function signOut(address, say) {
  const { length } = await queue.list();
  if (!(await confirmed("device-sign-out", { count: length, name: owner() }, length))) return;
  const token = document.cookie.match(/(?:^|; )(?:__Host-)?csrftoken=([^;]+)/)?.[1] ?? "";
  const answer = await fetch(address, { method: "POST", headers: { "X-CSRFToken": token } }).catch(() => null);
  if (answer?.ok) await ask();
  say(answer?.ok ? "" : word("no-network"));
}

export function show(root, code) {
  chooser(root);
  const place = (name) => root.querySelector(`[data-${name}]`);
  let left = false;
  const draw = async () => {
    const [rows, promised] = await Promise.all([queue.list(), navigator.storage?.persisted?.() ?? false, data.ready, time.ready]);
    if (left) return;
    for (const one of root.querySelectorAll("[data-known]")) one.hidden = !device();
    place("unknown").hidden = Boolean(device()) && !code;
    place("unsent").textContent = String(rows.length);
    place("sound").textContent = word(isMuted() ? "sound-off" : "sound-on");
    place("kept").textContent = word(promised ? "device-kept" : "device-not-kept");
    place("version").textContent = word("device-version", { version: document.documentElement.dataset.version });
    if (!device()) return;
    const own = !isShared();
    const contact = lastContact();
    const said = held();
    place("name").textContent = device().name;
    place("kind").textContent = kind();
    place("owner").textContent = owner() || who()?.name || "–";
    place("contact").textContent = contact ? word("device-contact", { when: momentWords(contact) }) : "–";
    place("holds").textContent = said[0];
    place("until").textContent = said[1];
    place("leave-phone").hidden = !own || !signedIn();
    place("sign-in").hidden = !own || signedIn();
    scope.options(place("scope"));
  };
  const say = (name) => (text) => { place(name).textContent = text; };
  const form = place("enrol");
  form.elements.code.value = code;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    place("message").textContent = "";
    const { status, body } = await ask({ code: form.elements.code.value });
    if (status === 200) {
      code = "";
      history.replaceState(null, "", "#device");
      draw();
    } else place("message").textContent = body.message ?? word("no-network");
  });
  scope.chooser(place("scope-form"), say("scope-said"));
  place("sound").addEventListener("click", () => { mute(!isMuted()); draw(); });
  place("wipe").addEventListener("click", wipe);
  place("leave-phone").addEventListener("click", () => signOut(place("leave-phone").dataset.address, say("left")));
  const heard = [changes, queue.changes, data.changes];
  for (const one of heard) one.addEventListener("change", draw);
  ready.then(draw);
  return () => {
    left = true;
    heard.forEach((one) => one.removeEventListener("change", draw));
  };
}
