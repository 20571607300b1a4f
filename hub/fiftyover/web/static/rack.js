// The rack: chubs drawn hanging where they hang, each filling as its core climbs from the cold to the foot of its band.
const NS = "http://www.w3.org/2000/svg";
const COLD_DEGC = 4.4;
const TOP = 34, TALL = 150, WIDE = 46, GAP = 26;

function add(parent, name, attributes, text) {
  const e = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, value);
  if (text !== undefined) e.textContent = text;
  parent.append(e);
  return e;
}

export function drawRack(svg, snapshot, shown) {
  const chubs = snapshot.chubs;
  const rowLength = Math.min(chubs.length, 12) || 1;
  const rows = Math.ceil(chubs.length / rowLength);
  const rowTall = TOP + TALL + 64;
  svg.setAttribute("viewBox", `0 0 ${rowLength * (WIDE + GAP) + GAP} ${rows * rowTall}`);
  svg.replaceChildren();
  for (let row = 0; row < rows; row += 1) {
    add(svg, "line", { x1: 4, x2: rowLength * (WIDE + GAP) + GAP - 4, y1: row * rowTall + 8, y2: row * rowTall + 8, class: "bar" });
  }
  chubs.forEach((chub, i) => {
    const x = GAP + (i % rowLength) * (WIDE + GAP);
    const y = Math.floor(i / rowLength) * rowTall + TOP;
    const group = add(svg, "g", { class: chub.state });
    add(group, "title", {}, `Chub ${chub.number}, ${chub.line}, place ${chub.place}: ${shown(chub.core_degC, 1)}, ${chub.words}`);
    add(group, "path", { d: `M${x + WIDE / 2} ${y} v-14 a6 6 0 1 1 6 -6`, class: "hook" });
    const wide = WIDE * Math.min(1, Math.max(0.55, chub.diameter_mm / 64));
    const left = x + (WIDE - wide) / 2;
    const share = chub.core_degC === null ? 0
      : Math.min(1, Math.max(0, (chub.core_degC - COLD_DEGC) / (snapshot.band_degC[0] - COLD_DEGC)));
    const clip = `chub-${chub.number}`;
    const clipPath = add(group, "clipPath", { id: clip });
    add(clipPath, "rect", { x: left, y, width: wide, height: TALL, rx: wide / 2.4 });
    add(group, "rect", { x: left, y, width: wide, height: TALL, class: "skin", "clip-path": `url(#${clip})` });
    add(group, "rect", { x: left, y: y + TALL * (1 - share), width: wide, height: TALL * share, class: "filling", "clip-path": `url(#${clip})` });
    add(group, "rect", { x: left, y, width: wide, height: TALL, rx: wide / 2.4, class: "outline" });
    const middle = { x: x + WIDE / 2, "text-anchor": "middle" };
    add(group, "text", { ...middle, y: y + TALL + 20, "font-size": 15, "font-weight": 600 }, chub.number);
    add(group, "text", { ...middle, y: y + TALL + 38, "font-size": 13 }, chub.core_degC === null ? "no probe" : shown(chub.core_degC));
    if (chub.flag) add(group, "text", { ...middle, y: y + TALL + 55, "font-size": 13, "font-weight": 700 }, chub.flag);
  });
}
