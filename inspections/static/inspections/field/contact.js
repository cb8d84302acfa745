// What is asked about this device itself.
import { fetchJson } from "./fetching.js";

const csrf = () => document.cookie.match(/(?:^|; )(?:__Host-)?csrftoken=([^;]+)/)?.[1] ?? "";

const posted = (address, body, timeout) => fetchJson(address, {
  method: "POST", timeout, headers: { "Content-Type": "application/json", "X-CSRFToken": csrf() }, body: JSON.stringify(body),
});

// {status, body}; status 0 where nobody answered, or something that is not this server's JSON.
export async function post(address, body, { patience = 8000 } = {}) {
  const { status, json } = await posted(address, body, patience);
  return { status: json ? status : 0, body: json ?? {} };
}
