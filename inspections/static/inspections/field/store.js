// What this device keeps: the signed bundle, the highest time it has seen, every record that the server has not
// acknowledged, and for a while those that it has. Nothing here is believed for being here: the bundle is checked against
// its signature at each start.

const NAME = "truck";
const STORES = { kept: "name", queue: "id", photos: "id", walks: "id", delivered: "id" };
let opened = null;
let gone = false;

function open() {
  if (gone) return new Promise(() => {}); // whoever still asks after the end waits for ever, and makes nothing anew
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open(NAME, 2);
    asked.onupgradeneeded = () => {
      for (const [store, keyPath] of Object.entries(STORES)) {
        if (!asked.result.objectStoreNames.contains(store)) asked.result.createObjectStore(store, { keyPath });
      }
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = ({ newVersion }) => newVersion && asked.result.close(); // another window is newer
      done(asked.result);
    };
    asked.onerror = () => failed(asked.error);
  });
  return opened;
}

// Resolves to what `work` asked for, once it is on disk.
async function run(store, mode, work) {
  const base = await open();
  return new Promise((done, failed) => {
    const act = base.transaction(store, mode, { durability: "strict" });
    const asked = work(act.objectStore(store));
    act.oncomplete = () => done(asked && asked.result);
    act.onerror = act.onabort = () => failed(act.error);
  });
}

export const get = (store, key) => run(store, "readonly", (rows) => rows.get(key));
export const all = (store) => run(store, "readonly", (rows) => rows.getAll());
export const put = (store, row) => run(store, "readwrite", (rows) => rows.put(row));
export const remove = (store, key) => run(store, "readwrite", (rows) => rows.delete(key));

// A row leaves one store and stands in another as `row`, under the same id: both, or nothing.
export async function moved(from, to, row) {
  const base = await open();
  return new Promise((done, failed) => {
    const act = base.transaction([from, to], "readwrite", { durability: "strict" });
    act.objectStore(from).delete(row.id);
    act.objectStore(to).put(row);
    act.oncomplete = () => done();
    act.onerror = act.onabort = () => failed(act.error);
  });
}

// A record under a new id: its row and the photos that wait for it change together, or nothing does.
export async function renamed(old, row) {
  const base = await open();
  return new Promise((done, failed) => {
    const act = base.transaction(["queue", "photos"], "readwrite", { durability: "strict" });
    act.objectStore("queue").delete(old);
    act.objectStore("queue").put(row);
    const photos = act.objectStore("photos");
    photos.getAll().onsuccess = ({ target }) => target.result
      .filter((photo) => photo.record === old)
      .forEach((photo) => photos.put({ ...photo, record: row.id }));
    act.oncomplete = () => done();
    act.onerror = act.onabort = () => failed(act.error);
  });
}

export const kept = async (name) => (await get("kept", name))?.value;
export const keep = (name, value) => put("kept", { name, value });

// Keeps what `work` makes of the kept value, in one step: no other window and no other task comes in between.
export const change = (name, work) => run("kept", "readwrite", (rows) => {
  const asked = rows.get(name);
  asked.onsuccess = () => rows.put({ name, value: work(asked.result?.value) });
  return asked;
});

// Everything, for a device that was revoked.
export async function wipe() {
  (await open()).close();
  opened = null;
  gone = true;
  await new Promise((done) => {
    const asked = indexedDB.deleteDatabase(NAME);
    asked.onsuccess = asked.onerror = asked.onblocked = () => done();
  });
}
