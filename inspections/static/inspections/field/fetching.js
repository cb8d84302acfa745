// Asks the server for JSON. Whatever is not JSON of this server (a sign-in page of some network, half an answer) is
// told from an answer here; nothing beyond this point sees it.
const LARGEST = 30_000_000; // characters
const KEY = "contact";

// When something of this server last answered, by this device's clock: ms, or null. Shown, and never relied on.
export function lastContact() {
  try {
    return Number(localStorage.getItem(KEY)) || null;
  } catch {
    return null;
  }
}

function answered() {
  try {
    localStorage.setItem(KEY, String(Date.now()));
  } catch {
    // a browser that keeps nothing: it is not shown
  }
}

// {status, json, retryAfter}; json is null where the answer cannot be read, status 0 where there was none.
export async function fetchJson(address, { timeout = 20_000, ...choices } = {}) {
  try {
    const answer = await fetch(address, {
      cache: "no-store", credentials: "same-origin", redirect: "error", signal: AbortSignal.timeout(timeout), ...choices });
    const retryAfter = Number(answer.headers.get("Retry-After")) || 0;
    const type = answer.headers.get("Content-Type") ?? "";
    if (!type.startsWith("application/json")) return { status: answer.status, json: null, retryAfter };
    const text = await answer.text();
    const json = text.length <= LARGEST ? JSON.parse(text) : null;
    if (json) answered();
    if (answer.status === 410 && json?.refused === "REVOKED") dispatchEvent(new Event("device-revoked"));
    return { status: answer.status, json: typeof json === "object" ? json : null, retryAfter };
  } catch {
    return { status: 0, json: null, retryAfter: 0 };
  }
}
