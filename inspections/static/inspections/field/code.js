// Label codes as gear/rules/codes.py reads them, and not one more: eleven symbols that agree with their check symbol,
// bare or in the address of a label of this installation. Held against that module by tests/browser/test_truck_scan.py.

const ALPHABET = "234679ACDEFHJKMNPRTVWXY";
const LENGTH = 11;
const LONGEST = 300;
const BLANKS = "[\\t-\\r\\x1c-\\x20]";
const ENDS = new RegExp(`^${BLANKS}+|${BLANKS}+$`, "g");
const PRINTABLE = /^[\x20-\x7e]+$/;
const IN_ADDRESS = /^\/T\/([^/?#]{1,40})\/?$/;

export function isCode(text) {
  if (text.length !== LENGTH) return false;
  let sum = 0;
  for (let place = 0; place < LENGTH; place += 1) {
    const value = ALPHABET.indexOf(text[place]);
    if (value < 0) return false;
    sum += (LENGTH - place) * value;
  }
  return sum % ALPHABET.length === 0;
}

// As printed: 4-4-3.
export const grouped = (code) => `${code.slice(0, 4)}-${code.slice(4, 8)}-${code.slice(8)}`;

// {code} or {code: null, problem: "mistyped" | "foreign" | "unreadable"}. Nothing of the text is ever opened.
export function read(text, base = document.documentElement.dataset.base) {
  let trimmed = text.length <= LONGEST ? text.replace(ENDS, "") : "";
  if (!PRINTABLE.test(trimmed)) return { code: null, problem: "unreadable" };
  if (/[:/]/.test(trimmed)) {
    const own = base.replace(/\/+$/, "").toUpperCase();
    const address = trimmed.toUpperCase();
    const found = address.startsWith(own) && IN_ADDRESS.exec(address.slice(own.length));
    if (!found) return { code: null, problem: "foreign" };
    trimmed = found[1];
  }
  const code = trimmed.replace(/[ -]/g, "").toUpperCase();
  if (isCode(code)) return { code };
  return { code: null, problem: code.length >= 8 && code.length <= 14 ? "mistyped" : "unreadable" };
}
