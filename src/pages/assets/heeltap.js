// What a page does by itself once scripts run. Every task can be done without: a form is then sent by its button, a page is
// loaded again by its reader. Nothing is loaded from elsewhere; what is kept is the address of a page, in this browser only.
"use strict";

// How long a form waits for the next key before it asks, in ms.
const PAUSE_MS = 250;

// Takes over the parts of a page (`data-part`) from the same page as it was answered now, and what is wrong of each field.
function takeOver(text) {
  const answered = new DOMParser().parseFromString(text, "text/html");
  for (const old of document.querySelectorAll("[data-part]")) {
    const now = answered.querySelector(`[data-part="${old.dataset.part}"]`);
    for (const open of old.querySelectorAll("details[id][open]")) answered.getElementById(open.id)?.setAttribute("open", "");
    if (now && now.outerHTML !== old.outerHTML) old.replaceWith(document.importNode(now, true));
  }
  for (const field of document.querySelectorAll("form[data-live] [id][name]")) {
    const now = answered.getElementById(field.id);
    for (const mark of ["aria-invalid", "aria-describedby"]) {
      if (now && now.hasAttribute(mark)) field.setAttribute(mark, now.getAttribute(mark));
      else field.removeAttribute(mark);
    }
  }
  countDown();
  return answered;
}

// A form that only asks (`data-live`) asks while it is typed into, and the address keeps what was typed.
function live(form) {
  let wait = 0;
  let asked = 0;
  const note = () => {
    const address = new URL(form.action);
    address.hash = "";
    address.search = new URLSearchParams(new FormData(form)).toString();
    history.replaceState(null, "", address.pathname + address.search);
    if (form.dataset.keep) keep(form);
    return address;
  };
  const ask = async () => {
    const address = note();
    const turn = ++asked;
    try {
      const answer = await fetch(address, { headers: { accept: "text/html" } });
      const text = await answer.text();
      if (turn === asked && !answer.redirected) takeOver(text);
    } catch {
      // The service does not answer: what was typed stands, and a button says so when it is pressed.
      for (const button of document.querySelectorAll("[data-part] button")) button.disabled = false;
    }
  };
  form.addEventListener("input", () => {
    // What a part offers to send is not what is typed now, until the part is answered anew.
    for (const button of document.querySelectorAll("[data-part] button")) button.disabled = true;
    clearTimeout(wait);
    wait = setTimeout(ask, PAUSE_MS);
  });
  // What was ticked or left is in the address at once: the page may be loaded again before it is asked.
  form.addEventListener("change", note);
}

// The last address of a form (`data-keep` names it) is kept in this browser, and found again when the page is opened without it;
// once the work is done (`data-keep-end`), it is forgotten.
function keep(form) {
  const name = `heeltap ${form.dataset.keep}`;
  if (new URL(form.action).pathname !== location.pathname) return;
  try {
    if (location.search) return localStorage.setItem(name, location.search);
    const kept = localStorage.getItem(name);
    if (kept) location.replace(location.pathname + kept + location.hash);
  } catch {
    // A browser that keeps nothing: the address is what there is.
  }
}

function keepEnd(done) {
  try {
    localStorage.removeItem(`heeltap ${done.dataset.keepEnd}`);
  } catch {
    // There was nothing.
  }
}

// Rows to fill (`data-rows`), the last of which is empty: once it is filled, another follows. Without scripts the page that is
// answered has one more. What a row names with its place ends in it.
function rows(list) {
  list.addEventListener("input", () => {
    const last = list.lastElementChild;
    const fields = (row) => [...row.querySelectorAll("[name]")];
    if (fields(last).every((field) => field.value === "")) return;
    const next = last.cloneNode(true);
    for (const field of fields(next)) field.value = "";
    for (const fault of next.querySelectorAll(".fault")) fault.remove();
    for (const named of next.querySelectorAll("[id], [for], [data-part]")) {
      for (const name of ["id", "for", "data-part"]) {
        const text = named.getAttribute(name);
        if (text) named.setAttribute(name, text.replace(/\d+$/, String(list.children.length + 1)));
      }
    }
    list.append(next);
  });
}

// Minutes and seconds between now and an instant.
function clock(ms) {
  const seconds = Math.floor(Math.abs(ms) / 1000);
  const two = (number) => String(number).padStart(2, "0");
  const [hours, minutes] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60];
  return `${hours ? `${hours}:` : ""}${two(minutes)}:${two(seconds % 60)}`;
}

// What is left until an instant (`data-until`), second by second. The instant itself is written beside it.
function countDown() {
  for (const shown of document.querySelectorAll("[data-until]")) {
    const left = Date.parse(shown.dataset.until) - Date.now();
    shown.textContent = left >= 0 ? `${clock(left)} left` : `over since ${clock(left)}`;
    shown.classList.toggle("over", left < 0);
  }
}

// A page under way (`data-poll`, in ms) asks how far it is, and is loaded anew when it is done.
async function poll() {
  const waiting = document.querySelector("[data-poll]");
  if (!waiting) return;
  await new Promise((done) => setTimeout(done, Number(waiting.dataset.poll)));
  try {
    const answer = await fetch(location.href, { headers: { accept: "text/html" } });
    // What is done may lead on.
    if (answer.redirected) return location.assign(answer.url);
    if (!takeOver(await answer.text()).querySelector("[data-poll]")) return location.reload();
  } catch {
    // It is asked again.
  }
  poll();
}

// A file that is sent (`data-upload`) shows how much of it is gone; a file dropped on the form is taken as if it was chosen.
function upload(form) {
  const field = form.querySelector("input[type=file]");
  const progress = form.querySelector("progress");
  form.addEventListener("dragover", (event) => event.preventDefault());
  form.addEventListener("drop", (event) => {
    event.preventDefault();
    if (event.dataTransfer.files.length === 0) return;
    field.files = event.dataTransfer.files;
    form.requestSubmit();
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const sending = new XMLHttpRequest();
    progress.hidden = false;
    sending.upload.addEventListener("progress", (sent) => {
      if (sent.lengthComputable) progress.value = sent.loaded / sent.total;
    });
    sending.addEventListener("load", () => {
      if (sending.responseURL !== form.action) return location.assign(sending.responseURL);
      const answered = new DOMParser().parseFromString(sending.responseText, "text/html");
      document.querySelector("main").replaceWith(document.importNode(answered.querySelector("main"), true));
      start();
      document.querySelector(".fault")?.scrollIntoView({ block: "center" });
    });
    sending.addEventListener("error", () => {
      // The browser's own way tells what is wrong.
      form.submit();
    });
    sending.open("POST", form.action);
    sending.send(new FormData(form));
  });
}

// A text to take along (`data-copy` names it). Without scripts it is marked and copied by hand.
function copy(button) {
  const text = document.getElementById(button.dataset.copy);
  button.hidden = false;
  button.addEventListener("click", async () => {
    if ("value" in text) text.select();
    try {
      await navigator.clipboard.writeText("value" in text ? text.value : text.textContent);
    } catch {
      // Over plain http a browser lets no page use the clipboard but by the old way.
      document.execCommand("copy");
    }
    button.textContent = "Copied";
  });
}

// What can be printed has a button for it (`data-print`).
function print(button) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

// Takes up what a page asks for.
function start() {
  document.querySelectorAll("form[data-live]").forEach(live);
  document.querySelectorAll("[data-rows]").forEach(rows);
  document.querySelectorAll("form[data-keep]").forEach(keep);
  document.querySelectorAll("[data-keep-end]").forEach(keepEnd);
  document.querySelectorAll("form[data-upload]").forEach(upload);
  document.querySelectorAll("button[data-copy]").forEach(copy);
  document.querySelectorAll("button[data-print]").forEach(print);
  countDown();
}

start();
poll();
setInterval(countDown, 1000);
