// What the screens about one piece have in common: which piece, what was said of it, the note and photos that ride on a
// record, and what is shown once it is recorded.
import { ask, shownOf, toldOf } from "./ask.js";
import * as data from "./data.js";
import { dayWords, momentWords } from "./dates.js";
import { fetchJson } from "./fetching.js";
import { keepPhoto, madeSmall, photosOf, changes as photoChanges } from "./photo.js";
import { add } from "./queue.js";
import { reported } from "./reported.js";
import { verdictBox } from "./shapes.js";
import * as time from "./time.js";
import { confirm } from "./who.js";
import { copyOf, word } from "./words.js";

// {row, shown} of a piece: `shown` is the answer that stood on the screen before, or a new one. null for a piece that
// neither this device nor the server knows, or whose kind nobody knows.
export async function pieceOf(no) {
  await data.ready;
  const shown = shownOf(no) ?? (await ask(no, { onAnswer() {} }));
  const row = shown?.row ?? data.find(no);
  return row?.kind ? { row, shown } : null;
}

// Puts the piece at the head of a screen, so that nobody reports on another one than they hold.
export function headed(root, row) {
  root.querySelector('[data-part="piece"]').textContent = `${row.no} · ${row.heading}`;
}

export function notKnown(root) {
  root.replaceChildren(copyOf("piece-unknown"));
}

// The optional note and photos of a screen: they never add a tap that is needed.
export function extras(root) {
  const place = root.querySelector('[data-part="extras"]');
  place.replaceChildren(copyOf("piece-extras"));
  const taken = [];
  const said = place.querySelector('[data-part="photo-said"]');
  place.querySelector("input[type=file]").addEventListener("change", async (event) => {
    for (const file of event.target.files) {
      try {
        taken.push(await madeSmall(file));
      } catch {
        said.textContent = word("photo-unreadable");
        return;
      }
    }
    said.textContent = word("photo-count", { n: taken.length });
  });
  return { note: () => place.querySelector("textarea").value.trim().slice(0, 500), photos: () => taken };
}

// Confirms who says it and puts it on disk, with its photos; null where nobody confirmed.
export async function recorded(kind, piece, body, photos = []) {
  const by = await confirm();
  if (!by) return null;
  const record = await add(kind, { item: piece.row.no, told: piece.shown ? toldOf(piece.shown) : null, ...body }, by);
  for (const photo of photos) await keepPhoto(photo, record.id).catch(() => {});
  return record;
}

// What stands there once it is recorded: what follows, the nearest equal where the piece is out, and what waits.
export function done(root, piece, { record, sentence, out }) {
  root.replaceChildren(copyOf("piece-done", { sentence, no: piece.row.no, at: atWords(record.occurred_at) }));
  root.focus({ preventScroll: true });
  scrollTo(0, 0);
  if (out) {
    root.querySelector('[data-part="verdict"]').replaceChildren(verdictBox("stop", word("piece-stop")));
    replacements(root.querySelector('[data-part="instead"]'), piece.row);
  }
  const later = root.querySelector('[data-part="photo-later"]');
  later.append(copyOf("piece-photo"));
  later.querySelector("input").addEventListener("change", async (event) => {
    for (const file of event.target.files) {
      const small = await madeSmall(file).catch(() => null);
      if (small) await keepPhoto(small, record.id);
      else later.querySelector('[data-part="photo-said"]').textContent = word("photo-unreadable");
    }
  });
  const tell = async () => {
    const photos = await photosOf(record.id);
    const waits = photos.filter((photo) => photo.state === "waiting").length;
    const refused = photos.find((photo) => photo.state === "refused");
    later.querySelector('[data-part="photo-said"]').textContent =
      refused?.message || (waits ? word("photo-waits", { n: waits }) : "");
  };
  photoChanges.addEventListener("change", tell);
  tell();
  return () => photoChanges.removeEventListener("change", tell);
}

const atWords = (iso) => momentWords(Date.parse(iso));

// The nearest equal: what the data of this device names at once, and what the server says as soon as it does.
async function replacements(place, row) {
  place.replaceChildren(copyOf("piece-instead"));
  const list = place.querySelector("ol");
  const none = place.querySelector('[data-part="none"]');
  const draw = (offers) => {
    list.replaceChildren(...offers.map((offer) => copyOf("piece-offer", {
      name: offer.name, place: offer.place, near: word(`near-${offer.near}`),
      numbers: offer.numbers.join(" + "), day: offer.good_through ? word("offer-through", { day: dayWords(offer.good_through) }) : "",
    })));
    none.hidden = offers.length > 0;
  };
  draw(await stillGood((data.find(row.no) ?? row).spares ?? []));
  const { status, json } = await fetchJson(`/truck/replacements/${encodeURIComponent(row.no)}/`, { timeout: 8000 });
  if (status === 200 && Array.isArray(json?.offers)) draw(json.offers);
}

// Named in the data, not out of date since, and nothing was reported of it here. It is scanned before it is used anyway.
async function stillGood(offers) {
  const { ms } = time.now();
  const today = data.meta()?.days.find((day) => day.from_ms <= ms && ms < day.until_ms)?.on;
  const found = await reported();
  const isOut = (no) => Boolean(found(no, data.meta()?.issued_ms).out);
  return today ? offers.filter((offer) => (!offer.good_through || offer.good_through >= today) && !offer.numbers.some(isOut)) : [];
}
