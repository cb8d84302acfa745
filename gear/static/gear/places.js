// The parts of a drawing can be tapped as well as their boxes. Without this the boxes do all of it.
"use strict";
for (const places of document.querySelectorAll(".places")) {
  places.classList.add("tapped");
  for (const part of places.querySelectorAll(".part")) {
    part.addEventListener("click", () => {
      for (const box of places.querySelectorAll("input[type=checkbox]")) {
        if (box.value === part.dataset.part) box.checked = !box.checked;
      }
    });
  }
}
