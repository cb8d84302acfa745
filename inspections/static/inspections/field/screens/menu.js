// The way to everything else on this device, and back to the ordinary pages.
import { alertOf, isMuted, mute } from "../alerts.js";
import { word } from "../words.js";

export function show(root, rest, { has }) {
  for (const link of root.querySelectorAll("[data-screen-link]")) link.parentElement.hidden = !has(link.dataset.screenLink);
  const sound = root.querySelector('[data-part="sound"]');
  const tell = () => { sound.textContent = word(isMuted() ? "sound-off" : "sound-on"); };
  sound.addEventListener("click", () => {
    mute(!isMuted());
    tell();
    if (!isMuted()) alertOf("good"); // so that it is heard how loud it is
  });
  tell();
}
