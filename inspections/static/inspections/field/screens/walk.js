// The walk round a truck: choose it, scan everything in it, and see what is missing and what must not be used.
import * as data from "../data.js";
import { begin } from "../walk/begin.js";
import * as kept from "../walk/kept.js";
import { result } from "../walk/result.js";
import { scanning, settled } from "../walk/scanning.js";

export function show(root, id, { go }) {
  const stage = root.querySelector('[data-part="stage"]');
  let leave = null, left = false;

  async function draw() {
    await data.ready;
    await settled(); // a late answer belongs to the walk as it was left
    const walk = id ? await kept.open(id) : null;
    if (left) return;
    const shown = walk?.finished_ms ? result : walk ? scanning : begin;
    leave = shown(stage, walk, { go }) ?? null;
  }

  draw();
  return () => {
    left = true;
    leave?.();
  };
}
