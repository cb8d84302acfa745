// This device: what it is, what it holds, and how it becomes known to the server.
import { chooser } from "../language.js";
import * as queue from "../queue.js";
import { ask, changes, device, owner, ready, who } from "../who.js";
import { word } from "../words.js";

function kind() {
  const { kind: stated, depot } = device();
  if (stated === "own") return word("device-own");
  return depot ? word("device-shared", { depot }) : word("device-shared-nowhere");
}

export function show(root, code) {
  chooser(root);
  const place = (name) => root.querySelector(`[data-${name}]`);
  const draw = async () => {
    place("known").hidden = !device();
    place("unknown").hidden = Boolean(device()) && !code;
    if (!device()) return;
    place("name").textContent = device().name;
    place("kind").textContent = kind();
    place("owner").textContent = owner() || who()?.name || "–";
    place("unsent").textContent = String((await queue.list()).length);
  };
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
  const heard = [changes, queue.changes];
  for (const one of heard) one.addEventListener("change", draw);
  ready.then(draw);
  return () => heard.forEach((one) => one.removeEventListener("change", draw));
}
