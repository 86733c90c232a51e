// The small curve: the last minutes, the band behind it, and what is not known shown as unknown.

const SPACE = "http://www.w3.org/2000/svg";
const LEAST_S = 120;
const LABELS = 44;

function piece(name, attributes, text) {
  const node = document.createElementNS(SPACE, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

// Points are [seconds, degrees or null]; null begins a stretch in which nothing is known.
export function drawCurve(svg, data, known) {
  const width = svg.clientWidth, height = svg.clientHeight;
  if (!data || !width) return svg.replaceChildren();
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  const points = data.points;
  const right = width - LABELS;
  const last = points.length ? points[points.length - 1][0] : 0;
  const first = points.length ? points[0][0] : 0;
  const span = Math.max(LEAST_S, last - first);
  const values = points.map((p) => p[1]).filter((v) => v !== null);
  const margin = Math.max(2, (data.high - data.low) * 0.4);
  const low = Math.min(data.low - margin, ...values), high = Math.max(data.high + margin, ...values);
  const x = (t) => 2 + (right - 4) * (1 - (last - t) / span);
  const y = (v) => 3 + (height - 6) * (1 - (v - low) / (high - low));
  const parts = [piece("rect", {class: "band", x: 0, width: right, y: y(data.high), height: y(data.low) - y(data.high)})];
  for (const edge of [data.low, data.high]) {
    parts.push(piece("line", {class: "edge", x1: 0, x2: right, y1: y(edge), y2: y(edge)}));
  }
  parts.push(piece("text", {x: right + 4, y: Math.max(13, y(data.high) + 2)}, String(data.high)));
  parts.push(piece("text", {x: right + 4, y: Math.max(28, y(data.low) + 8)}, String(data.low)));
  let run = [];
  const close = () => {
    if (run.length > 1) parts.push(piece("polyline", {class: "line", points: run.join(" ")}));
    run = [];
  };
  points.forEach(([t, v], i) => {
    if (v !== null) return run.push(`${x(t).toFixed(1)},${y(v).toFixed(1)}`);
    close();
    const until = i + 1 < points.length ? x(points[i + 1][0]) : right;
    parts.push(piece("rect", {class: "unknown", x: x(t), width: Math.max(3, until - x(t)), y: 0, height}));
  });
  close();
  const end = points[points.length - 1];
  if (!known) {
    parts.push(piece("rect", {class: "unknown", x: right - 8, width: 8, y: 0, height}));
  } else if (end && end[1] !== null) {
    parts.push(piece("circle", {class: "here", cx: x(end[0]), cy: y(end[1]), r: 4.5}));
  }
  svg.replaceChildren(...parts);
}
