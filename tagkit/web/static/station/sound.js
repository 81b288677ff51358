// Tones that say what the answer says: up for go, low and thrice for stop, a question for ask.
import { word } from "./words.js";

const TONES = {
  go: [[660, 0, 0.14], [990, 0.16, 0.28]],
  stop: [[196, 0, 0.22], [196, 0.3, 0.22], [196, 0.6, 0.36]],
  ask: [[523, 0, 0.12], [523, 0.18, 0.12], [659, 0.36, 0.2]],
};
const KEPT = "tagkit.sound";

export class Sound {
  constructor(key) {
    this.key = key;
    this.on = true;
    try { this.on = localStorage.getItem(KEPT) !== "off"; } catch { /* then it is on */ }
    key.addEventListener("click", () => {
      this.on = !this.on;
      try { localStorage.setItem(KEPT, this.on ? "on" : "off"); } catch { /* for this page only */ }
      this.tell();
      if (this.on) this.play("go");
    });
    // Browsers make no sound before somebody has touched the page.
    for (const event of ["pointerdown", "keydown"]) {
      addEventListener(event, () => this.wake(), { capture: true });
    }
    this.tell();
  }

  wake() {
    this.context ??= new AudioContext();
    if (this.context.state === "suspended") this.context.resume().then(() => this.tell()).catch(() => {});
  }

  tell() {
    const { dataset } = this.key;
    this.key.setAttribute("aria-pressed", String(this.on));
    this.key.textContent = this.on ? dataset.on : dataset.off;
    if (this.on && this.context?.state === "suspended") this.key.textContent = word("press_for_sound");
  }

  play(name) {
    document.body.dataset.sounded = name;
    if (!this.on || !TONES[name]) return;
    this.context ??= new AudioContext();
    if (this.context.state === "suspended") { this.tell(); return; }
    const start = this.context.currentTime + 0.02;
    for (const [pitch, after, length] of TONES[name]) {
      const tone = this.context.createOscillator();
      const loud = this.context.createGain();
      tone.type = name === "stop" ? "square" : "triangle";
      tone.frequency.value = pitch;
      loud.gain.setValueAtTime(0, start + after);
      loud.gain.linearRampToValueAtTime(0.6, start + after + 0.015);
      loud.gain.setValueAtTime(0.6, start + after + length - 0.03);
      loud.gain.linearRampToValueAtTime(0, start + after + length);
      tone.connect(loud).connect(this.context.destination);
      tone.start(start + after);
      tone.stop(start + after + length);
    }
  }
}
