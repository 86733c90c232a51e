// What is laid over the curve and the marks when it is asked for: the checks, amounts, the marks so
// far, and the rest. The state stays in sight above it.

import {h} from "/preact.js";
import {mayMark, mayRun} from "/model.js";
import {ACTS, tiltPad} from "/pad.js";
import {T, fill, markLabel, markName, stateName} from "/texts.js";

const sheets = () => ({checks: [T.before_check, checks], amount: [T.amount, amount], list: [T.marks_so_far, list],
  more: [T.more, more], tilt: [T.tilt_title, tilt], end: [T.end_title, end]});

export function sheet(model, shown, send) {
  const [title, body] = sheets()[model.sheet];
  return h("section", {id: "sheet", "aria-label": title, key: model.sheet},
    !model.pad && h("div", {class: "head"}, h("h2", null, title), close(model, send)),
    body(model, shown, send));
}

const close = (model, send) =>
  h("button", {type: "button", id: "close", onClick: () => send({kind: "open", sheet: model.sheet})}, h("b", null, T.close));

const SIGNS = {met: "✓", "not met": "✗", "not known": "?"};

function checks(model, shown, send) {
  if (!shown.checks.length) return h("p", null, T.no_conditions);
  return h("ul", {id: "checks"}, shown.checks.map((each) =>
    h("li", {key: each.name, "data-state": each.state},
      h("span", {class: "sign", "aria-hidden": "true"}, SIGNS[each.state]),
      h("span", {class: "about"}, h("b", null, each.name), h("small", null, `${stateName(each.state)}${each.why ? `: ${each.why}` : ""}`)),
      mayMark(model) && each.mark && h("button", {type: "button", "data-tell": each.mark, onClick: () => tell(each, send)},
        h("b", null, each.ask)))));
}

const tell = (each, send) => each.mark === "vehicle-level"
  ? send({kind: "open", sheet: "tilt", pad: tiltPad()})
  : send({kind: "mark", name: each.mark});

const key = (send, name, label = name, props = {}) =>
  h("button", {type: "button", "data-key": name, onClick: () => send({kind: "key", key: name}), ...props}, h("b", null, label));

export function fields(pad, send) {
  return pad.fields.map((each, index) =>
    key(send, `field ${each.name}`, `${each.label} ${each.text || "–"} ${each.unit}`, {class: "field", "aria-pressed": String(index === pad.at)}));
}

export function digits(pad, send) {
  const units = pad.fields[pad.at].units, side = [0, 1, 2, 3].map((i) => units[i]);
  const here = pad.fields[pad.at].unit;
  const unit = (i) => side[i] && units.length > 1
    ? key(send, side[i], side[i], {class: "unit", "aria-pressed": String(side[i] === here)}) : h("i");
  const row = (keys, i) => [...keys.map((each) => key(send, each, each === "back" ? "⌫" : each, {"aria-label": each})), unit(i)];
  return [...row(["7", "8", "9"], 0), ...row(["4", "5", "6"], 1), ...row(["1", "2", "3"], 2), ...row([".", "0", "back"], 3)];
}

function amount(model, shown, send) {
  const {pad} = model;
  return h("div", {class: "pad"},
    ...ACTS.map((name) => key(send, `act ${name}`, markLabel(name), {class: "act", "aria-pressed": String(pad.mark === name)})),
    ...fields(pad, send), ...digits(pad, send), ...entry(model, shown, send, markLabel(pad.mark)));
}

function tilt(model, shown, send) {
  return h("div", {class: "pad"}, ...fields(model.pad, send), ...digits(model.pad, send), ...entry(model, shown, send, T.tilt));
}

// What was understood stands over the key that notes it; nothing is noted that was not understood.
function entry(model, shown, send, label) {
  const ready = Boolean(model.pad.asks) && Boolean(model.understood);
  return [
    h("p", {class: "echo", role: "status"}, echo(model)),
    close(model, send),
    h("button", {type: "button", id: "note-it", disabled: !ready, onClick: () => {
      send({kind: "mark", name: model.pad.asks.mark, note: model.pad.asks.note});
      send({kind: "open", sheet: model.sheet});
    }}, h("b", null, fill(T.note_it_as, {what: label}))),
  ];
}

function echo({pad, understood}) {
  if (!pad.asks) return T.type_figure;
  if (understood === null) return "…";
  return understood || T.cannot_be;
}

function list(model, shown, send) {
  const log = [...shown.log].reverse();
  if (!log.length) return h("p", null, T.no_mark);
  return h("ul", {id: "log"}, log.map((each) =>
    h("li", {key: each.key, "data-withdrawn": String(each.withdrawn)},
      h("span", {class: "about"}, h("b", null, `${each.clock} ${markName(each.name)}`), h("small", null, each.withdrawn ? T.taken_back : each.note)),
      each.key === shown.last?.key && mayMark(model) && h("button", {type: "button", class: "back", onClick: () => send({kind: "mark", name: "withdraw"})},
        h("b", null, markLabel("withdraw"))))));
}

function more(model, shown, send) {
  return h("div", {id: "more"},
    mayMark(model) && h("form", {id: "note", onSubmit: (event) => {
      event.preventDefault();
      const input = event.target.elements[0];
      if (input.value.trim()) send({kind: "mark", name: "note", note: input.value.trim()});
      input.value = "";
    }}, h("input", {type: "text", maxLength: 400, "aria-label": T.note, placeholder: T.note_hint}),
    h("button", {type: "submit"}, h("b", null, T.note_it))),
    h("div", {class: "row"},
      h("button", {type: "button", id: "voice", "aria-pressed": String(model.voice), onClick: () => send({kind: "tap-voice"})},
        h("b", null, T.voice), h("small", null, model.voice ? T.on : T.off)),
      h("button", {type: "button", id: "light", onClick: () => send({kind: "light"})}, h("b", null, T.light), h("small", null, T[`light_${model.light}`])),
      h("button", {type: "button", id: "log-open", onClick: () => send({kind: "open", sheet: "list"})}, h("b", null, T.marks), h("small", null, T.so_far)),
      mayRun(model) && model.visit && h("button", {type: "button", id: "end", onClick: () => send({kind: "open", sheet: "end"})},
        h("b", null, T.end), h("small", null, T.the_watch))),
    h("p", {id: "advice"}, model.sound ? T.volume : T.volume_off),
    h("p", {id: "conditions"}, shown.conditions.join(" · ")),
    h("h3", null, T.happened),
    h("ol", {id: "happened"}, [...shown.happened].reverse().map((line, index) => h("li", {key: shown.happened.length - index}, line))),
    h("p", {id: "caution"}, model.caution),
    h("p", {id: "vehicle"}, [shown.vehicle, fill(T.band, {band: shown.band}), shown.clock, shown.recording].filter(Boolean).join(" · ")));
}

function end(model, shown, send) {
  return h("div", {class: "ask"},
    h("p", null, shown.plug_out ? T.ends_open : T.ends),
    h("button", {type: "button", id: "end-yes", onClick: () => { send({kind: "do", body: {do: "stop"}}); send({kind: "open", sheet: "end"}); }},
      h("b", null, T.end_watch)),
    h("button", {type: "button", onClick: () => send({kind: "open", sheet: "end"})}, h("b", null, T.go_on_watching)));
}
