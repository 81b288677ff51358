// What was done while the connection was lost: kept here, sent when it is back, each note once.
import { word } from "./words.js";
import { tagIn } from "./tag.js";

const PLACE = "tagkit.noted";

export class Notes {
  constructor({ person }) {
    this.person = person;
    this.form = document.getElementById("note");
    this.list = document.getElementById("note-list");
    this.section = document.getElementById("notes");
    this.problem = document.getElementById("note-problem");
    this.recorded = [];
    this.sending = false;
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.keep();
    });
    this.show();
  }

  // A handheld scanner works without any connection.
  scanned(line) {
    const tag = tagIn(line);
    if (tag?.startsWith("T-")) this.form.elements.truck.value = tag;
    else if (tag?.startsWith("B-")) this.form.elements.battery.value = tag;
    else this.tell(word("bad_number"));
  }

  keep() {
    const truck = tagIn(this.form.elements.truck.value);
    const battery = tagIn(this.form.elements.battery.value);
    if (!truck || !battery) return this.tell(word("bad_number"));
    if (!truck.startsWith("T-")) return this.tell(word("not_truck"));
    if (!battery.startsWith("B-")) return this.tell(word("not_battery"));
    const note = { key: crypto.randomUUID?.() ?? fallbackKey(), truck, battery, at: new Date().toISOString(), by: this.person };
    if (!write([...read(), note])) return this.tell(word("not_kept"));
    this.form.reset();
    this.tell("");
    this.show();
  }

  tell(sentence) {
    this.problem.textContent = sentence;
    this.problem.hidden = !sentence;
  }

  async send() {
    if (this.sending) return;
    this.sending = true;
    try {
      for (const note of read()) {
        const sent = await this.sendOne(note);
        if (!sent) break;
      }
    } finally {
      this.sending = false;
      this.show();
    }
  }

  async sendOne(note) {
    let answer;
    try {
      answer = await fetch("/station/noted", {
        method: "POST",
        headers: {
          "Content-Type": "application/json",
          "Accept": "application/json",
          "X-CSRF": document.querySelector('meta[name="csrf"]').content,
        },
        body: JSON.stringify({ key: note.key, truck: note.truck, battery: note.battery, at: note.at, by: note.by }),
      });
    } catch {
      return false; // cut off again: it stays
    }
    if (answer.ok) {
      write(read().filter((one) => one.key !== note.key));
      this.recorded.push(note);
      return true;
    }
    const told = await answer.json().catch(() => ({}));
    const problem = answer.status === 403 ? word("shift_needed") : [told.problem, told.remedy].filter(Boolean).join(". ");
    write(read().map((one) => (one.key === note.key ? { ...one, problem } : one)));
    return answer.status < 500;
  }

  show() {
    const kept = read();
    this.section.hidden = kept.length + this.recorded.length === 0;
    const lines = [
      ...this.recorded.map((note) => this.line(note, word("recorded"), false)),
      ...kept.map((note) => this.line(note, note.problem || word("kept"), Boolean(note.problem))),
    ];
    this.list.replaceChildren(...lines);
  }

  line(note, state, mayDiscard) {
    const made = document.createElement("li");
    const time = new Date(note.at).toLocaleTimeString(document.documentElement.lang, { hour: "2-digit", minute: "2-digit", hour12: false });
    const what = document.createElement("b");
    what.textContent = `${note.battery} → ${note.truck}`;
    const how = document.createElement("span");
    how.textContent = `${word("noted_at")} ${time}: ${state}`;
    made.append(what, how);
    if (mayDiscard) {
      const key = document.createElement("button");
      key.className = "key";
      key.type = "button";
      key.textContent = word("discard");
      key.addEventListener("click", () => {
        write(read().filter((one) => one.key !== note.key));
        this.show();
      });
      made.append(key);
    }
    return made;
  }
}

function read() {
  try {
    const kept = JSON.parse(localStorage.getItem(PLACE) ?? "[]");
    return Array.isArray(kept) ? kept : [];
  } catch {
    return [];
  }
}

function write(notes) {
  try {
    localStorage.setItem(PLACE, JSON.stringify(notes));
    return true;
  } catch {
    return false;
  }
}

function fallbackKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");
}
