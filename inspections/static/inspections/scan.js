// Takes one scan after the other without waiting for the page: a hand scanner is quicker than a round trip. Every scan
// goes to the server under an id of its own, in turn; what the server answers is shown, and what it refuses stays in
// sight. Without this script each scan loads the page.
"use strict";
(() => {
  const waiting = [];
  let busy = false;

  const form = () => document.querySelector("form[data-scan]");
  const field = () => form()?.querySelector("[name=piece]");

  function freshId() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = Array.from(bytes, (one) => one.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  }

  function count() {
    document.querySelector("[data-waiting]").textContent = waiting.length > 1 ? `… ${waiting.length}` : "";
  }

  // What was not kept while the clerk had gone on to the next piece is listed until the page is left.
  function list(piece, said) {
    const refused = document.querySelector("[data-refused]");
    const line = document.createElement("li");
    line.textContent = said.includes(piece) ? said : `${piece}: ${said}`;
    refused.append(line);
    refused.hidden = false;
  }

  // The server has no such form for this person any more: signed out, or sent or closed by somebody else.
  function stop(piece) {
    const said = document.querySelector("[data-refused]").dataset.refused;
    for (const one of [piece, ...waiting.splice(0).map((data) => data.get("piece"))]) list(one, said);
  }

  function show(html, piece) {
    const page = new DOMParser().parseFromString(html, "text/html");
    const answered = page.querySelector("form[data-scan]");
    document.querySelectorAll("main > .notice").forEach((one) => one.remove());
    document.querySelector("main").prepend(...page.querySelectorAll("main > .notice"));
    if (answered?.elements.do.value !== form().elements.do.value) return stop(piece);
    for (const part of document.querySelectorAll("[data-shown]")) {
      const fresh = page.querySelector(`[data-shown="${part.dataset.shown}"]`);
      if (fresh) part.replaceWith(fresh);
    }
    if (!answered.querySelector("[role=alert]")) return;
    if (waiting.length || field().value) {
      return list(piece, Array.from(answered.querySelectorAll(".errorlist li"), (one) => one.textContent).join(" "));
    }
    form().replaceWith(answered);
    field().focus();
    field().select();
  }

  async function next() {
    if (busy || !waiting.length) return;
    busy = true;
    count();
    let answer, html;
    try {
      answer = await fetch(location.pathname, { method: "POST", body: waiting[0] });
      html = await answer.text();
    } catch {
      answer = null;
    }
    busy = false;
    if (!answer || answer.status >= 500) {
      setTimeout(next, 2000); // the same scan under the same id: if it was kept, it is not kept twice
      return;
    }
    show(html, waiting.shift().get("piece"));
    count();
    next();
  }

  // What ends a piece is chosen anew for each; the shelf and the report stay.
  function makeReady(sent) {
    for (const name of ["piece", "note", "read"]) {
      const one = sent.querySelector(`[name=${name}]`);
      if (one) one.value = "";
    }
    for (const one of sent.querySelectorAll("[name=outcome]")) one.checked = one.value === "passed";
    for (const one of sent.querySelectorAll("[role=alert], .errorlist")) one.remove();
    for (const one of sent.querySelectorAll("[aria-invalid]")) one.removeAttribute("aria-invalid");
    field().focus();
  }

  document.addEventListener("submit", (event) => {
    const sent = event.target;
    if (!sent.matches("form[data-scan]")) return;
    event.preventDefault();
    if (!field().value.trim()) return;
    const data = new FormData(sent);
    data.set("id", freshId());
    waiting.push(data);
    makeReady(sent);
    next();
  });
  addEventListener("beforeunload", (event) => {
    if (waiting.length) event.preventDefault();
  });
})();
