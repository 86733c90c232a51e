// The shell: brings what happens to the model, does what the model asks for, and draws.

import {Awake} from "/awake.js";
import {start, step} from "/model.js";
import {render} from "/preact.js";
import {Sound} from "/sound.js";
import {announcement, attributes, title} from "/shown.js";
import {T} from "/texts.js";
import {view} from "/view.js";

let keys = {};             // those of the laptop, with what each marks
const LIMIT_MS = 4000;
const at = (id) => document.getElementById(id);
const clock = () => ({steady: performance.now(), wall: Date.now()});

const sound = new Sound();
const awake = new Awake((how) => happen({kind: "awake", how}));
let model = {...start(clock()), canShare: Boolean(navigator.canShare)};
let source = null;
let announced = "";

export function happen(message) {
  const own = TAPS[message.kind];
  if (own) return own(message);
  const [next, effects] = step(model, message, clock());
  model = next;
  draw();
  for (const [name, ...about] of effects) DO[name](...about);
}

// What needs the tap itself: browsers let sound and video begin only there.
const TAPS = {
  "tap-sound": async () => {
    if (sound.on) {
      await sound.lock();
      awake.end();
    } else {
      awake.begin();
      await sound.unlock();
    }
    happen({kind: "sound", on: sound.on});
  },
  "tap-voice": () => {
    if (!window.speechSynthesis) return;
    happen({kind: "voice"});
    if (model.voice && !sound.on) TAPS["tap-sound"]();
  },
  share: async ({proof}) => {
    const file = new File([await (await fetch(proof.url)).blob()], proof.name, {type: "application/pdf"});
    if (navigator.canShare?.({files: [file]})) await navigator.share({files: [file]}).catch(() => {});
  },
};

const DO = {
  connect,
  cue: (tone, say, number) => sound.cue(tone, () => model.state?.cues.find((cue) => cue.n === number)?.say ?? say),
  settle: (tone) => tone ? sound.due.delete(tone) : sound.due.clear(),
  repeat: (list) => sound.repeat(list, performance.now()),
  vibrate: (ms) => navigator.vibrate?.(ms),
  post: async (path, body, name) => {
    const {ok, text} = await post(path, body);
    happen(name ? {kind: "sent", name, ok, text} : {kind: "done", ok, text});
  },
  understand: async (asks, of) => {
    const {ok, text} = await post("/understand", asks);
    happen({kind: "understood", of, text: ok ? text : ""});
    if (!ok) happen({kind: "done", ok, text});
  },
};

async function post(path, body) {
  const limit = new AbortController();
  const timer = setTimeout(() => limit.abort(), LIMIT_MS);
  try {
    const answer = await fetch(path, {method: "POST", body: JSON.stringify(body), signal: limit.signal,
      headers: {"Content-Type": "application/json"}});
    return {ok: answer.ok, text: (await answer.text()).trim()};
  } catch {
    return {ok: false, text: T.not_reached};
  } finally {
    clearTimeout(timer);
  }
}

function connect() {
  source?.close();
  const mine = source = new EventSource("/events");
  mine.addEventListener("error", () => mine.readyState === EventSource.CLOSED && askWhy());
  for (const kind of ["hello", "state", "curve", "visit", "elsewhere"]) {
    mine.addEventListener(kind, (event) => {
      if (kind === "elsewhere") mine.close();
      const body = JSON.parse(event.data);
      if (kind === "hello") [sound.table, keys] = [body, body.keys];
      happen({kind, body});
    });
  }
}

// Only an answer ends the browser's own attempts; its status is not told to the stream.
async function askWhy() {
  const limit = new AbortController();
  const {status} = await fetch("/icon.svg", {signal: limit.signal, cache: "no-store"}).catch(() => ({}));
  const full = status === 200 ? 503 : status;
  if (full) happen({kind: "refused", status: full});
}

function draw() {
  sound.voiceOn = model.voice;
  render(view(model, happen), at("page"));
  for (const [name, value] of Object.entries(attributes(model))) {
    if (document.body.dataset[name] !== value) document.body.dataset[name] = value;
  }
  if (document.documentElement.dataset.light !== model.light) document.documentElement.dataset.light = model.light;
  if (document.title !== title(model)) document.title = title(model);
  announce();
}

function announce() {
  const {text, kind, urgent} = announcement(model);
  if (kind === announced) return;
  announced = kind;
  at("alarm").textContent = urgent ? text : "";
  at("spoken").textContent = urgent ? "" : text;
}

function tick() {
  sound.wake();
  awake.look(performance.now());
  happen({kind: "tick"});
}

// A pedal or remote that types a key marks like the keyboard of the laptop; others say heard.
document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || model.sheet) return;
  if (["Tab", "Shift"].includes(event.key) || document.body.dataset.page !== "watch") return;
  if (["Enter", " "].includes(event.key) && event.target.closest?.("button")) return;
  const name = keys[event.key.replace(/^Page/, "page-").toLowerCase()];
  if (name) event.preventDefault();
  if (name || document.body.dataset.unheard === "true") happen({kind: "mark", name: name ?? "acknowledge"});
});
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && happen({kind: "visible"}));
addEventListener("pointerdown", () => {
  if (model.elsewhere) happen({kind: "visible"});
  if (model.slept) happen({kind: "woken"});
});
addEventListener("pageshow", tick);
sound.onChange = () => happen({kind: "sound", on: sound.on});

try {
  new Worker("/tick.js").onmessage = tick;
} catch {
  setInterval(tick, 250);
}
// The link's key leaves the address line; the cookie that it was exchanged for stays.
history.replaceState(null, "", "/");
draw();
connect();
