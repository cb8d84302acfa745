// Photos of a record: made small here, kept on disk, and sent apart from their record once the server has that. A photo
// that cannot be sent holds no record back; it waits, and is said to wait.
import * as data from "./data.js";
import * as delivered from "./delivered.js";
import { fetchJson } from "./fetching.js";
import * as queue from "./queue.js";
import * as store from "./store.js";
import * as time from "./time.js";

const LONGEST_SIDE = 1600;
const QUALITY = 0.85;
const RETRY_MS = 60_000;
// What no second try will mend; the photo goes, and whoever looks at it is told why.
const FINAL = new Set(["NOT_A_PHOTO", "TOO_MANY_PIXELS", "TOO_LARGE", "TOO_MANY_OF_RECORD", "ID_REUSED"]);
export const changes = new EventTarget(); // "change" when a photo came, went or was refused
let timer = 0;

const changed = () => changes.dispatchEvent(new Event("change"));
const csrf = () => document.cookie.match(/(?:^|; )(?:__Host-)?csrftoken=([^;]+)/)?.[1] ?? "";

// {bytes, takenAt} of a picture that was taken or chosen: upright, JPEG, at most 1600 pixels. Rejects for what is none.
export async function madeSmall(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [picture.width, picture.height].map((side) => Math.max(1, Math.round(side * scale)));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
  return { bytes: await blob.arrayBuffer(), takenAt: new Date(file.lastModified || Date.now()).toISOString() };
}

// Keeps a photo of a record; resolves once it is on disk.
export async function keepPhoto({ bytes, takenAt }, record) {
  await store.put("photos", { id: crypto.randomUUID(), record, bytes, taken_at: takenAt, state: "waiting", message: "" });
  changed();
  sendPhotos();
}

export const photosOf = async (record) => (await store.all("photos")).filter((photo) => photo.record === record);

// One sender at a time on this device. A photo goes after its record, never before.
export function sendPhotos() {
  return navigator.locks.request("truck-photos", { ifAvailable: true }, async (lock) => {
    if (!lock || !navigator.onLine) return;
    clearTimeout(timer);
    const unsent = new Set((await queue.list()).map((row) => row.record.id));
    const ready = (await store.all("photos")).filter((photo) => photo.state === "waiting" && !unsent.has(photo.record));
    for (const photo of ready) {
      if (!(await sent(photo))) {
        timer = setTimeout(sendPhotos, RETRY_MS);
        return;
      }
    }
  });
}

// Whether the next one may be tried: not where nobody answered, or there is no room.
async function sent(photo) {
  const form = new FormData();
  form.set("id", photo.id);
  form.set("record", photo.record);
  form.set("taken_at", photo.taken_at);
  form.set("photo", new Blob([photo.bytes], { type: "image/jpeg" }), "photo.jpg");
  const { status, json } = await fetchJson("/truck/photo/", {
    method: "POST", body: form, headers: { "X-CSRFToken": csrf() }, timeout: 60_000 });
  if ((status === 200 || status === 201) && json?.id === photo.id) await delivered.settled("photos", photo, time.now().ms);
  else if (FINAL.has(json?.refused)) await store.put("photos", { ...photo, state: "refused", message: json.message ?? "" });
  else return json?.refused === "NO_RECORD_YET";
  changed();
  return true;
}

queue.changes.addEventListener("change", () => sendPhotos());
addEventListener("online", () => sendPhotos());
data.ready.then(() => sendPhotos());
