// The keyboard: Enter and the foot switch do the next step, a handheld scanner types fast.
const FAST = 45; // milliseconds between keys; no hand is that quick for a whole number
const SHORTEST = 5;

export class Keys {
  constructor({ foot, next, scanned, typing, cut }) {
    Object.assign(this, { foot, next, scanned, typing, cut });
    this.burst = "";
    this.at = -Infinity;
    document.addEventListener("keydown", (event) => this.down(event), true);
  }

  down(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const now = event.timeStamp; // when the key went down, not when a busy page came to it
    const fast = now - this.at <= FAST;
    if (event.key.length === 1) {
      if (event.repeat) return;
      this.at = now;
      this.burst = fast ? this.burst + event.key : event.key;
      this.catchTyping(event);
      return;
    }
    if (event.key === "Enter" || event.key === "Tab") {
      const line = this.burst;
      const whole = line.length >= SHORTEST && now - this.at <= 2 * FAST;
      this.burst = "";
      if (whole) {
        event.preventDefault();
        event.stopPropagation();
        this.takeBack(line);
        this.scanned(line);
        return;
      }
    }
    if (event.key !== "Enter" && event.key !== this.foot) return;
    // A key held down is one press.
    if (event.repeat) { event.preventDefault(); return; }
    if (this.cut()) return;
    const focused = document.activeElement;
    const elsewhere = event.key === "Enter" && focused && focused.matches("a, button, input, select, textarea, summary");
    if (elsewhere) return;
    event.preventDefault();
    this.next();
  }

  // Keys that go nowhere begin the number in the field, once it is clear that no scanner types;
  // what a scanner typed without an Enter at its end stands there too, for a person to send.
  catchTyping(event) {
    const focused = document.activeElement;
    if (focused && focused.matches("input, select, textarea")) return;
    if (event.key === " " && focused?.matches("button, summary, a")) return;
    if (this.cut()) return;
    event.preventDefault();
    clearTimeout(this.later);
    const begun = this.burst;
    this.later = setTimeout(() => {
      if (!begun || this.burst !== begun) return;
      this.typing.value += begun;
      this.typing.focus();
      this.burst = "";
    }, 2 * FAST);
  }

  // What a scanner typed into a field was not meant for it.
  takeBack(line) {
    const focused = document.activeElement;
    clearTimeout(this.later);
    if (focused?.matches("input, textarea") && focused.value.endsWith(line)) {
      focused.value = focused.value.slice(0, -line.length);
    }
  }
}
