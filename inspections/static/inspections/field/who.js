// Who uses this device: on an own phone the person it belongs to; on a shared tablet nobody until a record is confirmed.
import * as data from "./data.js";

export function who() {
  const meta = data.meta();
  return meta?.people.find((one) => one.username === meta.person) ?? null;
}

export async function confirm() {
  const person = who();
  return person && { username: person.username, proof: null };
}
