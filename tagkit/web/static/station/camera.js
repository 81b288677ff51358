// The camera: frames go to the server when something moves, one on its way at a time.
import { word } from "./words.js";

const TICK = 50;
const WIDEST = 1280;
const QUALITY = 0.8;
const SETTLE = 900; // so long after a movement frames still go out
const STILL = 400; // how often an unmoved picture with labels in it is vouched for
const OVERDUE = 3000;
const CELLS = [32, 24];
const MOVED = 9; // grey values by which one cell must differ
const KEPT = "tagkit.camera";

export class Camera {
  constructor(line, hasOwn) {
    this.line = line;
    this.hasOwn = hasOwn;
    this.video = document.getElementById("video");
    this.image = document.getElementById("picture");
    this.marks = document.getElementById("marks");
    this.none = document.getElementById("no-picture");
    this.trouble = document.getElementById("trouble");
    this.canvas = document.createElement("canvas");
    this.small = new OffscreenCanvas(...CELLS).getContext("2d", { willReadFrequently: true });
    this.seen = null;
    this.sentAt = this.movedAt = this.stillAt = 0;
    this.pace = 1000;
    this.onItsWay = false;
    this.inView = false;
    for (const key of document.querySelectorAll("[data-camera]")) {
      key.addEventListener("click", () => this.use(key.dataset.camera));
    }
    navigator.mediaDevices?.addEventListener?.("devicechange", () => {
      if (this.kind === "here" && !this.stream) this.use("here");
    });
    setInterval(() => this.tick(), TICK);
    this.use(read() || (hasOwn ? "own" : "here"));
  }

  async use(kind) {
    if (kind === "own" && !this.hasOwn) kind = "here";
    this.kind = kind;
    keep(kind);
    for (const key of document.querySelectorAll("[data-camera]")) {
      key.setAttribute("aria-pressed", String(key.dataset.camera === kind));
    }
    this.stop();
    this.line.reconnect(kind === "own" ? "?camera=own" : "");
    if (kind === "here") await this.start();
    else this.show(kind === "off" ? word("off") : word("starting"));
  }

  async start() {
    if (!navigator.mediaDevices?.getUserMedia) return this.show(word("insecure"), true);
    this.show(word("starting"));
    try {
      const wanted = { facingMode: { ideal: "environment" }, width: { ideal: 1280 }, height: { ideal: 720 } };
      const stream = await navigator.mediaDevices.getUserMedia({ video: wanted, audio: false });
      if (this.kind !== "here") {
        stream.getTracks().forEach((track) => track.stop());
        return;
      }
      this.stream = stream;
      stream.getVideoTracks()[0].addEventListener("ended", () => {
        this.stop();
        this.show(word("ended"), true);
      });
      this.video.srcObject = stream;
      await this.video.play();
      this.video.hidden = false;
      this.show("");
    } catch (error) {
      const why = { NotAllowedError: "denied", SecurityError: "denied", NotReadableError: "busy", AbortError: "busy" };
      if (this.kind === "here") this.show(word(why[error.name] ?? "none"), true);
    }
  }

  stop() {
    this.stream?.getTracks().forEach((track) => track.stop());
    this.stream = null;
    this.video.hidden = this.image.hidden = true;
    this.marks.replaceChildren();
    this.trouble.hidden = true;
    this.seen = null;
  }

  show(sentence, isTrouble = false) {
    this.none.textContent = isTrouble ? "" : sentence;
    this.none.hidden = isTrouble || !sentence;
    this.say(isTrouble ? sentence : "");
  }

  say(sentence) {
    if (this.trouble.textContent !== sentence) this.trouble.textContent = sentence;
    this.trouble.hidden = !sentence;
  }

  tick() {
    const now = performance.now();
    if (!this.stream || !this.line.open || document.hidden || this.video.readyState < 2) return;
    if (this.moved()) this.movedAt = now;
    if (this.onItsWay && now - this.sentAt < OVERDUE) return;
    if (now - this.movedAt < SETTLE || now - this.sentAt >= this.pace) this.send(now);
    else if (this.inView && now - Math.max(this.sentAt, this.stillAt) >= STILL) {
      this.stillAt = now;
      this.line.say({ do: "still" });
    }
  }

  // Whether the picture differs from the one before in any of some hundred cells.
  moved() {
    const [width, height] = CELLS;
    this.small.drawImage(this.video, 0, 0, width, height);
    const pixels = this.small.getImageData(0, 0, width, height).data;
    const before = this.seen;
    const now = new Uint8Array(width * height);
    let most = 0;
    for (let at = 0; at < now.length; at++) {
      now[at] = (pixels[4 * at] + 2 * pixels[4 * at + 1] + pixels[4 * at + 2]) >> 2;
      if (before) most = Math.max(most, Math.abs(now[at] - before[at]));
    }
    // Compared with the last picture that counted as moved, so that slow movement adds up.
    if (before && most < MOVED) return false;
    this.seen = now;
    return true;
  }

  send(now) {
    const scale = Math.min(1, WIDEST / this.video.videoWidth);
    this.canvas.width = Math.round(this.video.videoWidth * scale);
    this.canvas.height = Math.round(this.video.videoHeight * scale);
    this.canvas.getContext("2d").drawImage(this.video, 0, 0, this.canvas.width, this.canvas.height);
    this.onItsWay = true;
    this.sentAt = now;
    this.canvas.toBlob((blob) => {
      if (blob) this.line.frame(blob);
      else this.onItsWay = false;
    }, "image/jpeg", QUALITY);
  }

  // The server's answer to a frame.
  sighted({ marks, pace, trouble }) {
    this.onItsWay = false;
    this.pace = pace || 1000;
    this.inView = marks.length > 0;
    if (this.stream || this.kind === "own") this.say(trouble);
    this.outline(marks);
  }

  outline(marks) {
    const shown = this.image.hidden ? this.video : this.image;
    const width = shown.videoWidth || shown.naturalWidth || 4;
    const height = shown.videoHeight || shown.naturalHeight || 3;
    this.marks.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const drawn = [];
    for (const { corners, number, sure } of marks) {
      const points = corners.map(([x, y]) => `${x * width},${y * height}`).join(" ");
      for (const kind of ["under", sure ? "sure" : "unsure"]) {
        const polygon = svg("polygon", { points, class: kind });
        drawn.push(polygon);
      }
      const left = Math.min(...corners.map(([x]) => x)) * width;
      const top = Math.min(...corners.map(([, y]) => y)) * height;
      const text = svg("text", { x: left, y: Math.max(28, top - 10), "stroke-width": 6 });
      text.textContent = sure ? number : `${number} ?`;
      drawn.push(text);
    }
    this.marks.replaceChildren(...drawn);
  }

  // A frame of the server's own camera.
  picture(blob) {
    if (this.kind !== "own") return;
    const before = this.image.src;
    this.image.src = URL.createObjectURL(blob);
    if (before) URL.revokeObjectURL(before);
    this.image.hidden = false;
    this.none.hidden = true;
  }
}

function svg(name, attributes) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

function read() {
  try { return localStorage.getItem(KEPT); } catch { return null; }
}

function keep(kind) {
  try { localStorage.setItem(KEPT, kind); } catch { /* it is asked again then */ }
}
