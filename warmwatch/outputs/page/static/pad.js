// The number pad for gloves: fields, a unit key for each, and the words that go to the laptop.

import {T} from "/texts.js";

const LONGEST = 7;
const field = (name, label, units, unit = units[0]) => ({name, label, units, unit, text: ""});

const AMOUNTS = ["L", "mL", "qt", "oz"], DEGREES = ["°C", "°F"];
export const ACTS = ["drained", "filled", "topped-up", "let-out"];

export function amountPad(act, degrees) {
  return {mark: act, at: 0, asks: null, asked: "",
    fields: [field("amount", T.amount, AMOUNTS, degrees === "°F" ? "qt" : "L"),
      field("temp", T.at, DEGREES, degrees)]};
}

export function tiltPad() {
  return {mark: "vehicle-level", at: 0, asks: null, asked: "",
    fields: [field("lengthwise", T.lengthwise, ["°"]), field("crosswise", T.crosswise, ["°"])]};
}

export function bandPad(degrees) {
  return {mark: null, at: 0, asks: null, asked: "",
    fields: [field("low", T.from, DEGREES, degrees), field("high", T.to, DEGREES, degrees)]};
}

// One key: a digit, the point, "back", a unit, or "field NAME".
export function typed(pad, key) {
  const fields = pad.fields.map((each) => ({...each}));
  let at = pad.at;
  const here = fields[at];
  if (key.startsWith("field ")) at = fields.findIndex((each) => `field ${each.name}` === key);
  else if (key.startsWith("act ")) return asking({...pad, mark: key.slice(4)});
  else if (key === "back") here.text = here.text.slice(0, -1);
  else if (here.units.includes(key)) here.unit = key;
  else if (key === ".") here.text += here.text.includes(".") ? "" : here.text ? "." : "0.";
  else if (key === "-") here.text = here.text.startsWith("-") ? here.text.slice(1) : `-${here.text}`;
  else if (/^\d$/.test(key) && here.text.length < LONGEST) here.text += key;
  return asking({...pad, fields, at});
}

function asking(pad) {
  return {...pad, asks: pad.mark && noteOf(pad) ? {mark: pad.mark, note: noteOf(pad)} : null};
}

const whole = (each) => /\d/.test(each.text);

// What the laptop is to understand: "4.2 L at 50 °C", "0.3 lengthwise, 0.5 crosswise".
export function noteOf(pad) {
  if (pad.mark === "vehicle-level") {
    return pad.fields.filter(whole).map((each) => `${each.text} ${each.name}`).join(", ");
  }
  const [amount, temp] = pad.fields;
  if (!whole(amount)) return "";
  return `${amount.text} ${amount.unit}` + (whole(temp) ? ` at ${temp.text} ${temp.unit}` : "");
}

// "176F:194F"; empty while one of the two is missing.
export function bandOf(pad) {
  if (!pad.fields.every(whole)) return "";
  return pad.fields.map((each) => each.text + each.unit.slice(1)).join(":");
}
