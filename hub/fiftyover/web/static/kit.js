// The kit's page: what it reads and says now, asked for every few seconds.
import { $, element, put, say } from "./said.js";
import { onUnits, shown } from "./units.js";

const ASK_MS = 3000;
let told = JSON.parse($("kit").textContent);

function rows(id, lists) {
  const text = JSON.stringify(lists);
  if ($(id).dataset.text === text) return;
  $(id).dataset.text = text;
  $(id).replaceChildren(...lists.map((cells) => element("tr", {}, "", ...cells.map((cell, i) =>
    element(i ? "td" : "th", i ? {} : { scope: "row" }, String(cell))))));
}

function draw() {
  $("kit-none").hidden = Boolean(told.id);
  put("kit-none", told.id ? "" : say("kit-none"));
  put("kit-id", told.id);
  put("kit-limit", shown(told.limit_degC));
  put("kit-cut-off", shown(told.cut_off_degC));
  put("kit-element", told.element);
  rows("probes", told.probes.map((p) => [p.probe, p.where, shown(p.degC, 1), p.words]));
  rows("facts", told.facts);
  const faults = told.faults.map((f) => [new Date(f.utc_ms).toLocaleString([], { dateStyle: "short", timeStyle: "short" }), f.text]);
  rows("faults", faults);
  $("no-faults").hidden = faults.length > 0;
  put("no-faults", faults.length ? "" : say("no-faults"));
}

setInterval(async () => {
  try {
    const answer = await fetch("/kit/now");
    if (answer.ok) { told = await answer.json(); draw(); }
  } catch { /* the stream says when the hub is out of reach */ }
}, ASK_MS);
onUnits(draw);
draw();
