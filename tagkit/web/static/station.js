// A station's page: shows what the server says, sends what is shown and pressed. The conversation
// itself lives on the server; nothing here decides anything.
import { Line } from "./station/line.js";
import { Camera } from "./station/camera.js";
import { Keys } from "./station/keys.js";
import { Notes } from "./station/notes.js";
import { Sound } from "./station/sound.js";
import { word } from "./station/words.js";

const booth = document.getElementById("booth");
const screen = document.getElementById("screen");
const cut = document.getElementById("cut");
const typed = document.getElementById("typed");
const release = document.getElementById("release");
const gauge = document.getElementById("gauge-drawer");
const A_GLANCE = booth.dataset.station ? 400 : 0; // ms; nothing is logged at the bay
const initials = document.getElementById("initials");

const sound = new Sound(document.getElementById("sound"));
const notes = document.getElementById("note") ? new Notes(booth.dataset) : null;
const line = new Line(booth.dataset.live, { message, pictureOf: (blob) => camera.picture(blob), lost, back });
const camera = new Camera(line, booth.dataset.own === "yes");
let number = 0;
let shownAt = -Infinity; // when this page showed that screen: over a slow line later than the server thinks
let heard = "";
let releasing = 0; // the screen on which a release was begun: what comes up while the PIN is typed is not released
let toScreen = false; // a key beside the screen was pressed from the keyboard: its question is next

function message(said) {
  if (said.is === "sight") camera.sighted(said);
  if (said.is !== "screen") return;
  const onKey = screen.contains(document.activeElement);
  const held = document.activeElement?.dataset.offer;
  const another = said.number !== number;
  number = said.number;
  if (another) shownAt = performance.now();
  screen.innerHTML = said.html;
  document.body.dataset.posture = said.posture;
  document.body.dataset.asks = said.asks;
  const label = document.getElementById("typed-label");
  if (label.textContent !== said.typed) {
    label.textContent = said.typed;
    typed.value = "";
    if (said.asks === "characters") typed.focus();
  }
  if (release) {
    release.hidden = said.asks !== "release";
    if (release.hidden) forget();
  }
  if (gauge) gauge.hidden = said.stage !== "out" && said.stage !== "finish";
  initials.textContent = said.initials || initials.dataset.none;
  if (notes) notes.person = said.person;
  initials.classList.toggle("none", !said.initials);
  // Whoever goes by keys stays where they were; on a new screen the next step is at hand.
  if ((onKey || toScreen) && another) {
    (document.getElementById("next") ?? screen.querySelector(".key"))?.focus();
    toScreen = false;
  }
  else if (onKey && held !== undefined) screen.querySelector(`[data-offer="${held}"]`)?.focus();
  if (said.heard !== heard) {
    heard = said.heard;
    sound.play(said.sound);
    toAnswer();
  }
}

// The answer is seen, also by whoever had scrolled down to the field on a phone.
function toAnswer() {
  if (screen.getBoundingClientRect().top < 0) scrollTo({ top: 0 });
}

// A page that hears nothing shows no answer: the last one may be wrong by now.
function lost() {
  document.body.classList.add("is-cut");
  screen.innerHTML = "";
  number = 0;
  heard = "";
  delete document.body.dataset.posture;
  if (cut) cut.hidden = false;
}

function back() {
  document.body.classList.remove("is-cut");
  if (cut) cut.hidden = true;
  notes?.send();
}

// The screen that a press is meant for: none, where nobody can have read it yet.
function read() {
  return performance.now() < shownAt + A_GLANCE ? 0 : number;
}

function press(offer) {
  if (screen.querySelector(`[data-offer="${offer}"]`)?.disabled !== false) return;
  send({ do: "press", screen: read(), offer });
}

// Enter, the foot switch: the large button, where there is one; the server says so where not.
function next() {
  if (document.getElementById("next")?.disabled) return;
  send({ do: "next", screen: read() });
}

function send(said) {
  // One press, one answer: free again with the next screen, or when none comes.
  for (const one of screen.querySelectorAll(".key")) one.disabled = true;
  setTimeout(() => { for (const one of screen.querySelectorAll(".key")) one.disabled = false; }, 700);
  line.say(said);
}

screen.addEventListener("click", (event) => {
  const key = event.target.closest("[data-offer]");
  if (key) press(Number(key.dataset.offer));
});
document.querySelectorAll("[data-do]").forEach((key) => {
  key.addEventListener("click", (event) => {
    line.say({ do: key.dataset.do });
    toAnswer();
    // Pressed by a finger it keeps no focus: the next Enter is the large button's, not this one's again.
    // By the keyboard the focus goes to what the screen then asks.
    if (event.detail) key.blur();
    else toScreen = true;
  });
});
document.getElementById("typing").addEventListener("submit", (event) => {
  event.preventDefault();
  const text = typed.value.trim();
  // What is said to it may be the answer that stands there already.
  toAnswer();
  if (text) line.say({ do: "typed", text });
  else next();
  typed.value = "";
  if (matchMedia("(pointer: coarse)").matches) typed.blur(); // its keyboard covers the answer
});
function forget() {
  release.reset();
  releasing = 0;
}
release?.addEventListener("input", () => { releasing ||= number; });
release?.addEventListener("submit", (event) => {
  event.preventDefault();
  const given = new FormData(release);
  line.say({
    do: "release", screen: releasing || number,
    code: given.get("code"), pin: given.get("pin"), reason: given.get("reason"),
  });
  forget();
  toAnswer();
});
document.getElementById("gauge")?.addEventListener("submit", (event) => {
  event.preventDefault();
  const given = new FormData(event.target);
  line.say({ do: "gauge", percent: given.get("percent"), hours: given.get("hours") });
  gauge.open = false;
  toAnswer();
});
new Keys({
  foot: booth.dataset.foot,
  next,
  scanned: (text) => {
    if (document.body.classList.contains("is-cut")) notes?.scanned(text);
    else line.say({ do: "scan", text });
  },
  typing: typed,
  cut: () => document.body.classList.contains("is-cut"),
});
// A tablet at a station does not fall asleep.
const awake = () => navigator.wakeLock?.request("screen").catch(() => {});
document.addEventListener("visibilitychange", () => { if (!document.hidden) awake(); });
awake();
document.body.dataset.ready = word("off") ? "yes" : "no";
