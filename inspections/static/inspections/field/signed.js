// Whether a text was signed by this installation: ECDSA P-256 with SHA-256, which every browser's WebCrypto verifies.
const ALGORITHM = { name: "ECDSA", namedCurve: "P-256" };
let imported = null;

const bytes = (base64) => Uint8Array.from(atob(base64), (symbol) => symbol.charCodeAt(0));

export async function verify(text, signature) {
  try {
    imported ??= crypto.subtle.importKey(
      "raw", bytes(document.documentElement.dataset.key), ALGORITHM, false, ["verify"]);
    const content = new TextEncoder().encode(text);
    return (await crypto.subtle.verify({ name: "ECDSA", hash: "SHA-256" }, await imported, bytes(signature), content)) === true;
  } catch {
    return false; // no key, no WebCrypto, no base64: not signed
  }
}

// What a signed answer of the server says, or null for anything that is not exactly that. `wanted` are fields it must
// have, the nonce of the question among them: an answer to another question is no answer.
export async function opened(envelope, wanted) {
  if (typeof envelope?.text !== "string" || typeof envelope.signature !== "string") return null;
  if (!(await verify(envelope.text, envelope.signature))) return null;
  const stated = JSON.parse(envelope.text);
  const all = { v: 1, installation: document.documentElement.dataset.installation, ...wanted };
  return Object.entries(all).every(([name, value]) => stated[name] === value) ? stated : null;
}

export function newNonce() {
  return crypto.randomUUID();
}
