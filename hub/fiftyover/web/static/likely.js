// A practice cook as a picture: the likely core between the quickest and the slowest, under its chamber.
import { element, say } from "./said.js";
import { add, part } from "./svg.js";
import { toShown, unitName } from "./units.js";

const WIDE = 640, TALL = 300, LEFT = 52, RIGHT = 84, TOP = 10, FOOT = 30;

export function drawLikely(one, band, title) {
  const most = Math.max(one.slow_degC.length, one.likely_degC.length) * one.step_s;
  const high = Math.ceil(toShown(Math.max(...one.chamber_degC, band[1])) / 20) * 20;
  const low = Math.floor(toShown(0) / 20) * 20;
  const x = (s) => LEFT + (s / most) * (WIDE - LEFT - RIGHT);
  const y = (shown) => TOP + ((high - shown) / (high - low)) * (TALL - TOP - FOOT);
  const points = (curve) => curve.map((degC, i) => `${x(i * one.step_s).toFixed(1)} ${y(toShown(degC)).toFixed(1)}`);
  const svg = part("svg", { role: "img", "aria-label": title, viewBox: `0 0 ${WIDE} ${TALL}`, class: "likely" });
  const step = (high - low) / 20 > 8 ? 40 : 20;
  for (let degrees = low; degrees <= high; degrees += step) {
    add(svg, "line", { x1: LEFT, x2: WIDE - RIGHT, y1: y(degrees), y2: y(degrees), class: "grid" });
    add(svg, "text", { x: LEFT - 6, y: y(degrees) + 5, class: "degrees" }, `${degrees} °${unitName()}`);
  }
  const every = Math.max(1, Math.ceil(most / 3600 / 8));
  for (let h = 0; h * 3600 <= most; h += every) add(svg, "text", { x: x(h * 3600), y: TALL - 8 }, say("hours", { h }));
  add(svg, "rect", { x: LEFT, width: WIDE - LEFT - RIGHT, y: y(toShown(band[1])), height: Math.max(2, y(toShown(band[0])) - y(toShown(band[1]))), class: "band" });
  const quick = [...one.quick_degC];
  while (quick.length < one.slow_degC.length) quick.push(Math.max(quick[quick.length - 1], band[0]));
  add(svg, "polygon", { points: [...points(quick), ...points(one.slow_degC).reverse()].join(" "), class: "spread" });
  add(svg, "polyline", { points: points(one.chamber_degC).join(" "), class: "chamber" });
  add(svg, "polyline", { points: points(one.likely_degC).join(" "), class: "likely-core" });
  for (const [curve, name] of [[one.chamber_degC, "chamber"], [one.likely_degC, "core"]]) {
    const last = curve.length - 1;
    add(svg, "text", { x: x(last * one.step_s) + 5, y: y(toShown(curve[last])) + 5, class: "name" }, say(name));
  }
  return element("div", { class: "likely-box" }, "", svg);
}
