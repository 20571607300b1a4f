// The live page: one snapshot in, the picture of it out.
import { addReading, drawChart, expect, reach, redraw } from "./chart.js";
import { afterText } from "./clocks.js";
import { onReopened, onSnapshot, snapshot } from "./live.js";
import { drawRack } from "./rack.js";
import { $, ROOT, clock, element, hours, put, say } from "./said.js";
import { onUnits, shown } from "./units.js";

const FETCH_MS = 120000;
let fetchedMarks = "";

function nextText(s) {
  if (!s.next_at) return (s.mark === null && afterText()) || s.next;
  const [from, to] = s.next_at.map(clock);
  return from === to ? say("due", { text: s.next }) : say("between", { text: s.next, from, to });
}

const expected = (chub) => (chub.finish ? say("expected", { from: clock(chub.finish[0]), to: clock(chub.finish[1]) }) : "");

function table(s) {
  const rows = s.chubs.map((c) => [c.number, c.line, c.place, c.probe === null ? "" : c.probe + 1, shown(c.core_degC, 1), expected(c), c.words]);
  const text = JSON.stringify(rows);
  if ($("chubs").dataset.text === text) return;
  $("chubs").dataset.text = text;
  $("chubs").replaceChildren(...rows.map((cells) => element("tr", {}, "", ...cells.map((cell) => element("td", {}, String(cell))))));
}

let pictured = "";
function rack(s, force) {
  const now = JSON.stringify([s.chubs, s.band_degC]);
  if (!force && now === pictured) return;
  pictured = now;
  $("rack-empty").hidden = s.chubs.length > 0;
  $("rack").toggleAttribute("hidden", s.chubs.length === 0);
  if (!s.chubs.length) put("rack-empty", say("rack-empty"));
  drawRack($("rack"), s);
}

function draw(s, force = false) {
  put("title", s.name);
  put("next", nextText(s));
  put("chamber", shown(s.chamber_degC));
  put("target", shown(s.target_degC));
  put("limit", shown(s.limit_degC));
  put("heater", s.stage ? `${s.heater}; ${s.stage}` : s.heater);
  put("clock", s.warmup_s === null ? say("not-running") : `${hours(s.warmup_s)} ${say("of-limit", { limit: hours(s.warmup_limit_s) })}`);
  table(s);
  rack(s, force);
  addReading(s);
  expect(s.chubs);
  const marks = JSON.stringify(s.undo);
  if (fetchedMarks && marks !== fetchedMarks) curves();
}

async function curves() {
  fetchedMarks = JSON.stringify(snapshot.undo);
  try {
    const answer = await fetch(`${ROOT}/history?points=400`);
    if (!answer.ok) return;
    const told = await answer.json();
    const chubOf = new Map(snapshot.chubs.map((c) => [c.probe, c.number]));
    told.curves.forEach((curve) => { if (curve.kind === "core") curve.chub = chubOf.get(curve.channel); });
    drawChart(told);
    expect(snapshot.chubs);
    document.documentElement.dataset.curves = String(told.t.length);
  } catch { /* the stream says when the hub is out of reach */ }
}

put("reach-all", say("all"));
put("reach-hour", say("last-hour"));
$("reach-all").addEventListener("click", () => reach(0));
$("reach-hour").addEventListener("click", () => reach(3600));
onSnapshot((s) => draw(s));
onUnits(() => { draw(snapshot, true); redraw(); });
onReopened(curves);
addEventListener("resize", () => rack(snapshot, true));
document.addEventListener("visibilitychange", () => { if (!document.hidden) curves(); });
setInterval(curves, FETCH_MS);
curves();
