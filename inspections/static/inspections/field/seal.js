// Seals a PIN to the server's key for one record of one person: a queue on disk holds no PIN, and a proof serves no
// other record. The same steps as inspections/field/sealing.py.

const PURPOSE = new TextEncoder().encode("field-pin-1");
const CURVE = { name: "ECDH", namedCurve: "P-256" };
const PIN_LENGTH = 8; // shorter ones are filled up, so that the length tells nothing

const bytes = (text) => Uint8Array.from(atob(text), (symbol) => symbol.charCodeAt(0));
const joined = (...parts) => new Uint8Array(parts.flatMap((part) => [...new Uint8Array(part)]));

export async function seal(pin, { id, username }) {
  const theirs = await crypto.subtle.importKey("raw", bytes(document.getElementById("sealing-key").dataset.key), CURVE, false, []);
  const ours = await crypto.subtle.generateKey(CURVE, false, ["deriveBits"]);
  const point = new Uint8Array(await crypto.subtle.exportKey("raw", ours.publicKey));
  const agreed = await crypto.subtle.deriveBits({ name: "ECDH", public: theirs }, ours.privateKey, 256);
  const source = await crypto.subtle.importKey("raw", agreed, "HKDF", false, ["deriveKey"]);
  const drawn = { name: "HKDF", hash: "SHA-256", salt: new Uint8Array(), info: joined(PURPOSE, point) };
  const key = await crypto.subtle.deriveKey(drawn, source, { name: "AES-GCM", length: 256 }, false, ["encrypt"]);
  const nonce = crypto.getRandomValues(new Uint8Array(12));
  const about = new TextEncoder().encode(`${id.toLowerCase()}\n${username}`);
  const text = new TextEncoder().encode(pin.padEnd(PIN_LENGTH));
  const sealed = await crypto.subtle.encrypt({ name: "AES-GCM", iv: nonce, additionalData: about }, key, text);
  return btoa(String.fromCharCode(...joined(point, nonce, sealed)));
}
