// The page before a watch runs and after it ended: choose, try, start; verdict, proof, next.
// What is chosen is kept on the laptop, so another phone goes on where the first one was.

import {h} from "/preact.js";
import {cutOff, mayRun} from "/model.js";
import {bandOf, bandPad} from "/pad.js";
import {digits, fields} from "/sheets.js";
import {shownOf, strip} from "/shown.js";
import {T} from "/texts.js";

export function visitPage(model, send) {
  const {visit} = model, cut = cutOff(model);
  const shown = {...shownOf(model), clash: "", link: cut ? model.refusal || T.no_answer : T.answers, link_ok: !cut};
  const body = !mayRun(model) ? watching : model.sheet === "new" ? newVehicle : visit.stage === "done" ? done : prepare;
  const [heading, says] = heads()[visit.stage];
  return h("main", {id: "visit", inert: cut && !model.everHeard},
    h("header", {id: "banner"},
      h("h1", {id: "word"}, cut ? T.no_laptop : heading), h("p", {id: "act"}, cut ? T.no_answer : model.told || visit.problem || says(visit))),
    strip(model, shown),
    body(model, send));
}

const heads = () => ({
  prepare: [T.prepare, (visit) => visit.missing || T.prepare_act],
  done: [T.done, (visit) => visit.verdict.text],
});

const button = (send, body, label, note, props = {}) =>
  h("button", {type: "button", onClick: () => send({kind: "do", body}), ...props}, h("b", null, label), note && h("small", null, note));

function watching(model) {
  const {visit} = model;
  return h("div", {id: "cards"}, h("section", {class: "card", "aria-label": T.visit},
    h("p", null, visit.stage === "done" ? visit.verdict.text : T.no_watch)));
}

function prepare(model, send) {
  const {visit} = model;
  return h("div", {id: "cards"},
    card("1", T.vehicle, visit.vehicle ? chosenVehicle(visit.vehicle) : null,
      ...visit.vehicles.map((each) => button(send, {do: "vehicle", label: each.label}, each.label,
        each.band ? `${each.band}${each.source ? `, ${each.source}` : ""}` : T.no_band_yet,
        {key: each.label, class: "choice", "aria-pressed": String(each.label === visit.vehicle?.label)})),
      h("button", {type: "button", id: "new-vehicle", class: "choice",
        onClick: () => send({kind: "open", sheet: "new", pad: bandPad(visit.unit)})}, h("b", null, T.new_vehicle))),
    card("2", T.adapter, trial(visit.trial),
      ...visit.adapters.map((each) => button(send, {do: "adapter", id: each.id}, each.label, each.about,
        {key: each.id, class: "choice", "aria-pressed": String(each.chosen)})),
      button(send, {do: "look"}, visit.looking ? T.looking : T.look_again, T.for_adapters, {id: "look", class: "choice"}),
      button(send, {do: "try"}, visit.trial.state === "running" ? T.trying : T.try, T.live,
        {id: "try", class: "choice", disabled: visit.trial.state === "running" || !visit.adapters.some((each) => each.chosen)})),
    card("3", T.before_start, h("p", {class: "caution"}, visit.caution),
      visit.vehicle && h("p", {class: "band"}, h("b", null, visit.vehicle.band || T.no_band), ` ${visit.vehicle.source || T.no_source}`)),
    h("section", {id: "bar", "aria-label": T.go_on},
      h("button", {type: "button", id: "tones", "aria-pressed": String(model.sound), onClick: () => send({kind: "tap-sound"})},
        h("b", null, T.sound), h("small", null, model.sound ? T.on : T.sound_off_tap)),
      button(send, {do: "start", n: visit.n}, T.start, visit.vehicle ? visit.vehicle.band : "", {id: "start", disabled: !visit.ready})));
}

const chosenVehicle = (vehicle) => h("p", {class: "chosen"}, `${vehicle.label}: ${vehicle.band || T.no_band_yet}`);

function card(number, title, ...children) {
  return h("section", {class: "card", "aria-label": title}, h("h2", null, h("i", null, number), title), ...children);
}

const SIGNS = {ok: "✓", failed: "✗", warning: "!", running: "…"};

function trial(found) {
  if (!found.steps.length) return null;
  return h("div", {role: "status"}, h("ul", {id: "trial"}, found.steps.map((each, index) =>
    h("li", {key: index, "data-state": each.state}, h("span", {class: "sign", "aria-hidden": "true"}, SIGNS[each.state] ?? "·"),
      h("span", null, each.text)))));
}

function newVehicle(model, send) {
  const {pad, visit} = model;
  return h("form", {id: "new", "aria-label": T.new_vehicle, onSubmit: (event) => {
    event.preventDefault();
    const {label, source, keep} = event.target.elements;
    send({kind: "do", body: {do: "new", label: label.value, source: source.value, band: bandOf(pad), keep: keep.checked}});
  }},
  h("label", null, T.vehicle, h("input", {name: "label", maxLength: 60, autocomplete: "off", placeholder: T.your_name})),
  h("label", null, T.band_from, h("input", {name: "source", maxLength: 80, autocomplete: "off", placeholder: T.which_source})),
  h("div", {class: "pad"}, ...fields(pad, send), ...digits(pad, send)),
  h("label", {class: "tick"}, h("input", {type: "checkbox", name: "keep", defaultChecked: true}), T.keep),
  h("div", {class: "row"},
    h("button", {type: "button", onClick: () => send({kind: "open", sheet: "new"})}, h("b", null, T.back)),
    h("button", {type: "submit", id: "take", disabled: !bandOf(pad)}, h("b", null, T.take), h("small", null, bandOf(pad)))));
}

function done(model, send) {
  const {visit} = model, {proof} = visit;
  return h("div", {id: "cards"},
    card(visit.verdict.sign, T.level_check, ...(visit.lines.length ? visit.lines : [T.no_amounts]).map((line) => h("p", {key: line}, line))),
    visit.open.length > 0 && card("!", T.still_open, h("ul", null, visit.open.map((line) => h("li", {key: line}, line)))),
    card(T.proof_sign, T.proof, h("p", {id: "proof-text", role: "status"}, proof.text),
      proof.url && h("a", {id: "download", class: "button", href: proof.url, download: proof.name}, h("b", null, T.save), h("small", null, proof.name)),
      proof.url && model.canShare && h("button", {type: "button", id: "share", onClick: () => send({kind: "share", proof})}, h("b", null, T.share))),
    h("section", {id: "bar", "aria-label": T.go_on},
      button(send, {do: "proof", n: visit.n}, proof.state === "making" ? T.making : T.proof, proof.state === "ready" ? T.make_again : T.pdf,
        {id: "proof", disabled: proof.state === "making" || !visit.recorded}),
      button(send, {do: "again", n: visit.n}, T.same_vehicle, T.check_again, {id: "again"}),
      button(send, {do: "next", n: visit.n}, T.next_vehicle, "", {id: "next"})));
}
