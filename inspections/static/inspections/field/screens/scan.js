// The camera, a hand scanner, a picture, or the code typed by hand: whichever reads the label first.
import { alertOf } from "../alerts.js";
import { squaresIn, watch } from "../camera.js";
import { grouped, read } from "../code.js";
import * as data from "../data.js";
import { verdictBox } from "../shapes.js";
import { listen } from "../wedge.js";
import { device } from "../who.js";
import { copyOf, word } from "../words.js";

// A device that is not known here holds nothing to answer from: the server's page answers, as it does any visitor.
const isUnknownDevice = () => navigator.onLine && data.trouble() === "NO_DATA" && !device();

export function show(root, rest, { go }) {
  const part = (name) => root.querySelector(`[data-part="${name}"]`);
  const said = part("said");
  let camera = null, left = false, told = null;

  // What is no label of ours gives the same answer as a label that nobody knows.
  function refuse(problem, text) {
    if (told === text) return; // the camera reads it many times a second
    told = text;
    said.replaceChildren(verdictBox("unknown"), copyOf("scan-problem", { why: word(`code-${problem}`) }));
    alertOf("unknown");
  }

  function take(text) {
    const { code, problem } = read(text);
    if (!code) refuse(problem, text);
    else if (isUnknownDevice()) location.assign(`${root.querySelector("[data-server]").dataset.server}${code}`);
    else go(`answer/${code}`);
  }

  // Two labels in view: nobody can tell which one is meant.
  function choose(texts) {
    const key = texts.toSorted().join("\n");
    if (told === key) return;
    told = key;
    said.replaceChildren(copyOf("scan-two"));
    const codes = texts.map((text) => read(text).code).filter(Boolean);
    for (const code of codes) {
      const choice = copyOf("scan-choice", { code: grouped(code) });
      choice.querySelector("a").href = `#answer/${code}`;
      said.querySelector(".choices").append(choice);
    }
  }

  const seen = (texts) => (texts.length > 1 ? choose(texts) : take(texts[0]));

  async function start() {
    try {
      camera = await watch(part("picture"), seen);
    } catch (error) {
      if (left) return;
      const why = error.name === "NotAllowedError" ? "camera-refused" : "camera-none";
      part("no-camera").textContent = word(why);
      part("camera").hidden = true;
      return;
    }
    if (left) return camera.stop();
    part("torch").hidden = !camera.hasTorch();
  }

  part("form").addEventListener("submit", (event) => {
    event.preventDefault();
    told = null;
    take(part("form").elements.code.value);
  });
  part("file").addEventListener("change", async (event) => {
    const texts = event.target.files.length ? await squaresIn(event.target.files[0]) : [];
    event.target.value = "";
    told = null;
    if (left) return;
    if (texts.length) seen(texts);
    else refuse("none", "");
  });
  part("torch").addEventListener("click", () => {
    const on = part("torch").getAttribute("aria-pressed") !== "true";
    camera?.torch(on);
    part("torch").setAttribute("aria-pressed", String(on));
  });
  if (rest) take(rest); // a hand scanner read it on another screen
  start();
  const deafen = listen(take);

  return () => {
    left = true;
    deafen();
    camera?.stop();
  };
}
