// The camera, a hand scanner, a picture, or the code typed by hand: whichever reads the label first.
import { alertOf, isMuted, mute } from "../alerts.js";
import { squaresIn, watch } from "../camera.js";
import { grouped, read } from "../code.js";
import { verdictBox } from "../shapes.js";
import { listen } from "../wedge.js";
import { copyOf, word } from "../words.js";

export function show(root, rest, { go }) {
  const part = (name) => root.querySelector(`[data-part="${name}"]`);
  const said = part("said");
  let camera = null, left = false, told = "";

  // What is no label of ours gives the same answer as a label that nobody knows.
  function refuse(problem, text) {
    if (told === text) return; // the camera reads it many times a second
    told = text;
    said.replaceChildren(verdictBox("unknown"), copyOf("scan-problem", { why: word(`code-${problem}`) }));
    alertOf("unknown");
  }

  function take(text) {
    const { code, problem } = read(text);
    if (code) go(`answer/${code}`);
    else refuse(problem, text);
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
      const why = error.name === "NotAllowedError" ? "camera-refused" : "camera-none";
      part("no-camera").textContent = word(why);
      part("camera").hidden = true;
      return;
    }
    if (left) return camera.stop();
    part("torch").hidden = !camera.hasTorch();
  }

  function setSound() {
    part("sound").textContent = word(isMuted() ? "sound-off" : "sound-on");
    part("sound").setAttribute("aria-pressed", String(!isMuted()));
  }

  part("form").addEventListener("submit", (event) => {
    event.preventDefault();
    told = "";
    take(part("form").elements.code.value);
  });
  part("file").addEventListener("change", async (event) => {
    const texts = event.target.files.length ? await squaresIn(event.target.files[0]) : [];
    event.target.value = "";
    told = "";
    if (left) return;
    if (texts.length) seen(texts);
    else refuse("none", "");
  });
  part("torch").addEventListener("click", () => {
    const on = part("torch").getAttribute("aria-pressed") !== "true";
    camera?.torch(on);
    part("torch").setAttribute("aria-pressed", String(on));
  });
  part("sound").addEventListener("click", () => {
    mute(!isMuted());
    setSound();
  });
  setSound();
  start();
  const deafen = listen(take);

  return () => {
    left = true;
    deafen();
    camera?.stop();
  };
}
