// Puts one state into the page. Texts go in as text, never as markup.

const at = (id) => document.getElementById(id);
const parts = (texts) => texts.filter(Boolean).join(" · ");
let spoken = "";

function put(id, text) {
  const node = at(id);
  if (node.textContent !== text) node.textContent = text;
}

// How many digit widths the figure takes: a point or a sign is narrower than a digit.
function wide(text) {
  return [...text].reduce((sum, char) => sum + (".-".includes(char) ? 0.34 : char > "9" ? 0.74 : 0.6), 0);
}

export function draw(state) {
  const body = document.body;
  body.dataset.state = state.state;
  body.dataset.fit = String(state.fit);
  body.dataset.plug = state.plug_out ? "out" : "in";
  body.dataset.unheard = String(state.unheard);
  put("word", state.word);
  put("act", state.act);
  const blind = state.state === "blind";
  const figure = state.figure || (blind ? "BLIND" : "?");
  put("degrees", figure);
  at("degrees").style.setProperty("--wide", (wide(figure) + (state.figure ? 0.5 : 0.3)).toFixed(2));
  at("unit").style.setProperty("--wide", (wide(figure) + 0.5).toFixed(2));
  put("unit", state.figure ? state.unit : "");
  put("soon", state.soon);
  put("time", state.time);
  put("rates", parts([state.rate, ...state.facts]));
  put("link", state.link);
  at("link").dataset.ok = String(state.link_ok);
  put("recording", state.recording);
  at("recording").dataset.ok = String(state.recording_ok);
  put("conditions", parts(state.conditions));
  put("vehicle", parts([state.vehicle, `band ${state.band}`, state.clock, state.recording]));
  happened(state.happened);
  announce(state);
  document.title = state.figure ? `${state.figure} ${state.unit} ${state.word}` : state.word;
}

function happened(lines) {
  const list = at("happened");
  const newest = [...lines].reverse();
  if (list.dataset.shown === newest.join("\n")) return;
  list.dataset.shown = newest.join("\n");
  list.replaceChildren(...newest.map((line) => {
    const item = document.createElement("li");
    item.textContent = line;
    return item;
  }));
}

// For screen readers: only a change of state is said, not every reading.
function announce(state) {
  const sentence = `${state.word}. ${state.act}`;
  const kind = sentence.replace(/[\d.,:]+/g, "#");  // a figure that counts is no news
  if (kind === spoken) return;
  spoken = kind;
  const urgent = ["blind", "too-hot", "above", "top-near"].includes(state.state);
  put("alarm", urgent ? sentence : "");
  put("spoken", urgent ? "" : sentence);
}

// The state of a page that hears nothing: whatever it last knew is no longer claimed.
export function blindState(last, seconds, refusal) {
  const base = last || {
    unit: "", band: "", vehicle: "", clock: "", recording: "", recording_ok: true, happened: [], marks: {},
  };
  return {
    ...base, state: "blind", word: "BLIND", act: "No word from the watch: the temperature is not known.",
    fit: true, figure: "", soon: "", time: "", rate: "", place: null, facts: [], conditions: [],
    link: refusal || `No word from the watch for ${seconds} s. Are laptop and phone in the same network?`,
    link_ok: false, cues: [], repeats: [],
  };
}
