// Scan, reading, Enter: without this script every row is a page of its own; with it the page stays, and rows that the
// server has not acknowledged wait in the browser (bench_queue.js). Nothing is judged here.
"use strict";
{
  const by = (id) => document.getElementById(id);
  const say = by("bench").dataset;
  const [scanForm, scan, rowForm, panel, board] = ["scan-form", "scan", "row-form", "panel", "board"].map(by);
  const field = (name) => rowForm.elements[name];
  const queue = new WaitingRows(`${say.session} ${say.user}`);
  const sounds = new Sounds();
  const KEPT = ["method", "material", "test_a"]; // carried from one jumper to the next
  const BAD = ["reject", "clean", "test"];
  const PATIENCE = 5000;
  let onBench = null; // {scan, kind, mode, looked: promise}
  let last = say.last || "";
  let stopped = false;

  const trouble = (message) => {
    by("trouble").replaceChildren();
    if (!message) return;
    const told = document.createElement("p");
    told.className = "notice problem";
    told.textContent = message;
    by("trouble").append(told);
  };

  async function ask(address, body) {
    const headers = { Accept: "application/json" };
    if (body) headers["X-CSRFToken"] = field("csrfmiddlewaretoken").value;
    const signal = AbortSignal.timeout(body ? 20000 : PATIENCE);
    const answer = await fetch(address, { method: body ? "POST" : "GET", headers, body, signal });
    const isJson = (answer.headers.get("Content-Type") || "").includes("json");
    if (!isJson) return { state: answer.redirected || answer.status === 403 ? "signed out" : "no answer" };
    if (answer.status >= 500) return { state: "no answer" };
    return answer.json();
  }

  // What is on the bench

  function clearRow() {
    for (const name of ["scan", "id", "replaces", "again", "reading", "cable_temp_c", "look_before", "look_after",
      "applied_kv", "seconds", "why"]) field(name).value = "";
    field("breakdown").checked = field("flashover").checked = false;
    by("otherwise").open = false;
    sayLooks();
  }

  function leave() {
    onBench = null;
    clearRow();
    rowForm.hidden = true;
    panel.replaceChildren();
    scan.value = "";
    scan.focus();
  }

  function askFor(kind) {
    const isCable = kind === "jumper" || kind === "unseen";
    for (const part of rowForm.querySelectorAll(".of-jumper")) part.hidden = !isCable;
    const label = { jumper: say.mohm, reads: say.ma, other: say.none };
    by("reading-label").textContent = label[kind] || say.any;
  }

  function begin(text, restored) {
    trouble("");
    clearRow();
    const one = { scan: text, kind: "any", mode: "new" };
    onBench = one;
    panel.replaceChildren();
    askFor("any");
    rowForm.hidden = false;
    field("reading").focus();
    one.looked = ask(`${say.scan}?${new URLSearchParams({ scan: text })}`).then(
      (found) => onBench === one && seen(one, found, restored),
      () => onBench === one && unseen(one, restored),
    );
    return one.looked;
  }

  function seen(one, found, restored) {
    if (found.state === "signed out") return trouble(say.signIn);
    if (found.state === "no answer") return unseen(one, restored);
    if (found.state === "refused") {
      leave();
      scan.value = one.scan;
      scan.select();
      sounds.play("failed");
      return trouble(found.message);
    }
    panel.innerHTML = found.panel;
    Object.assign(one, { kind: found.kind, mode: found.mode, item: found.item_no });
    askFor(found.kind);
    if (found.bars || found.warns) sounds.play("failed");
    if (found.bars) {
      onBench = null;
      rowForm.hidden = true;
      return scan.focus();
    }
    for (const [name, value] of Object.entries(found.first)) if (!field(name).value) field(name).value = value;
    restore(restored);
    field("scan").value = found.item_no;
    if (found.mode === "look") {
      rowForm.hidden = true;
      return by("look-accept").focus();
    }
    if (found.mode === "correct") {
      by("otherwise").open = true;
      field("reading").select();
    }
  }

  function unseen(one, restored) {
    one.kind = "unseen";
    askFor("unseen");
    const told = document.createElement("p");
    told.className = "notice warning";
    told.textContent = say.unseen;
    panel.replaceChildren(told);
    restore(restored);
  }

  function restore(values) {
    for (const [name, value] of values || []) {
      if (["csrfmiddlewaretoken", "id", "looks", "scan"].includes(name) || !field(name)) continue;
      if (field(name).type === "checkbox") field(name).checked = true;
      else field(name).value = value;
    }
    sayLooks();
  }

  scanForm.addEventListener("submit", (event) => {
    event.preventDefault();
    const text = scan.value.trim();
    scan.value = "";
    if (text) begin(text);
  });

  // The row

  function sayLooks() {
    const before = field("look_before").value || "accept";
    const after = field("look_after").value || (BAD.includes(before) ? "" : "accept");
    const told = [`${say.before}: ${say[before]}`];
    if (after) told.push(`${say.after}: ${say[after]}`);
    by("looks-said").textContent = `${say.looks}: ${told.join("; ")}.`;
    by("save").textContent = before === "accept" && after === "accept" ? say.saveBoth : say.saveMarked;
  }

  // The field that must be filled in first, with why; nothing where the row can go.
  function wanting() {
    const ended = field("breakdown").checked || field("flashover").checked
      || BAD.includes(field("look_before").value) || BAD.includes(field("look_after").value);
    if (!ended && onBench.kind !== "other" && !field("reading").value.trim()) return ["reading", say.readingFirst];
    if (!ended && onBench.kind === "jumper" && !field("cable_temp_c").value.trim()) return ["cable_temp_c", say.tempFirst];
    const needsWhy = field("replaces").value || field("applied_kv").value.trim();
    return needsWhy && !field("why").value.trim() ? ["why", say.whyFirst] : null;
  }

  async function save() {
    const one = onBench;
    if (!one || one.saving) return;
    one.saving = true;
    await one.looked;
    one.saving = false;
    if (onBench !== one || rowForm.hidden) return;
    const lacks = wanting();
    if (lacks) {
      trouble(lacks[1]);
      if (lacks[0] === "why") by("otherwise").open = true;
      return field(lacks[0]).focus();
    }
    if (!field("scan").value) field("scan").value = one.scan;
    field("id").value = newId();
    const body = new URLSearchParams(new FormData(rowForm));
    body.delete("csrfmiddlewaretoken");
    const row = { id: field("id").value, order: queue.after(), body: body.toString(),
      scan: one.item || one.scan, reading: field("reading").value };
    trouble("");
    leave();
    if (!(await queue.put(row)) && !queue.base) by("network").textContent = say.noStore;
    send();
  }

  rowForm.addEventListener("submit", (event) => {
    event.preventDefault();
    save();
  });
  rowForm.addEventListener("change", sayLooks);
  field("reading").addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || !/^[a-z]$/i.test(event.key)) return;
    event.preventDefault();
    const key = event.key.toLowerCase();
    const look = { r: "reject", c: "clean", t: "test" }[key];
    // Before there is a reading the look was the one before the test.
    if (look) choose(field("reading").value.trim() ? "look_after" : "look_before", look);
    if (key === "l") choose("look_after", "later");
    if (key === "b") toggle("breakdown");
    if (key === "f") toggle("flashover");
    if (key === "k") open("applied_kv");
    if (key === "w") open("why");
  });
  const choose = (name, value) => {
    field(name).value = field(name).value === value ? "" : value;
    by("otherwise").open = true;
    sayLooks();
  };
  const toggle = (name) => {
    field(name).checked = !field(name).checked;
    by("otherwise").open = true;
  };
  const open = (name) => {
    by("otherwise").open = true;
    field(name).focus();
  };

  // Sending, in order, until every row is acknowledged or refused

  let sending = false;
  let again = 0;

  async function send() {
    if (sending) return;
    sending = true;
    clearTimeout(again);
    for (let row = queue.next(); row; row = queue.next()) {
      showWaiting();
      const answer = await ask(say.rows, new URLSearchParams(row.body)).catch(() => ({ state: "no answer" }));
      if (answer.state === "recorded") {
        await queue.remove(row.id);
        by("network").textContent = "";
        recorded(answer);
      } else if (answer.state === "refused") {
        await refused(row, answer);
      } else {
        by("network").textContent = answer.state === "signed out" ? say.signIn : say.noNetwork;
        if (!row.waited) await queue.put({ ...row, waited: true });
        again = setTimeout(send, 2000);
        break;
      }
    }
    sending = false;
    showWaiting();
  }

  function recorded(answer) {
    last = answer.item_no || last;
    by("verdict").innerHTML = answer.verdict;
    sounds.play(answer.tone);
    showBoard(answer);
  }

  async function refused(row, answer) {
    sounds.play("failed");
    if (row.waited || answer.field === "scan" || onBench || scan.value || document.activeElement !== scan) {
      await queue.put({ ...row, refused: answer.message });
      return;
    }
    // Just typed, and nothing else begun: the row goes back to the fields, with the sentence.
    await queue.remove(row.id);
    const values = [...new URLSearchParams(row.body)];
    await begin(new URLSearchParams(row.body).get("scan"), values);
    trouble(answer.message);
    if (!onBench) return;
    const wrong = field(answer.field) && field(answer.field).type !== "hidden" ? answer.field : "reading";
    if (by("otherwise").contains(field(wrong))) by("otherwise").open = true;
    if (!rowForm.hidden) field(wrong).focus();
  }

  function showWaiting() {
    const rows = queue.all();
    by("waiting").hidden = !rows.length;
    by("waiting").querySelector("ul").replaceChildren(...rows.map(waitingLine));
  }

  function waitingLine(row) {
    const told = document.createElement("li");
    told.textContent = `${row.scan} ${row.reading}: ${row.refused ? `${say.refused}: ${row.refused}` : say.waits}`;
    if (!row.refused) return told;
    told.className = "refused";
    for (const [words, work] of [[say.back, () => begin(row.scan, [...new URLSearchParams(row.body)])], [say.drop, () => scan.focus()]]) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = words;
      button.addEventListener("click", async () => {
        await queue.remove(row.id);
        showWaiting();
        work();
      });
      told.append(button);
    }
    return told;
  }

  // The board: counts, warnings, the newest rows; those of other clerks too

  function showBoard(answer) {
    const opened = [...board.querySelectorAll("details[open]")].map((one) => one.className);
    board.innerHTML = answer.board;
    for (const name of opened) board.querySelector(`details.${name}`)?.setAttribute("open", "");
    if (answer.stop && !stopped) {
      sounds.play("failed");
      const run = board.querySelector(".bench-run");
      run.tabIndex = -1;
      run.focus();
    }
    stopped = answer.stop;
  }

  async function look() {
    if (document.hidden || sending || board.contains(document.activeElement)) return;
    const answer = await ask(say.rows).catch(() => null);
    if (!answer?.board || sending || board.contains(document.activeElement)) return;
    if (answer.board !== seenBoard) showBoard(answer);
    seenBoard = answer.board;
    if (!answer.open && !queue.all().length) location.reload(); // what waits here stays in sight
  }
  let seenBoard = "";
  setInterval(look, 4000);

  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches(".look-form, .strike-form, .confirm-form")) return;
    event.preventDefault();
    const body = new URLSearchParams(new FormData(form, event.submitter));
    const answer = await ask(form.getAttribute("action"), body).catch(() => ({ state: "no answer" }));
    if (answer.state === "recorded") {
      trouble("");
      leave();
      return recorded(answer);
    }
    sounds.play("failed");
    trouble(answer.message || (answer.state === "signed out" ? say.signIn : say.notStored));
  });

  // Keys that work everywhere on the page

  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") {
      trouble("");
      leave();
    } else if (event.key === "F2" && last) {
      event.preventDefault();
      begin(last);
    } else if (event.key === "F8") {
      event.preventDefault();
      mute();
    } else if (document.activeElement === by("look-accept") && "rct".includes(event.key.toLowerCase())) {
      const value = { r: "reject", c: "clean", t: "test" }[event.key.toLowerCase()];
      panel.querySelector(`.look-form button[value=${value}]`).click();
    } else if (document.activeElement?.matches(".bench-run") && event.key.length === 1) {
      sounds.play("failed"); // a scan would be lost here: confirm first, or leave the readings in doubt with Esc
    }
  });
  const mute = () => by("sound").setAttribute("aria-pressed", String(!sounds.toggle()));
  by("sound").addEventListener("click", mute);
  by("last").addEventListener("click", () => last && begin(last));

  document.querySelector(".bench-tools").hidden = false;
  by("sound").setAttribute("aria-pressed", String(!sounds.muted));
  stopped = Boolean(board.querySelector(".bench-run"));
  const given = new URLSearchParams(location.search).get("scan");
  history.replaceState(null, "", location.pathname);
  queue.open().then((keeps) => {
    if (!keeps) by("network").textContent = say.noStore;
    showWaiting();
    send();
  });
  if (given && !by("trouble").textContent) begin(given);
  else leave();
  window.addEventListener("online", send);
}
