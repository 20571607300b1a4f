// Chamber, target and cores over the batch, with the band they aim at. Plain SVG: a few hundred points a curve.
const NS = "http://www.w3.org/2000/svg";
const W = 900, H = 320, LEFT = 46, RIGHT = 10, TOP = 10, FOOT = 28;

function add(parent, name, attributes, text) {
  const e = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, value);
  if (text !== undefined) e.textContent = text;
  parent.append(e);
}

export function drawChart(svg, history, shown, units) {
  svg.setAttribute("viewBox", `0 0 ${W} ${H}`);
  svg.replaceChildren();
  const all = history.curves.flatMap((c) => c.points);
  if (all.length < 2) {
    add(svg, "text", { x: W / 2, y: H / 2, "text-anchor": "middle" }, "The curves begin with the first minutes of the batch.");
    return;
  }
  const times = all.map((p) => p[0]);
  const [t0, t1] = [Math.min(...times), Math.max(...times, Math.min(...times) + 600)];
  const values = all.map((p) => p[1]);
  const step = units === "F" ? 20 : 10;
  const toShown = (degC) => (units === "F" ? degC * 1.8 + 32 : degC);
  const low = Math.floor(toShown(Math.min(...values)) / step) * step;
  const high = Math.ceil(toShown(Math.max(...values)) / step) * step;
  const x = (t) => LEFT + ((t - t0) / (t1 - t0)) * (W - LEFT - RIGHT);
  const y = (degC) => H - FOOT - ((toShown(degC) - low) / (high - low || 1)) * (H - TOP - FOOT);
  const yShown = (v) => H - FOOT - ((v - low) / (high - low || 1)) * (H - TOP - FOOT);
  for (let v = low; v <= high; v += step) {
    add(svg, "line", { x1: LEFT, x2: W - RIGHT, y1: yShown(v), y2: yShown(v), class: "axis" });
    add(svg, "text", { x: LEFT - 6, y: yShown(v) + 4, "text-anchor": "end", "font-size": 12 }, `${v}°`);
  }
  const tick = [300, 900, 1800, 3600, 7200, 14400].find((s) => (t1 - t0) / s <= 9) || 28800;
  for (let t = Math.ceil(t0 / tick) * tick; t <= t1; t += tick) {
    const clock = new Date(t * 1000).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
    add(svg, "text", { x: x(t), y: H - 8, "text-anchor": "middle", "font-size": 12 }, clock);
  }
  const [foot, head] = history.band_degC;
  if (toShown(foot) < high) {
    add(svg, "rect", { x: LEFT, y: y(head), width: W - LEFT - RIGHT, height: Math.max(1, y(foot) - y(head)), class: "band" });
  }
  for (const curve of history.curves) {
    const path = curve.points.map((p, i) => `${i ? "L" : "M"}${x(p[0]).toFixed(1)} ${y(p[1]).toFixed(1)}`).join("");
    add(svg, "path", { d: path, class: `curve ${curve.kind}` });
  }
}
