// Which pieces this device holds: chosen among those that the server offered with the data it holds now.
import * as data from "./data.js";
import { isShared } from "./who.js";
import { keep, kept } from "./store.js";
import { word } from "./words.js";

export const words = ({ kind, name }) => word(`scope-${kind}`, { name });
const valueOf = ({ kind, name }) => JSON.stringify([kind, name]);

// Without data nothing was offered: what every device may ask for is.
function offered() {
  const stated = data.meta()?.scopes;
  if (stated?.length) return stated;
  return (isShared() ? ["depot"] : ["crew", "depot"]).map((kind) => ({ kind, name: "" }));
}

export async function options(select) {
  if (document.activeElement === select) return; // nobody loses what they are choosing
  const chosen = (await kept("scope")) ?? data.meta()?.scope;
  const found = offered();
  select.replaceChildren(...found.map((one) => new Option(one.name ? words(one) : word(`scope-${one.kind}-own`), valueOf(one))));
  if (chosen && found.some((one) => valueOf(one) === valueOf(chosen))) select.value = valueOf(chosen);
}

export function chooser(form, say) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const before = await kept("scope");
    const [kind, name] = JSON.parse(form.elements.scope.value);
    await keep("scope", { kind, name });
    say(word("scope-fetching"));
    form.elements.scope.blur();
    const told = await data.refresh();
    // What the server refuses is not asked for again; without a network the choice waits for one.
    if (!told.ok && told.refused !== "NO_ANSWER") await keep("scope", before ?? null);
    say(told.ok ? word("scope-fetched") : told.message || word("scope-later"));
    await options(form.elements.scope);
  });
}
