// Rows that the server has not acknowledged yet, in the order of typing. They are written to disk before they are sent,
// so that they outlive a lost network, a reload and a killed browser. Each has an id: sent twice it is stored once.
"use strict";

class WaitingRows {
  constructor(queue) {
    this.queue = queue;
    this.rows = new Map();
    this.base = null;
  }

  // Whether this browser keeps rows on disk. Rows that wait from before are there afterwards.
  async open() {
    try {
      this.base = await new Promise((done, failed) => {
        const asked = indexedDB.open("bench", 1);
        asked.onupgradeneeded = () => asked.result.createObjectStore("rows", { keyPath: "id" });
        asked.onsuccess = () => done(asked.result);
        asked.onerror = () => failed(asked.error);
      });
      const found = await this.run("readonly", (store) => store.getAll());
      for (const row of found.filter((one) => one.queue === this.queue)) this.rows.set(row.id, row);
      return true;
    } catch {
      this.base = null;
      return false;
    }
  }

  run(mode, work) {
    return new Promise((done, failed) => {
      const act = this.base.transaction("rows", mode, { durability: "strict" });
      const asked = work(act.objectStore("rows"));
      act.oncomplete = () => done(asked.result);
      act.onerror = act.onabort = () => failed(act.error);
    });
  }

  // Resolves once the row is on disk, to whether it is.
  async put(row) {
    row.queue = this.queue;
    this.rows.set(row.id, row);
    if (!this.base) return false;
    try {
      await this.run("readwrite", (store) => store.put(row));
      return true;
    } catch {
      return false;
    }
  }

  async remove(id) {
    this.rows.delete(id);
    if (this.base) {
      // Where this fails the row is sent once more after a reload, and the server knows it.
      await this.run("readwrite", (store) => store.delete(id)).catch(() => undefined);
    }
  }

  all() {
    return [...this.rows.values()].sort((one, other) => one.order - other.order);
  }

  next() {
    return this.all().find((row) => !row.refused);
  }

  after() {
    return Math.max(0, ...this.all().map((row) => row.order)) + 1;
  }
}

// crypto.randomUUID is there on HTTPS and on this machine alone; a tool room may have neither.
function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

// A short sound: high for accepted, low and twice for a stop, in between for what must be done again.
class Sounds {
  constructor() {
    this.muted = localStorage.getItem("bench-muted") === "yes";
  }

  toggle() {
    this.muted = !this.muted;
    localStorage.setItem("bench-muted", this.muted ? "yes" : "no");
    return this.muted;
  }

  play(tone) {
    const notes = {
      accepted: [[880, 0, 0.09]],
      failed: [[196, 0, 0.22], [147, 0.26, 0.3]],
      void: [[392, 0, 0.14], [294, 0.16, 0.2]],
    };
    if (this.muted) return;
    try {
      this.context ??= new AudioContext();
      for (const [pitch, start, length] of notes[tone] || notes.void) {
        const note = this.context.createOscillator();
        const volume = this.context.createGain();
        note.type = tone === "failed" ? "square" : "sine";
        note.frequency.value = pitch;
        volume.gain.value = 0.15;
        note.connect(volume).connect(this.context.destination);
        note.start(this.context.currentTime + start);
        note.stop(this.context.currentTime + start + length);
      }
    } catch {
      // A machine without a loudspeaker still shows every verdict.
    }
  }
}
