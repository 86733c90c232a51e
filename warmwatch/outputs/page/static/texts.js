// The page's own texts, in the language of the laptop: the server puts its phrases in place of {}.

export const T = {};
export const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
export const markName = (name) => T[`mark_${name.replaceAll("-", "_")}`];
export const markLabel = (name) => markName(name)[0].toUpperCase() + markName(name).slice(1);
export const stateName = (state) => T[`state_${state.replaceAll(" ", "_")}`];
export const span = (ms) => spanIn(ms, T.seconds, T.minutes);
export const spokenSpan = (ms) => spanIn(ms, T.spoken_seconds, T.spoken_minutes);

const spanIn = (ms, seconds, minutes) =>
  ms < 120000 ? fill(seconds, {n: Math.round(ms / 1000)}) : fill(minutes, {n: Math.round(ms / 60000)});
