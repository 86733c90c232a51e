// The state as it may be claimed, and what of it is told besides the page itself.

import {cutOff, idle, unheard} from "/model.js";
import {h} from "/preact.js";
import {T, fill, span} from "/texts.js";

// The state as it may be claimed: what is not heard of any more is not shown.
export function shownOf(model) {
  if (!model.state && !model.cut) return {...EMPTY, state: "connecting", word: T.connecting, act: T.connecting_act, link: model.refusal};
  const state = {...EMPTY, ...model.state, unheard: unheard(model)};
  if (model.endedAt !== null) {
    return {...state, link: fill(T.ended_ago, {span: span(model.now.steady - model.endedAt.steady)})};
  }
  if (!model.cut) return state;
  const seconds = Math.round(Math.max(model.now.steady - model.heardAt.steady, model.now.wall - model.heardAt.wall) / 1000);
  return {...state, state: "blind", word: T.heading_blind, act: T.blind_act,
    fit: true, figure: "", soon: "", time: "", rate: "", facts: [], conditions: [], checks: [], outlook: [], step: null,
    link: model.refusal || fill(T.no_word, {n: seconds}),
    link_ok: false};
}

const EMPTY = {
  unit: "", band: "", vehicle: "", clock: "", recording: "", recording_ok: true, happened: [], marks: {},
  log: [], checks: [], outlook: [], step: null, facts: [], conditions: [], figure: "", soon: "", time: "",
  rate: "", link: "", link_ok: true, fit: true, plug_out: false, unheard: false, last: null, clash: "", echo: "",
};

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
  if (idle(model)) return T.page_title;
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

const KEPT_ON = ["lock", "video"];

// The phone's own time goes on every second: a page that stands still is seen to.
export function strip(model, shown) {
  const kept = KEPT_ON.includes(model.awake), awake = kept ? T.screen_on : T.screen_may_sleep;
  const [told, loud] = model.slept
    ? [fill(T.slept_silent, {span: span(model.slept.seconds * 1000)}), true]
    : [model.told || shown.clash, Boolean(model.told || shown.clash)];
  return h("section", {id: "strip", "aria-label": T.phone_and_link},
    h("p", {id: "alive"}, h("i", {"aria-hidden": "true"}), new Date(model.now.wall).toTimeString().slice(0, 8)),
    h("p", {id: "awake", "data-ok": String(kept)}, awake),
    h("p", {id: "link", "data-ok": String(shown.link_ok)}, shown.link),
    told && h("p", {id: "told", role: "alert", "data-loud": String(loud)}, told));
}
