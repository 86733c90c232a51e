// The buttons: each tap is one mark, and only what the recording has is called noted.

const LIMIT_MS = 4000;
const KEYS = {o: "plug-out", s: "stream", d: "drip", x: "no-drip", i: "plug-in", t: "topped-up", l: "level-set", " ": "acknowledge"};

export class Marks {
  constructor(section, onHeard) {
    this.buttons = new Map([...section.querySelectorAll("button")].map((b) => [b.dataset.mark, b]));
    this.section = section;
    this.onHeard = onHeard;
    this.may = false;
    this.seen = null;
    for (const [name, button] of this.buttons) button.addEventListener("click", () => this.set(name));
    document.addEventListener("keydown", (event) => this.key(event));
  }

  allow(may) {
    this.may = may;
    this.section.dataset.may = String(may);
  }

  // A pedal or remote that types a key marks like the keyboard of the laptop; others say heard.
  key(event) {
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
    if (["Tab", "Shift"].includes(event.key)) return;
    if (["Enter", " "].includes(event.key) && event.target.closest?.("button")) return;
    const name = KEYS[event.key.toLowerCase()];
    if (name) {
      event.preventDefault();
      this.set(name);
    } else if (document.body.dataset.unheard === "true") {
      this.set("acknowledge");
    }
  }

  async set(name) {
    if (name === "acknowledge") this.onHeard();
    const button = this.buttons.get(name), note = button.querySelector("small");
    if (!this.may) {
      if (name === "acknowledge") note.textContent = "on this phone";
      return;
    }
    button.dataset.failed = "false";
    note.textContent = "sending…";
    navigator.vibrate?.(40);
    const limit = new AbortController();
    const timer = setTimeout(() => limit.abort(), LIMIT_MS);
    try {
      const answer = await fetch("/mark", {
        method: "POST", body: JSON.stringify({mark: name}), signal: limit.signal,
        headers: {"Content-Type": "application/json"},
      });
      if (!answer.ok) throw new Error(String(answer.status));
      if (note.textContent === "sending…") note.textContent = "sent";
    } catch {
      button.dataset.failed = "true";
      note.textContent = "NOT NOTED: again";
    } finally {
      clearTimeout(timer);
    }
  }

  // `marks` holds the time of the last mark of each name that the watch has recorded.
  show(marks) {
    for (const [name, button] of this.buttons) {
      const time = marks[name];
      if (!time || this.seen?.[name] === time) continue;
      button.dataset.noted = "true";
      button.dataset.failed = "false";
      button.querySelector("small").textContent = `noted ${time}`;
    }
    this.seen = marks;
  }
}
