// What the page knows, as a pure function of what happened: step(model, message, now) gives the
// next model and what is to be done (connect, sound, send). Nothing here touches the browser, so
// that every rule is tested without one. `now` is {steady, wall} in milliseconds: one clock may
// stand still while the phone sleeps, the other may be set.

import {typed} from "/pad.js";
import {T, fill, spokenSpan} from "/texts.js";

export const SILENT_MS = 3500;   // after so long without a state the page is blind
const STALE_MS = 2500;           // a message so much later than the quickest was delayed on the way
const SAME_MS = 500, CLOCK_SET_MS = 2000;
const RECONNECT_MS = 3000;
const BLIND_EVERY_S = 3, BLIND_REMINDER_S = 30;
export const SLEPT_MS = 5000;    // the page's clock comes four times a second
const SLEPT_SHOWN_MS = 60000;
export const TAKE_BACK_MS = 10000;

export function start(now) {
  return {
    right: "watch", caution: "", table: null, state: null, curve: null, visit: null,
    blind: false, cut: false, everHeard: false, elsewhere: false, refusal: "",
    lastCue: null, hushedCue: -1, hushedBlind: false, quickest: Infinity, quickestHere: Infinity,
    heardAt: now, openedAt: now, tickAt: now, now, slept: null, endedAt: null, mark: null,
    sending: {}, sheet: null, pad: null, understood: null, told: "",
    sound: false, voice: false, awake: "off", light: "auto",
  };
}

export const since = (now, then) => Math.max(now.steady - then.steady, now.wall - then.wall);
const ended = (model) => model.state?.state === "ended";
export const mayMark = (model) => model.right !== "watch";
export const mayRun = (model) => model.right === "run";

export function step(model, message, now) {
  const act = ACTS[message.kind];
  const [next, effects] = act ? act({...model, now}, message, now) : [model, []];
  return [next, effects];
}

const ACTS = {
  hello: (m, {body}) => {
    const voice = m.voice || (body.speak && !m.everHeard);
    return [{...m, right: body.right, caution: body.caution, table: body, voice, refusal: ""}, []];
  },
  state: (m, {body}, now) => taken(m, body, now),
  curve: (m, {body}) => [{...m, curve: body}, []],
  visit: (m, {body}) => visited(m, body),
  elsewhere: (m, _, now) => goBlind({...m, elsewhere: true, refusal: T.elsewhere}, now),
  refused: (m, {status}) => [{...m, refusal: T[`refused_${status}`] ?? ""}, []],
  tick: (m, _, now) => ticked(m, now),
  visible: (m, _, now) => m.elsewhere ? connect(m, now) : ticked(m, now),
  mark: (m, message) => marked(m, message),
  "take-back": (m, _, now) => canTakeBack(m, now)
    ? marked(m, {name: "withdraw", note: ""})
    : [{...m, sheet: m.sheet === "list" ? null : "list"}, []],
  // The watch may have noted a mark before the answer to it is here: then nothing is left to say.
  sent: (m, {name, ok, text}) => ok && !m.sending[name] ? [m, []] : [{...m, sending: {...m.sending, [name]: ok ? "sent" : "failed"},
    told: ok ? "" : text || m.told}, []],
  open: (m, {sheet, pad}) => [{...m, sheet: m.sheet === sheet ? null : sheet, pad: pad ?? null,
    understood: null, told: ""}, []],
  key: (m, {key}) => keyed(m, key),
  understood: (m, {text, of}) => [of === m.pad?.asked ? {...m, understood: text} : m, []],
  done: (m, {ok, text}) => [{...m, told: ok ? "" : text}, []],
  do: (m, {body}) => mayRun(m) ? [{...m, told: ""}, [["post", "/do", body]]] : [m, []],
  sound: (m, {on}) => [{...m, sound: on}, []],
  voice: (m) => [{...m, voice: !m.voice}, []],
  awake: (m, {how}) => [{...m, awake: how}, []],
  light: (m) => [{...m, light: LIGHTS[(LIGHTS.indexOf(m.light) + 1) % LIGHTS.length]}, []],
  woken: (m) => [{...m, slept: null}, []],
};

const LIGHTS = ["auto", "night", "sun"];

function connect(m, now) {
  return [{...m, elsewhere: false, openedAt: now, quickestHere: Infinity}, [["connect"]]];
}

function taken(m, body, now) {
  const [known, fresh, again] = freshness(m, now.wall - body.t, now);
  if (!fresh) return again ? connect(known, now) : [known, []];
  const [seen, effects] = withBlind({...known, heardAt: now, everHeard: true, cut: false,
    refusal: "", state: body, sending: noted(known, body), mark: newest(known, body, now)}, body.stalled);
  const [heard, more] = cues(seen, body.cues);
  return ended(heard) && heard.endedAt === null
    ? [{...heard, endedAt: now}, [...effects, ...more, ["cue", "ended", T.ended]]]
    : [ended(heard) ? heard : {...heard, endedAt: null}, [...effects, ...more]];
}

// A message that lay about somewhere (a phone that slept, a wire that stood still) says nothing of
// now. Known by its lag: much longer than the quickest message ever had. When all of a connection's
// messages are late alike, a clock was set.
function freshness(m, lag, now) {
  const quickestHere = Math.min(m.quickestHere, lag);
  let quickest = m.quickest;
  if (lag - quickest > STALE_MS) {
    if (lag - quickestHere > SAME_MS || since(now, m.openedAt) < CLOCK_SET_MS) {
      return [{...m, quickestHere}, false, since(now, m.openedAt) > RECONNECT_MS];
    }
    quickest = quickestHere;
  }
  return [{...m, quickestHere, quickest: Math.min(quickest, lag)}, true, false];
}

// Only what the watch has recorded is called noted.
function noted(m, body) {
  const left = Object.entries(m.sending).filter(([name]) =>
    name === "withdraw" ? body.last?.key === m.state?.last?.key : body.marks[name] === m.state?.marks[name]);
  return Object.fromEntries(left);
}

function newest(m, body, now) {
  if (!body.last) return null;
  if (m.mark?.key === body.last.key) return m.mark;
  return {...body.last, at: m.state ? now : {steady: -Infinity, wall: -Infinity}};
}

export const canTakeBack = (m, now) => m.mark !== null && since(now, m.mark.at) < TAKE_BACK_MS;

// Blindness that the watch could not tell by itself; it sounds here at once, and then insists.
function withBlind(m, blind) {
  if (blind && !m.blind) return [{...m, blind}, [["cue", "blind", T.signal_lost]]];
  if (!blind && m.blind) return [{...m, blind, hushedBlind: false}, [["settle", "blind"]]];
  return [{...m, blind}, []];
}

function goBlind(m, now) {
  return withBlind({...m, cut: true}, true);
}

// New signals; on the first state only what still insists counts.
function cues(m, list) {
  const newestCue = list.reduce((most, cue) => Math.max(most, cue.n), m.lastCue ?? 0);
  const next = {...m, lastCue: newestCue};
  if (m.lastCue === null) return [next, []];
  const urgency = (cue) => m.table?.tones[cue.tone]?.urgency ?? 0;
  const top = list.filter((cue) => cue.n > m.lastCue)
    .reduce((best, cue) => (!best || urgency(cue) >= urgency(best) ? cue : best), null);
  return [next, top ? [["cue", top.tone, top.say, top.n]] : []];
}

function ticked(m, now) {
  const gap = since(now, m.tickAt);
  let next = {...m, tickAt: now}, effects = [];
  if (gap > SLEPT_MS && m.everHeard && !ended(m)) {
    next = {...next, slept: {seconds: Math.round(gap / 1000), at: now}};
    effects = [["cue", "trouble", fill(T.slept, {span: spokenSpan(gap)})]];
  } else if (m.slept && since(now, m.slept.at) > SLEPT_SHOWN_MS) {
    next = {...next, slept: null};
  }
  const silent = since(now, m.heardAt);
  if (silent > SILENT_MS && !ended(m) && !idle(m)) {
    const [blind, more] = goBlind(next, now);
    [next, effects] = [blind, [...effects, ...more]];
  }
  if (!m.elsewhere && silent > SILENT_MS && since(now, m.openedAt) > RECONNECT_MS) {
    const [again, more] = connect(next, now);
    [next, effects] = [again, [...effects, ...more]];
  }
  return [next, [...effects, ["repeat", ended(m) ? [] : repeats(next)]]];
}

// Before a watch and after it there is no temperature that could be lost; only the link can be.
export const idle = (m) => m.visit !== null && m.visit.stage !== "watch" && m.visit.stage !== "opening";
export const cutOff = (m) => since(m.now, m.heardAt) > SILENT_MS;

// When this phone was told that it is heard and may not mark, only it is quiet.
export const hushedHere = (m) =>
  m.hushedCue >= 0 && m.lastCue !== null && m.lastCue <= m.hushedCue && !mayMark(m);
export const unheard = (m) =>
  m.blind ? !m.hushedBlind : Boolean(m.state?.unheard) && !hushedHere(m);

function repeats(m) {
  const blind = {tone: "blind", every_s: m.hushedBlind ? BLIND_REMINDER_S : BLIND_EVERY_S, say: T.signal_lost};
  if (m.blind) return [blind];
  const list = m.state?.repeats ?? [];
  if (!hushedHere(m)) return list;
  return list.filter((each) => each.tone === "blind").map((each) => ({...each, every_s: BLIND_REMINDER_S}));
}

function marked(m, {name, note}) {
  const heard = name === "acknowledge";
  const hushed = heard ? {hushedCue: m.lastCue ?? 0, hushedBlind: m.blind || m.hushedBlind, slept: null} : {};
  const effects = heard ? [["settle"]] : [];
  if (!mayMark(m)) return [{...m, ...hushed, sending: heard ? {acknowledge: "here"} : m.sending}, effects];
  const next = {...m, ...hushed, told: "", sending: {...m.sending, [name]: "sending"}};
  return [next, [...effects, ["vibrate", 40], ["post", "/mark", {mark: name, note: note ?? ""}, name]]];
}

// The number pad: what is typed is sent to be understood, and only then to be noted.
function keyed(m, key) {
  if (!m.pad) return [m, []];
  const pad = typed(m.pad, key);
  if (!pad.asks) return [{...m, pad: {...pad, asked: ""}, understood: null}, []];
  const asked = JSON.stringify(pad.asks);
  return asked === m.pad.asked
    ? [{...m, pad: {...pad, asked}}, []]
    : [{...m, pad: {...pad, asked}, understood: null}, [["understand", pad.asks, asked]]];
}

// The visit comes from the laptop, and what is shown is what it says: a press that came twice, or
// from two phones, changes nothing here. A new watch begins with nothing of the one before.
function visited(m, body) {
  const moved = m.visit?.stage !== body.stage;
  const settled = m.visit?.n !== body.n;  // what was asked for has been taken
  if (!moved) return [told({...m, visit: body, sheet: settled ? null : m.sheet, pad: settled ? null : m.pad}), []];
  const next = told({...m, visit: body, sheet: null, pad: null, told: ""});
  return [body.stage === "opening" || (body.stage === "watch" && m.visit === null) ? {...next, ...NO_WATCH} : next, []];
}

const NO_WATCH = {state: null, curve: null, lastCue: null, hushedCue: -1, mark: null, sending: {}, endedAt: null, blind: false};

// While a watch runs only its states show that it is alive.
const told = (m) => idle(m)
  ? {...m, heardAt: m.now, everHeard: true, refusal: "", cut: false, blind: false} : m;
