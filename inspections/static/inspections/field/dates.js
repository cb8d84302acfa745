// Days, moments and ages in the language of the page and in the site's zone, never the phone's.
import { word } from "./words.js";

const { language, zone } = document.documentElement.dataset;

// "14 JUN 2027" of an ISO date, as the server writes it: unmistakable in every country.
export function dayWords(iso) {
  const stated = new Date(`${iso}T00:00:00Z`);
  if (Number.isNaN(stated.getTime())) return iso ?? "";
  const parts = new Intl.DateTimeFormat(language, { day: "numeric", month: "short", year: "numeric", timeZone: "UTC" }).formatToParts(stated);
  const part = (type) => parts.find((one) => one.type === type).value.replace(".", "");
  return `${part("day")} ${part("month")} ${part("year")}`.toUpperCase();
}

// "28 Nov, 05:45 EST" of milliseconds since 1970.
export function momentWords(ms) {
  const wanted = { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23", timeZoneName: "short" };
  return new Intl.DateTimeFormat(language, { ...wanted, timeZone: zone }).format(new Date(ms));
}

// "4 min old".
export function ageWords(seconds) {
  if (!Number.isFinite(seconds)) return word("age-unknown");
  if (seconds < 60) return word("age-seconds", { n: Math.max(0, Math.floor(seconds)) });
  if (seconds < 7200) return word("age-minutes", { n: Math.floor(seconds / 60) });
  return word("age-hours", { n: Math.floor(seconds / 3600) });
}
