// Chamber, target and cores over the batch, with the band they aim at and the marks; drawn by uPlot (vendor/).
import { fingers } from "./fingers.js";
import { $, clock, say } from "./said.js";
import { toShown } from "./units.js";

const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const LINE = {
  chamber: () => ({ stroke: colour("--chamber"), width: 2.5 }),
  target: () => ({ stroke: colour("--target"), width: 1.5, dash: [7, 5] }),
  core: () => ({ stroke: colour("--meat-line"), width: 1.5 }),
};
let plot = null;
let history = null;
let coming = []; // [chub, from, to] in s: when each is expected at its band

function bandAndMarks(u) {
  const { left, top, width, height } = u.bbox;
  const c = u.ctx;
  c.save();
  c.beginPath();
  c.rect(left, top, width, height);
  c.clip();
  const [foot, head] = history.band_degC.map((degC) => u.valToPos(toShown(degC), "y", true));
  c.globalAlpha = 0.28;
  c.fillStyle = colour("--meat-line");
  c.fillRect(left, head, width, Math.max(2, foot - head));
  c.globalAlpha = 1;
  expected(u, head);
  c.fillStyle = c.strokeStyle = colour("--soft");
  c.font = `${11 * devicePixelRatio}px system-ui, sans-serif`;
  c.textAlign = "left";
  let row = 0, lastX = -1e9;
  for (const mark of history.marks) {
    const x = u.valToPos(mark.t, "x", true);
    row = x - lastX < 60 * devicePixelRatio ? (row + 1) % 4 : 0;
    lastX = x;
    c.fillRect(x, top, devicePixelRatio, height);
    c.fillText(mark.label, x + 3 * devicePixelRatio, top + (12 + 13 * row) * devicePixelRatio);
  }
  c.restore();
}

// The span in which each chub is expected, over the band, one above the other.
function expected(u, head) {
  const c = u.ctx, px = devicePixelRatio;
  c.fillStyle = colour("--meat-line");
  c.font = `600 ${11 * px}px system-ui, sans-serif`;
  c.textAlign = "right";
  coming.forEach(([chub, from, to], i) => {
    const y = head - (10 + 11 * i) * px;
    const [left, right] = [from, to].map((t) => u.valToPos(t, "x", true));
    c.fillRect(left, y, Math.max(3 * px, right - left), 3 * px);
    c.fillText(String(chub), left - 4 * px, y + 6 * px);
  });
}

// Where each curve ends in the part that is shown: [name, colour, x, y] in canvas pixels.
function ends(u) {
  const found = [];
  u.series.forEach((series, i) => {
    if (!i || !series.name) return;
    const values = u.data[i];
    let last = values.length - 1;
    while (last >= 0 && (values[last] === null || u.data[0][last] > u.scales.x.max)) last -= 1;
    if (last < 0 || u.data[0][last] < u.scales.x.min) return;
    const x = Math.min(u.valToPos(u.data[0][last], "x", true), u.bbox.left + u.bbox.width);
    found.push([series.name, series.stroke(u, i), x, u.valToPos(values[last], "y", true)]);
  });
  return found.sort((a, b) => a[3] - b[3]);
}

// The number of its chub at the end of each core, none over another: no legend has to be matched by colour.
function names(u) {
  const c = u.ctx, px = devicePixelRatio;
  c.save();
  c.font = `600 ${12 * px}px system-ui, sans-serif`;
  c.textAlign = "left";
  let free = -Infinity;
  for (const [name, stroke, x, y] of ends(u)) {
    const at = Math.max(y, free);
    free = at + 12 * px;
    c.fillStyle = stroke;
    c.fillText(name, x + 3 * px, at + 4 * px);
  }
  c.restore();
}

function options() {
  const axis = { stroke: colour("--ink"), grid: { stroke: colour("--line"), width: 0.5 }, ticks: { stroke: colour("--line") }, font: "12px system-ui, sans-serif" };
  return {
    width: Math.max(280, $("chart").clientWidth),
    height: Math.min(420, Math.max(240, innerWidth * 0.6)),
    padding: [8, 62, 0, 0],
    legend: { show: false },
    cursor: { drag: { x: false, y: false } },
    scales: { x: { time: true, range: (u, low, high) => (u.reached ? [low, high] : [low, Math.max(high, ...coming.map((one) => one[2]))]) }, y: { range: (_, low, high) => [Math.floor(low / 10) * 10, Math.ceil((high + 1) / 10) * 10] } },
    axes: [
      { ...axis, values: (_, ticks) => ticks.map((t) => clock(t * 1000)), space: 70 },
      { ...axis, values: (_, ticks) => ticks.map((v) => `${v}°`), size: 46 },
    ],
    series: [{}, ...history.curves.map((curve) => ({
      ...LINE[curve.kind](), points: { show: false }, spanGaps: false,
      name: curve.kind === "core" ? String(curve.chub ?? "") : say(curve.kind),
    }))],
    hooks: { draw: [bandAndMarks, names] },
    plugins: [fingers()],
  };
}

const columns = () => [history.t, ...history.curves.map((curve) => curve.v.map((v) => (v === null ? null : toShown(v))))];

export function drawChart(told) {
  const reach = plot && plot.reached ? { ...plot.reached } : null;
  history = told;
  plot?.destroy();
  plot = null;
  const empty = history.t.length < 2;
  $("chart-empty").hidden = !empty;
  $("chart-empty").textContent = empty ? say("chart-empty") : "";
  if (empty) return;
  plot = new uPlot(options(), columns(), $("chart"));
  plot.reached = reach;
  if (reach) plot.setScale("x", reach);
}

export function expect(chubs) {
  const now = chubs.filter((c) => c.finish).map((c) => [c.number, c.finish[0] / 1000, c.finish[1] / 1000]);
  const last = history && history.t.length ? history.t[history.t.length - 1] : 0;
  const next = now.filter((one) => one[2] < last + 6 * 3600).sort((a, b) => a[1] - b[1]);
  if (JSON.stringify(next) === JSON.stringify(coming)) return;
  coming = next;
  if (plot && !plot.reached) plot.setData(columns(), true);
}

// A reading that came since the curves were fetched.
export function addReading(snapshot) {
  if (!plot || !snapshot.at_ms || !history.t.length) return;
  const t = Math.round(snapshot.at_ms / 1000);
  const last = history.t.length - 1;
  const step = last ? Math.max(5, (history.t[last] - history.t[0]) / 800) : 5;
  if (t < history.t[last] + step) return;
  history.t.push(t);
  for (const curve of history.curves) {
    const v = curve.kind === "target" ? snapshot.target_degC : snapshot.t[curve.channel];
    curve.v.push(v === undefined ? null : v);
  }
  plot.setData(columns(), !plot.reached);
  if (plot.reached) plot.setScale("x", plot.reached);
}

export function reach(seconds) {
  if (!plot) return;
  const end = history.t[history.t.length - 1];
  plot.reached = seconds ? { min: Math.max(history.t[0], end - seconds), max: end } : null;
  plot.setScale("x", plot.reached ?? { min: history.t[0], max: end });
}

export const redraw = () => { if (history) drawChart(history); };
addEventListener("resize", () => { if (plot) plot.setSize({ width: Math.max(280, $("chart").clientWidth), height: plot.height }); });
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
