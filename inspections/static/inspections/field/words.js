// Words of the page's language, by key. A key without words shows itself: nothing is ever blank.

let found = null;

export function word(key, values = {}) {
  found ??= new Map(
    [...document.querySelectorAll("template.words")].flatMap((one) =>
      [...one.content.querySelectorAll("[data-word]")].map((span) => [span.dataset.word, span.textContent.trim()])),
  );
  const text = found.get(key) ?? key;
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

// A copy of a screen's template, or of a part of it, with everything marked data-put filled in as text.
export function copyOf(id, values = {}) {
  const copy = document.getElementById(id).content.cloneNode(true);
  for (const place of copy.querySelectorAll("[data-put]")) {
    if (place.dataset.put in values) place.textContent = values[place.dataset.put];
  }
  return copy;
}
