// What is to be seen, as a pure function of the model. Texts go in as text, never as markup.

import {h} from "/preact.js";
import {curve} from "/curve.js";
import {canTakeBack, cutOff, idle, mayMark, mayRun, unheard} from "/model.js";
import {amountPad} from "/pad.js";
import {sheet} from "/sheets.js";
import {visitPage} from "/visit.js";

export const MARKS = [
  ["plug-out", "Plug out"], ["plug-in", "Plug in"], ["acknowledge", "Heard"],
  ["stream", "Stream"], ["drip", "Drip"], ["no-drip", "No drip"],
  ["topped-up", "Topped up"], ["level-set", "Level set"], ["withdraw", "Take back"],
];

export function view(model, send) {
  const shown = shownOf(model);
  if (idle(model)) return visitPage(model, send);
  return h("main", {id: "watch", "data-sheet": model.sheet ?? ""},
    banner(shown),
    strip(model, shown),
    h("div", {id: "stage"}, now(shown), ahead(shown), stepLine(shown), trend(model, shown), trouble(model, shown)),
    hands(model, send),
    model.sheet && sheet(model, shown, send));
}

// The state as it may be claimed: what is not heard of any more is not shown.
export function shownOf(model) {
  if (!model.state && !model.cut) return {...EMPTY, state: "connecting", word: "CONNECTING", act: "Waiting for the watch.", link: model.refusal};
  const state = {...EMPTY, ...model.state, unheard: unheard(model)};
  if (model.endedAt !== null) {
    return {...state, link: `The watch ended ${span(model.now.steady - model.endedAt.steady)} ago.`};
  }
  if (!model.cut) return state;
  const seconds = Math.round(Math.max(model.now.steady - model.heardAt.steady, model.now.wall - model.heardAt.wall) / 1000);
  return {...state, state: "blind", word: "BLIND", act: "No word from the watch: the temperature is not known.",
    fit: true, figure: "", soon: "", time: "", rate: "", facts: [], conditions: [], checks: [], outlook: [], step: null,
    link: model.refusal || `No word from the watch for ${seconds} s. Are laptop and phone in the same network?`,
    link_ok: false};
}

const EMPTY = {
  unit: "", band: "", vehicle: "", clock: "", recording: "", recording_ok: true, happened: [], marks: {},
  log: [], checks: [], outlook: [], step: null, facts: [], conditions: [], figure: "", soon: "", time: "",
  rate: "", link: "", link_ok: true, fit: true, plug_out: false, unheard: false, last: null, clash: "", echo: "",
};

const span = (ms) => ms < 120000 ? `${Math.round(ms / 1000)} s` : `${Math.round(ms / 60000)} min`;
export const parts = (texts) => texts.filter(Boolean).join(" · ");

// What the whole document is told of the state, for colours and for tests.
export function attributes(model) {
  const shown = shownOf(model);
  const stage = idle(model) ? "visit" : "watch";
  return {
    state: idle(model) ? (cutOff(model) ? "cut" : model.visit.stage) : shown.state,
    fit: String(shown.fit), plug: shown.plug_out ? "out" : "in", unheard: String(shown.unheard),
    tones: model.sound ? "on" : "off", awake: model.awake, page: stage, right: model.right,
    sign: model.visit?.verdict?.sign ?? "",
    beat: String(Math.floor(model.now.wall / 1000) % 2),
  };
}

export const title = (model) => {
  const shown = shownOf(model);
  if (idle(model)) return "warmwatch: the visit";
  return shown.figure ? `${shown.figure} ${shown.unit} ${shown.word}` : shown.word;
};

// For screen readers: a change of state is said, not a figure that counts.
export function announcement(model) {
  const shown = shownOf(model);
  if (idle(model)) return {text: "", urgent: false, kind: model.visit.stage};
  const text = `${shown.word}. ${shown.act}`;
  return {text, kind: text.replace(/[\d.,:]+/g, "#"),
    urgent: ["blind", "too-hot", "above", "top-near", "bottom-near", "not-fit", "plug-open", "hold-limit"].includes(shown.state)};
}

export function banner(shown) {
  return h("header", {id: "banner"},
    h("svg", {id: "picture", viewBox: "0 0 120 48", "aria-hidden": "true", focusable: "false"},
      h("path", {class: "bracket", d: "M51 5h-10v38h10M69 5h10v38h-10"}),
      h("circle", {class: "ball", cx: 10, cy: 24, r: 8}),
      h("path", {class: "arrow near", d: "M26 14l10 10l-10 10"}),
      h("path", {class: "arrow top", d: "M86 14l10 10l-10 10"}),
      h("path", {class: "arrow hot", d: "M90 5h26M90 43h26"}),
      h("path", {class: "cross", d: "M41 5l38 38M79 5l-38 38"})),
    h("h1", {id: "word"}, shown.word),
    h("p", {id: "act", "data-long": String(shown.act.length > 44)}, shown.act));
}

const AWAKE = {
  lock: ["Screen kept on", true], video: ["Screen kept on", true],
  lost: ["SCREEN MAY SLEEP: tap Sound", false], off: ["SCREEN MAY SLEEP: tap Sound", false],
};

// The phone's own time goes on every second: a page that stands still is seen to.
export function strip(model, shown) {
  const [awake, kept] = AWAKE[model.awake];
  const [told, loud] = model.slept
    ? [`The phone slept for ${span(model.slept.seconds * 1000)}: nothing sounded meanwhile.`, true]
    : [model.told || shown.clash, Boolean(model.told || shown.clash)];
  return h("section", {id: "strip", "aria-label": "Phone and link"},
    h("p", {id: "alive"}, h("i", {"aria-hidden": "true"}), new Date(model.now.wall).toTimeString().slice(0, 8)),
    h("p", {id: "awake", "data-ok": String(kept)}, awake),
    h("p", {id: "link", "data-ok": String(shown.link_ok)}, shown.link),
    told && h("p", {id: "told", role: "alert", "data-loud": String(loud)}, told));
}

// How many digit widths the figure takes: a point or a sign is narrower than a digit.
const wide = (text) =>
  [...text].reduce((sum, char) => sum + (".-".includes(char) ? 0.34 : char > "9" ? 0.74 : 0.6), 0);

function now(shown) {
  const blind = shown.state === "blind";
  const figure = shown.figure || (blind ? "BLIND" : "?");
  const style = (more) => ({"--wide": (wide(figure) + more).toFixed(2)});
  return h("section", {id: "now", "aria-label": "Fluid temperature"},
    h("p", {id: "figure"},
      h("span", {id: "degrees", style: style(shown.figure ? 0.5 : 0.3)}, figure),
      h("span", {id: "unit", style: style(0.5)}, shown.figure ? shown.unit : "")));
}

function ahead(shown) {
  return h("section", {id: "ahead", "aria-label": "Time ahead"},
    h("p", {id: "soon"}, shown.soon), h("p", {id: "time"}, shown.time),
    h("p", {id: "rates"}, parts([shown.rate, ...shown.facts])));
}

function stepLine(shown) {
  const {step} = shown;
  return step && h("section", {id: "step", "aria-label": "Step of the visit"},
    h("p", null, h("b", null, step.now), step.caution && h("em", null, step.caution)));
}

function trend(model, shown) {
  return h("section", {id: "trend", "aria-label": "Trend"},
    curve(model.curve, Boolean(shown.figure)),
    shown.outlook.length > 0 && h("div", {id: "outlook"}, h("b", null, "Other ways"), h("ul", null, shown.outlook.map((line) => h("li", {key: line}, line)))));
}

function trouble(model, shown) {
  return h("p", {id: "recording", "data-ok": String(shown.recording_ok)}, shown.recording);
}

function hands(model, send) {
  return h("section", {id: "hands", "aria-label": "Marks"},
    h("div", {id: "marks", "data-may": String(mayMark(model))}, MARKS.map((each) => markButton(model, send, ...each))),
    h("div", {id: "openers"},
      soundButton(model, send),
      opener(model, send, "checks", "Checks", open(model)),
      mayMark(model) ? opener(model, send, "amount", "Amount", "L, qt", () =>
        amountPad(nextAct(model), model.state?.unit || "°C")) : h("i"),
      opener(model, send, "more", "More", mayMark(model) ? "note" : "")));
}

// Without the right to mark the places stay empty, so that Heard is where it is on every phone.
function markButton(model, send, name, label) {
  if (!mayMark(model) && name !== "acknowledge") return h("i", {key: name});
  const hot = name === "withdraw" && canTakeBack(model, model.now);
  return h("button", {
    key: name, type: "button", "data-mark": name, "data-hot": String(hot),
    "data-failed": String(model.sending[name] === "failed"),
    "data-noted": String(Boolean(model.state?.marks[name])),
    onClick: () => send(name === "withdraw" ? {kind: "take-back"} : {kind: "mark", name}),
  }, h("b", null, label), h("small", null, markNote(model, name, hot)));
}

const SENDING = {sending: "sending…", sent: "sent", failed: "NOT NOTED: again", here: "on this phone"};

function markNote(model, name, hot) {
  const {state, sending} = model;
  if (sending[name]) return SENDING[sending[name]];
  if (name === "withdraw") return hot ? model.mark.name.replaceAll("-", " ") : "list";
  return state?.marks[name] ? `noted ${state.marks[name]}` : "";
}

function soundButton(model, send) {
  return h("button", {type: "button", id: "tones", "aria-pressed": String(model.sound), onClick: () => send({kind: "tap-sound"})},
    h("b", null, "Sound"), h("small", null, model.sound ? "on" : "OFF"));
}

export function opener(model, send, name, label, note, pad) {
  return h("button", {type: "button", id: `open-${name}`, "aria-expanded": String(model.sheet === name),
    onClick: () => send({kind: "open", sheet: name, pad: pad?.()})},
  h("b", null, label), h("small", null, note));
}

function open(model) {
  const list = model.state?.checks ?? [];
  const left = list.filter((each) => each.state !== "met").length;
  return list.length ? (left ? `${left} open` : "all met") : "";
}

const nextAct = ({state}) => !state?.marks.drained ? "drained" : !state.marks.filled ? "filled" : "topped-up";
