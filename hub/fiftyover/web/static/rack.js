// The rack: chubs drawn hanging where they hang, each filling as its core climbs from the cold to the foot of its band.
// A called chub hangs lower, in a double outline, with a tag; nothing is told by colour alone.
import { say } from "./said.js";
import { add } from "./svg.js";
import { shown } from "./units.js";

const COLD_DEGC = 4.4;
const LARGEST = 1.5; // times its drawn size, where there is room
const CELL = 64, TALL = 132, HOOK = 26, DROP = 14, ROW = HOOK + TALL + DROP + 84;

function body(group, chub, x, y, share) {
  const wide = 46 * Math.min(1, Math.max(0.6, chub.diameter_mm / 64));
  const left = x + (CELL - wide) / 2;
  const round = { x: left, y, width: wide, height: TALL, rx: wide / 2.4 };
  const clip = `chub-${chub.number}`;
  add(add(group, "clipPath", { id: clip }), "rect", round);
  const inside = { "clip-path": `url(#${clip})`, x: left, width: wide };
  add(group, "rect", { ...inside, y, height: TALL, class: "skin" });
  add(group, "rect", { ...inside, y: y + TALL * (1 - share), height: TALL * share, class: chub.guessed ? "filling guessed" : "filling" });
  add(group, "rect", { ...round, class: "outline" });
  if (chub.state === "called") {
    add(group, "rect", { x: left - 5, y: y - 5, width: wide + 10, height: TALL + 10, rx: wide / 2, class: "outline" });
  }
}

function tag(group, x, y, text, kind) {
  const wide = Math.min(CELL - 4, Math.max(44, text.length * 9 + 14));
  const left = x + CELL / 2 - wide / 2;
  add(group, "path", { d: `M${left} ${y} h${wide - 8} l8 12 l-8 12 h${8 - wide} z`, class: `tag ${kind}` });
  add(group, "text", { x: x + CELL / 2 - 3, y: y + 17, class: `tag-text ${kind}` }, text);
}

function hang(svg, snapshot, chub, x, y) {
  const group = add(svg, "g", { class: `chub ${chub.state}` });
  const core = chub.core_degC === null ? say("no-probe") : shown(chub.core_degC);
  add(group, "title", {}, say("rack-chub", { chub: chub.number, line: chub.line, place: chub.place, core, words: chub.words }));
  const drop = chub.state === "called" ? DROP : 0;
  const top = y + HOOK + drop;
  const moving = add(group, "g", { class: "moving" });
  add(moving, "path", { d: `M${x + CELL / 2} ${top} V${y + 10} a5 5 0 1 1 5 -6`, class: "hook" });
  if (chub.state !== "pulled") {
    const foot = snapshot.band_degC[0];
    const share = chub.core_degC === null ? 0 : Math.min(1, Math.max(0, (chub.core_degC - COLD_DEGC) / (foot - COLD_DEGC)));
    body(moving, chub, x, top, share);
  }
  const under = y + HOOK + TALL + DROP + 6;
  add(group, "text", { x: x + CELL / 2, y: under + 20, class: "number" }, chub.number);
  if (chub.state !== "pulled") add(group, "text", { x: x + CELL / 2, y: under + 38, class: "core" }, core);
  if (chub.flag) tag(group, x, under + 44, chub.flag, chub.state);
}

export function drawRack(svg, snapshot) {
  const chubs = snapshot.chubs;
  const wide = svg.parentElement.clientWidth || 340;
  const across = Math.max(1, Math.min(chubs.length, Math.floor(wide / CELL)));
  const rows = Math.ceil(chubs.length / across);
  const even = Math.ceil(chubs.length / Math.max(1, rows));
  svg.setAttribute("viewBox", `0 0 ${even * CELL} ${rows * ROW}`);
  svg.setAttribute("width", Math.min(wide, even * CELL * LARGEST));
  svg.replaceChildren();
  for (let row = 0; row < rows; row += 1) {
    add(svg, "line", { x1: 2, x2: even * CELL - 2, y1: row * ROW + 6, y2: row * ROW + 6, class: "rod" });
  }
  chubs.forEach((chub, i) => hang(svg, snapshot, chub, (i % even) * CELL, Math.floor(i / even) * ROW + 6));
}
