// °F or °C, as this browser's person likes; stored and sent is always °C.
import { $ } from "./said.js";

const KEY = "fiftyover-units";
const listeners = [];
let unit = "F";
try { unit = localStorage.getItem(KEY) || $("units").value; } catch { /* private window: the choice is not kept */ }
$("units").value = unit;

$("units").addEventListener("change", (event) => {
  unit = event.target.value;
  try { localStorage.setItem(KEY, unit); } catch { /* not kept */ }
  listeners.forEach((f) => f());
});

export const onUnits = (f) => listeners.push(f);
export const unitName = () => unit;
export const toShown = (degC) => (unit === "F" ? degC * 1.8 + 32 : degC);
export const fromShown = (value) => (unit === "F" ? (value - 32) / 1.8 : value);
export const shown = (degC, digits = 0) =>
  degC === null || degC === undefined ? "–" : `${toShown(degC).toFixed(digits)} °${unit}`;

// Sentences of the hub come in °F, also as "130 to 80 °F"; "behind" goes with a difference.
const celsius = (f) => Math.round((f - 32) / 1.8);
export const sentence = (text) =>
  unit === "F" ? text : text.replace(/(?:(-?\d+(?:\.\d+)?) to )?(-?\d+(?:\.\d+)?) °F( behind)?/g, (_, from, f, behind) =>
    behind ? `${Math.round(f / 1.8)} K behind` : `${from === undefined ? "" : `${celsius(from)} to `}${celsius(f)} °C`);
