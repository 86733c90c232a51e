// Connects to the watch, and above all knows when it no longer is: a page that stands still must
// never go on showing a temperature.

import {drawCurve} from "/curve.js";
import {blindState, draw} from "/draw.js";
import {Marks} from "/marks.js";
import {Sound} from "/sound.js";

const SILENT_MS = 3500;    // after so long without a state the page is blind
const STALE_MS = 2500;     // a message so much later than the quickest has lain about somewhere
const SAME_MS = 500, CLOCK_SET_MS = 2000;
const RECONNECT_MS = 3000;
const BLIND_EVERY_S = 3, BLIND_REMINDER_S = 30;

const at = (id) => document.getElementById(id);
const sound = new Sound();
const marks = new Marks(at("marks"), heard);
let source = null;
let state = null;          // the last state that the watch sent
let curve = null;
let blind = false;         // nothing is heard, or only that the watch itself stands still
let cut = false;           // nothing is heard at all
let everHeard = false;
let elsewhere = false;     // another tab of this browser has the stream
let endedAt = null;
let refusal = "";          // why the laptop answers, but not with states
let lastCue = null;
let hushedCue = -1;        // cues up to this one were heard on this phone
let hushedBlind = false;
let quickest = Infinity, quickestHere = Infinity;
let heardAt = clock(), openedAt = clock();

// Two clocks: one may stand still while the phone sleeps, the other may be set.
function clock() {
  return {steady: performance.now(), wall: Date.now()};
}

function since(then) {
  return Math.max(performance.now() - then.steady, Date.now() - then.wall);
}

function connect() {
  source?.close();
  elsewhere = false;
  source = new EventSource("/events");
  openedAt = clock();
  quickestHere = Infinity;
  source.addEventListener("error", () => {
    if (source.readyState === EventSource.CLOSED) askWhy();
  });
  source.addEventListener("hello", (event) => {
    const hello = JSON.parse(event.data);
    sound.table = hello;
    marks.allow(hello.may_mark);
    at("caution").textContent = hello.caution;
    if (hello.speak && !everHeard) setVoice(true);
  });
  source.addEventListener("curve", (event) => {
    curve = JSON.parse(event.data);
    drawCurve(at("curve"), curve, !blind && Boolean(state?.figure));
  });
  source.addEventListener("state", (event) => take(JSON.parse(event.data)));
  source.addEventListener("elsewhere", () => {
    source.close();
    elsewhere = true;
    refusal = "The page is open in another tab of this browser: touch here to have it here.";
    goBlind();
  });
}

const REFUSALS = {
  403: "The watch refuses this page. A watch that was started again has a new link: open that one.",
  503: "Too many pages are open: close one of them.",
};

// Only an answer ends the browser's own attempts; its status is not told to the stream.
async function askWhy() {
  const limit = new AbortController();
  try {
    refusal = REFUSALS[(await fetch("/events", {signal: limit.signal})).status] ?? "";
  } catch {
    refusal = "";
  }
  limit.abort();
}

function take(next) {
  if (!isFresh(Date.now() - next.t)) return;
  heardAt = clock();
  everHeard = true;
  cut = false;
  refusal = "";
  state = next;
  setBlind(next.stalled);
  show(state);
  cues(next.cues);
}

// A message that lay about somewhere (a phone that slept, a wire that stood still) says nothing of
// now. Known by its lag: much longer than the quickest message ever had. When all of a connection's
// messages are late alike, a clock was set.
function isFresh(lag) {
  quickestHere = Math.min(quickestHere, lag);
  if (lag - quickest > STALE_MS) {
    if (lag - quickestHere > SAME_MS || since(openedAt) < CLOCK_SET_MS) {
      if (since(openedAt) > RECONNECT_MS) connect();
      return false;
    }
    quickest = quickestHere;
  }
  quickest = Math.min(quickest, lag);
  return true;
}

// Blindness that the watch could not tell by itself; it sounds here at once, and then insists.
function setBlind(now) {
  if (now && !blind) sound.cue("blind", () => "Signal lost.");
  if (!now && blind) {
    hushedBlind = false;
    sound.due.delete("blind");
  }
  blind = now;
}

function show(shown) {
  draw({...shown, unheard: blind ? !hushedBlind : shown.unheard && !hushedHere(shown)});
  marks.show(shown.marks);
}

function hushedHere(shown) {
  return hushedCue >= 0 && lastCue !== null && lastCue <= hushedCue && !marks.may && shown.unheard;
}

// New signals; on the first state only what still insists counts.
function cues(list) {
  const newest = list.reduce((most, cue) => Math.max(most, cue.n), lastCue ?? 0);
  if (lastCue !== null) {
    const fresh = list.filter((cue) => cue.n > lastCue);
    const urgency = (cue) => sound.table?.tones[cue.tone]?.urgency ?? 0;
    const top = fresh.reduce((best, cue) => (!best || urgency(cue) >= urgency(best) ? cue : best), null);
    if (top) sound.cue(top.tone, () => state.cues.find((cue) => cue.n === top.n)?.say ?? top.say);
  }
  lastCue = newest;
}

function repeats() {
  if (blind) {
    return [{tone: "blind", every_s: hushedBlind ? BLIND_REMINDER_S : BLIND_EVERY_S, say: "Signal lost."}];
  }
  const list = state?.repeats ?? [];
  if (marks.may || lastCue === null || lastCue > hushedCue) return list;
  return list.filter((each) => each.tone === "blind").map((each) => ({...each, every_s: BLIND_REMINDER_S}));
}

// Heard, by button or key: what insists is quiet on this phone at once.
function heard() {
  hushedCue = lastCue ?? 0;
  if (blind) hushedBlind = true;
  sound.due.clear();
  if (cut) goBlind();
  else if (state) show(state);
}

function goBlind() {
  const first = !cut;
  cut = true;
  setBlind(true);
  const seconds = Math.round(since(heardAt) / 1000);
  draw({...blindState(state, seconds, refusal), unheard: !hushedBlind});
  if (first) drawCurve(at("curve"), curve, false);
}

function tick() {
  sound.wake();
  const ended = state?.state === "ended";
  const silent = since(heardAt);
  if (silent > SILENT_MS && !ended) goBlind();
  if (!elsewhere && silent > SILENT_MS && since(openedAt) > RECONNECT_MS) connect();
  if (ended) showEnd();
  sound.repeat(ended ? [] : repeats(), performance.now());
}

// The end is heard once, and its age goes on though nothing more comes.
function showEnd() {
  if (endedAt === null) {
    endedAt = clock();
    sound.cue("ended", () => "The watch has ended.");
  }
  at("link").textContent = `The watch ended ${Math.round(since(endedAt) / 1000)} s ago.`;
}

function pressed(button, on) {
  button.setAttribute("aria-pressed", String(on));
  button.querySelector("small").textContent = on ? "on" : "off: tap";
}

// What the button says is what is true: a phone call may end the sound, too.
function showTones() {
  pressed(at("tones"), sound.on);
  document.body.dataset.tones = sound.on ? "on" : "off";
}

function setVoice(on) {
  sound.voiceOn = on;
  pressed(at("voice"), on);
}

sound.onChange = showTones;
at("tones").addEventListener("click", async () => {
  if (sound.on) await sound.lock();
  else await sound.unlock();
  showTones();
  at("advice").textContent = sound.on
    ? "Turn the volume up. No loudness can be promised beside an engine: keep the page in sight."
    : "Sound is off: watch the page.";
  if (sound.on) keepAwake();
});
at("voice").addEventListener("click", async () => {
  if (!window.speechSynthesis) {
    at("voice").querySelector("small").textContent = "none here";
    return;
  }
  setVoice(!sound.voiceOn);
  if (sound.voiceOn && !sound.on) at("tones").click();
});

const LIGHTS = ["auto", "night", "sun"];
at("light").addEventListener("click", () => {
  const root = document.documentElement;
  const next = LIGHTS[(LIGHTS.indexOf(root.dataset.light ?? "auto") + 1) % LIGHTS.length];
  root.dataset.light = next;
  at("light").querySelector("small").textContent = next;
  drawCurve(at("curve"), curve, !blind && Boolean(state?.figure));
});

// Over plain http most browsers refuse this; the page then says so.
async function keepAwake() {
  try {
    await navigator.wakeLock.request("screen");
  } catch {
    at("advice").textContent += " This browser cannot keep the screen on: set its timeout to long.";
  }
}

document.addEventListener("visibilitychange", () => {
  if (document.visibilityState !== "visible") return;
  if (elsewhere) connect();
  tick();
  if (sound.on) navigator.wakeLock?.request("screen").catch(() => {});
});
addEventListener("resize", () => drawCurve(at("curve"), curve, !blind && Boolean(state?.figure)));
addEventListener("pageshow", tick);
addEventListener("pointerdown", () => elsewhere && connect());

try {
  new Worker("/tick.js").onmessage = tick;
} catch {
  setInterval(tick, 250);
}
connect();
