// An answer is worth what it says at its moment. This script lets it age in sight and takes it away in time; the
// answer itself needs no script.
"use strict";
(() => {
  const LONGEST_MS = 5 * 60 * 1000;
  const shown = document.getElementById("answer");
  const tooOld = document.getElementById("too-old");
  const age = document.getElementById("age");
  const began = { steady: performance.now(), wall: Date.now() };

  const blank = () => shown.replaceChildren(tooOld.content.cloneNode(true));

  // The steady clock may stand still while a phone sleeps, the other may be set: the worse of both counts.
  const elapsed = () => {
    const wall = Date.now() - began.wall;
    return wall < -1000 ? Infinity : Math.max(wall, performance.now() - began.steady);
  };

  const look = () => {
    const ms = elapsed();
    if (ms >= LONGEST_MS) {
      blank();
    } else if (age && ms >= 60000) {
      age.textContent = age.dataset.words.replace("%", String(Math.floor(ms / 60000)));
    }
  };

  setInterval(look, 1000);
  document.addEventListener("visibilitychange", look);
  // A page that the browser kept may show yesterday's verdict: ask again.
  addEventListener("pageshow", (event) => {
    if (event.persisted) {
      blank();
      location.reload();
    }
  });
  // The answer to the last piece must not stand there while the next one is on its way.
  document.querySelector(".code-form").addEventListener("submit", blank);
})();
