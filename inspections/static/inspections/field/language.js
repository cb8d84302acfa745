// The language of this device is a cookie: the server reads it for the pages as for the data that it signs.
import { meta, ready, refresh } from "./data.js";
import { word } from "./words.js";

const A_YEAR_S = 31_536_000;
const page = document.documentElement;

// Data in another language than the page's is fetched anew; until it comes, what there is goes on answering.
export const followPage = () => ready.then(() => meta() && meta().language !== page.dataset.language && refresh());

async function use(language, say) {
  const secure = location.protocol === "https:" ? "; secure" : "";
  document.cookie = `django_language=${language}; path=/; max-age=${A_YEAR_S}; samesite=lax${secure}`;
  const registration = await navigator.serviceWorker?.getRegistration();
  if (!registration?.active) return location.reload();
  // The worker keeps the pages, so the new language begins with the release that it fetches for it.
  navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
  try {
    await registration.update();
  } catch {
    say(word("language-later"));
  }
}

export function chooser(root) {
  const form = root.querySelector("[data-language-form]");
  form.elements.language.value = page.dataset.language;
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    use(form.elements.language.value, (text) => { form.querySelector("[data-language-said]").textContent = text; });
  });
}
