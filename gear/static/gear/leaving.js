// Signing out of the ordinary pages on a phone that holds records of the truck client: they can be sent only once their
// person signs in again, so that is asked first. The client leaves their number where this reads it (queue.js).
const form = document.querySelector("form.leave");

function unsent() {
  try {
    return Number(localStorage.getItem("unsent")) || 0;
  } catch {
    return 0;
  }
}

form?.addEventListener("submit", (event) => {
  const count = unsent();
  if (count && !confirm(form.dataset.unsent.replace("{n}", count))) event.preventDefault();
});
