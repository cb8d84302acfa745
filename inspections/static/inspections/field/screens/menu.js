// The way to everything else on this device, and back to the ordinary pages.
export function show(root, rest, { has }) {
  for (const link of root.querySelectorAll("[data-screen-link]")) {
    link.hidden = !has(link.dataset.screenLink);
  }
}
