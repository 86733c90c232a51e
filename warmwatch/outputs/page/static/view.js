// What is to be seen, as a pure function of the model. Texts go in as text, never as markup.

import {h} from "/preact.js";
import {curve} from "/curve.js";
import {canTakeBack, idle, mayMark} from "/model.js";
import {amountPad} from "/pad.js";
import {sheet} from "/sheets.js";
import {parts, shownOf, strip} from "/shown.js";
import {T, fill, markLabel, markName} from "/texts.js";
import {visitPage} from "/visit.js";

export const MARKS = [
  "plug-out", "plug-in", "acknowledge", "stream", "drip", "no-drip", "topped-up", "level-set", "withdraw",
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

// How many digit widths the figure takes: a point or a sign is narrower than a digit.
const wide = (text) =>
  [...text].reduce((sum, char) => sum + (".-".includes(char) ? 0.34 : char > "9" ? 0.74 : 0.6), 0);

function now(shown) {
  const blind = shown.state === "blind";
  const figure = shown.figure || (blind ? T.heading_blind : T.no_figure);
  const style = (more) => ({"--wide": (wide(figure) + more).toFixed(2)});
  return h("section", {id: "now", "aria-label": T.fluid},
    h("p", {id: "figure"},
      h("span", {id: "degrees", style: style(shown.figure ? 0.5 : 0.3)}, figure),
      h("span", {id: "unit", style: style(0.5)}, shown.figure ? shown.unit : "")));
}

function ahead(shown) {
  return h("section", {id: "ahead", "aria-label": T.time_ahead},
    h("p", {id: "soon"}, shown.soon), h("p", {id: "time"}, shown.time),
    h("p", {id: "rates"}, parts([shown.rate, ...shown.facts.filter((fact) => !shown.outlook.includes(fact))])));
}

// One order at a time: what the banner says stands there alone.
function stepLine(shown) {
  const step = shown.step;
  return step?.waits && h("section", {id: "step", "aria-label": T.step},
    step.now && h("p", null, step.now), h("p", {class: "waits"}, step.waits));
}

function trend(model, shown) {
  return h("section", {id: "trend", "aria-label": T.trend},
    curve(model.curve, Boolean(shown.figure)),
    shown.outlook.length > 0 && h("div", {id: "outlook"}, h("b", null, T.other_ways), h("ul", null, shown.outlook.map((line) => h("li", {key: line}, line)))));
}

function trouble(model, shown) {
  return h("p", {id: "recording", "data-ok": String(shown.recording_ok)}, shown.recording);
}

function hands(model, send) {
  return h("section", {id: "hands", "aria-label": T.marks},
    h("div", {id: "marks", "data-may": String(mayMark(model))}, MARKS.map((each) => markButton(model, send, each))),
    h("div", {id: "openers"},
      soundButton(model, send),
      opener(model, send, "checks", T.checks, open(model)),
      mayMark(model) ? opener(model, send, "amount", T.amount, T.amount_units, () =>
        amountPad(nextAct(model), model.state?.unit || "°C")) : h("i"),
      opener(model, send, "more", T.more, mayMark(model) ? T.more_note : "")));
}

// Without the right to mark the places stay empty, so that Heard is where it is on every phone.
function markButton(model, send, name) {
  if (!mayMark(model) && name !== "acknowledge") return h("i", {key: name});
  const hot = name === "withdraw" && canTakeBack(model, model.now);
  return h("button", {
    key: name, type: "button", "data-mark": name, "data-hot": String(hot),
    "data-failed": String(model.sending[name] === "failed"),
    "data-noted": String(Boolean(model.state?.marks[name])),
    onClick: () => send(name === "withdraw" ? {kind: "take-back"} : {kind: "mark", name}),
  }, h("b", null, markLabel(name)), h("small", null, markNote(model, name, hot)));
}

function markNote(model, name, hot) {
  const {state, sending} = model;
  if (sending[name]) return T[sending[name]];
  if (name === "withdraw") return hot ? markName(model.mark.name) : T.list;
  return state?.marks[name] ? fill(T.noted, {at: state.marks[name]}) : "";
}

function soundButton(model, send) {
  return h("button", {type: "button", id: "tones", "aria-pressed": String(model.sound), onClick: () => send({kind: "tap-sound"})},
    h("b", null, T.sound), h("small", null, model.sound ? T.on : T.sound_off));
}

export function opener(model, send, name, label, note, pad) {
  return h("button", {type: "button", id: `open-${name}`, "aria-expanded": String(model.sheet === name),
    onClick: () => send({kind: "open", sheet: name, pad: pad?.()})},
  h("b", null, label), h("small", null, note));
}

function open(model) {
  const list = model.state?.checks ?? [];
  const left = list.filter((each) => each.state !== "met").length;
  return list.length ? (left ? fill(T.checks_open, {n: left}) : T.checks_met) : "";
}

const nextAct = ({state}) => !state?.marks.drained ? "drained" : !state.marks.filled ? "filled" : "topped-up";
