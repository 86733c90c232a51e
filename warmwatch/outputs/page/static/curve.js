// The curve: the last minutes, the band behind it, the forecast ahead of it as a fan from its tenth
// to its ninetieth part, the marks, and what is not known shown as unknown. Drawn in a field of
// 1000 by 300 that is stretched to its room; letters stand beside it.

import {h} from "/preact.js";
import {T, fill} from "/texts.js";

const WIDE = 1000, HIGH = 300, LEAST_S = 120, AHEAD = 0.55;

// Points are [seconds, degrees or null]; null begins a stretch in which nothing is known.
export function curve(data, known) {
  if (!data) return h("div", {id: "curve"});
  const at = scales(data, known);
  return h("div", {id: "curve"},
    h("svg", {viewBox: `0 0 ${WIDE} ${HIGH}`, preserveAspectRatio: "none", role: "img", "aria-label": told(data, known)},
      band(data, at), known && fan(data, at), ...stretches(data, at), ...marks(data, at), here(data, at, known)),
    ...[[data.high, "high"], [data.low, "low"]].map(([edge, name]) =>
      h("span", {class: `edge-text ${name}`, "aria-hidden": "true", style: {top: `${(100 * at.y(edge)) / HIGH}%`}}, String(edge))));
}

function told(data, known) {
  const last = data.points.findLast((point) => point[1] !== null);
  const what = known && last ? fill(T.curve_now, {figure: last[1], unit: data.unit}) : T.curve_not_known;
  return fill(T.curve, {what, ...data});
}

export function scales(data, known) {
  const times = data.points.map((point) => point[0]);
  const now = data.now ?? times.at(-1) ?? 0, first = times[0] ?? now;
  const past = Math.max(LEAST_S, now - first);
  // The fan shall not press the past into a corner; what is later than that lies off the edge.
  const most = past * AHEAD / (1 - AHEAD);
  const ahead = known && data.fan ? Math.min((data.fan.q90 ?? most) * 1.05, most) : past * 0.02;
  const values = data.points.map((point) => point[1]).filter((value) => value !== null);
  const margin = Math.max(2, (data.high - data.low) * 0.25);
  const low = Math.min(data.low, ...values) - margin, high = Math.max(data.high, ...values) + margin;
  return {
    now, x: (t) => WIDE * (t - now + past) / (past + ahead),
    y: (v) => HIGH * (high - v) / (high - low),
  };
}

function band(data, {y}) {
  const edge = (v) => h("line", {class: "edge", x1: 0, x2: WIDE, y1: y(v), y2: y(v)});
  return h("g", null,
    h("rect", {class: "band", x: 0, width: WIDE, y: y(data.high), height: y(data.low) - y(data.high)}),
    edge(data.high), edge(data.low));
}

function fan({fan: ahead}, {x, y, now}) {
  if (!ahead) return null;
  const to = (seconds) => `${x(now + seconds).toFixed(1)},${y(ahead.edge).toFixed(1)}`;
  const from = `${x(now).toFixed(1)},${y(ahead.from).toFixed(1)}`;
  // Where one in ten times it is not reached, the fan is open to the side of the present degrees.
  const late = ahead.q90 === null ? `${WIDE},${y(ahead.edge).toFixed(1)} ${WIDE},${y(ahead.from).toFixed(1)}` : to(ahead.q90);
  return h("g", null, h("polygon", {class: "fan", points: `${from} ${to(ahead.q10)} ${late}`}),
    h("polyline", {class: "middle", points: `${from} ${to(ahead.q50)}`}));
}

function stretches(data, {x, y}) {
  const out = [];
  let run = [];
  const close = () => {
    if (run.length > 1) out.push(h("polyline", {class: "line", points: run.join(" ")}));
    run = [];
  };
  data.points.forEach(([t, v], i) => {
    if (v !== null) return run.push(`${x(t).toFixed(1)},${y(v).toFixed(1)}`);
    close();
    const until = i + 1 < data.points.length ? x(data.points[i + 1][0]) : x(data.now ?? t);
    out.push(h("rect", {class: "unknown", x: x(t), width: Math.max(8, until - x(t)), y: 0, height: HIGH}));
  });
  close();
  return out;
}

function marks(data, {x}) {
  return (data.marks ?? []).map(([t]) => h("line", {class: "mark", x1: x(t), x2: x(t), y1: 0, y2: HIGH}));
}

function here(data, {x, y, now}, known) {
  const last = data.points.at(-1);
  if (!known) return h("rect", {class: "unknown", x: x(now) - 20, width: 20, y: 0, height: HIGH});
  return last && last[1] !== null && h("line", {class: "here", x1: x(now), x2: x(now), y1: y(last[1]) - 1, y2: y(last[1]) + 1});
}
