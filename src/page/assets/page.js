// What makes pages live. Without it everything still works, by forms and reloading.
//
// There is one mechanism: the same page is fetched again, and each part marked data-live takes
// over what stands in the part of the same id. So a page shows what the server shows, always.
"use strict";

const live = document.querySelector("[data-stream]");
const lost = document.getElementById("lost");

// Everything typed, opened or focused within a part outlives its change.
function change(part, next) {
  if (part.innerHTML === next.innerHTML) return;
  const focused = part.contains(document.activeElement) ? document.activeElement : null;
  const caret = focused && "selectionStart" in focused ? focused.selectionStart : null;
  const open = [...part.querySelectorAll("details[open][id]")].map((details) => details.id);
  const typed = [...part.querySelectorAll("input[id]:not([type=hidden]), textarea[id], select[id]")]
    .filter((field) => field.value !== field.defaultValue || field.checked !== field.defaultChecked)
    .map((field) => [field.id, field.value, field.checked]);
  part.replaceChildren(...next.childNodes);
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  for (const [id, value, checked] of typed) {
    const field = document.getElementById(id);
    if (field) [field.value, field.checked] = [value, checked];
  }
  const again = focused && (focused.id ? document.getElementById(focused.id) : null);
  if (again) {
    again.focus({ preventScroll: true });
    if (caret !== null && again.setSelectionRange && again.type !== "date") again.setSelectionRange(caret, caret);
  } else if (focused) {
    (document.querySelector("[data-scan]") || document.getElementById("content")).focus({ preventScroll: true });
  }
}

let running = null;
let wanted = null;

// Fetches the page at `place` and takes it over. While one is under way only the last wish counts.
async function refresh(place) {
  if (running) {
    wanted = place;
    return;
  }
  running = place;
  try {
    const answer = await fetch(place, { cache: "no-store", signal: AbortSignal.timeout(8000) });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (new URL(answer.url).pathname === "/sign-in") {
      location.assign(answer.url);
      return;
    }
    const token = page.querySelector("meta[name=csrf-token]")?.content;
    if (answer.ok && token) {
      document.querySelector("meta[name=csrf-token]").content = token;
      for (const part of document.querySelectorAll("[data-live]")) {
        const next = page.getElementById(part.id);
        if (next) change(part, next);
      }
      for (const field of document.querySelectorAll("input[name=csrf]")) field.value = token;
      lost.hidden = true;
    }
  } catch {
    if (live) lost.hidden = false;
  } finally {
    running = null;
    if (wanted !== null) {
      const next = wanted;
      wanted = null;
      refresh(next);
    }
  }
}

// Live pages listen for as long as they are looked at.
let stream = null;

function listen() {
  if (stream || document.hidden) return;
  stream = new EventSource("/api/v1/events");
  stream.addEventListener("open", () => refresh(location.href));
  stream.addEventListener("health", () => refresh(location.href));
  stream.addEventListener("entry", (event) => {
    refresh(location.href);
    const entry = JSON.parse(event.data);
    if (entry.kind === "verdict" && !entry.payload.held) sound(entry.payload.outcome);
  });
  stream.addEventListener("error", () => {
    lost.hidden = false;
    stream.close();
    stream = null;
    setTimeout(() => {
      refresh(location.href);
      listen();
    }, 1500);
  });
}

if (live) {
  listen();
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) {
      stream?.close();
      stream = null;
    } else {
      listen();
    }
  });
  // What changes with time alone, and a line that went dead without a word.
  setInterval(() => refresh(location.href), 10000);
}

// Results while typing.
for (const form of document.querySelectorAll("form[data-search]")) {
  let timer = null;
  const look = () => {
    const fields = [...new FormData(form)].filter(([, value]) => value !== "");
    const place = new URL(form.action);
    place.search = new URLSearchParams(fields).toString();
    history.replaceState(null, "", place);
    refresh(place.href);
  };
  const soon = () => {
    clearTimeout(timer);
    timer = setTimeout(look, 120);
  };
  form.addEventListener("input", soon);
  form.addEventListener("change", soon);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    clearTimeout(timer);
    look();
  });
}

// What a barcode reader types goes into the bench's field, wherever the focus is.
const scan = document.querySelector("[data-scan]");
if (scan) {
  document.addEventListener("keydown", (event) => {
    const typing = event.target.closest("input:not([type=radio], [type=checkbox]), textarea, select");
    if (typing || event.key.length !== 1 || event.key === " " || event.ctrlKey || event.altKey || event.metaKey) return;
    scan.focus();
  });
}

// Sound, where somebody asked for it.
const switchOfSound = document.getElementById("sound");
let audio = null;

function sound(outcome) {
  if (!switchOfSound || switchOfSound.getAttribute("aria-pressed") !== "true") return;
  audio ??= new AudioContext();
  const tones = { pass: [660, 880], fail: [220, 220, 220], borderline: [440, 440], incomplete: [520] }[outcome] || [];
  tones.forEach((pitch, at) => {
    const tone = audio.createOscillator();
    const volume = audio.createGain();
    const begin = audio.currentTime + at * 0.2;
    tone.frequency.value = pitch;
    volume.gain.setValueAtTime(0.2, begin);
    volume.gain.exponentialRampToValueAtTime(0.001, begin + 0.18);
    tone.connect(volume).connect(audio.destination);
    tone.start(begin);
    tone.stop(begin + 0.18);
  });
}

if (switchOfSound) {
  const show = (on) => switchOfSound.setAttribute("aria-pressed", String(on));
  show(localStorage.getItem("sound") === "on");
  switchOfSound.hidden = false;
  switchOfSound.addEventListener("click", () => {
    const on = switchOfSound.getAttribute("aria-pressed") !== "true";
    localStorage.setItem("sound", on ? "on" : "off");
    show(on);
    if (on) sound("incomplete");
  });
}

const print = document.getElementById("print");
if (print) {
  print.hidden = false;
  print.addEventListener("click", () => window.print());
}
