// A hand scanner types into the field that has the focus. On a phone the keyboard would open over the page, so only
// where there is a mouse.
"use strict";
if (matchMedia("(hover: hover) and (pointer: fine)").matches) {
  document.querySelector("[data-typed-first]")?.focus({ preventScroll: true });
}
