// Who is using this device: said, confirmed, locked.
import { changes, confirm, device, isShared, lock, owner, ready, signedIn, who } from "../who.js";
import { word } from "../words.js";

function said() {
  if (!device()) return word("who-not-enrolled");
  if (!isShared()) return word(signedIn() ? "who-own" : "who-ended", { name: owner() });
  return who() ? word("who-confirmed", { name: who().name }) : word("who-locked");
}

export function show(root) {
  const [line, say, end] = ["who", "confirm", "lock"].map((name) => root.querySelector(`[data-${name}]`));
  const draw = () => {
    line.textContent = said();
    say.hidden = !isShared() || Boolean(who());
    end.hidden = !isShared() || !who();
    root.querySelector("[data-shared]").hidden = !isShared();
  };
  say.addEventListener("click", () => confirm());
  end.addEventListener("click", lock);
  changes.addEventListener("change", draw);
  ready.then(draw);
  return () => changes.removeEventListener("change", draw);
}
