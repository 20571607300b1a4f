// The curves of a batch of the record.
import { drawChart, reach, redraw } from "./chart.js";
import { $, ROOT, put, say } from "./said.js";
import { onUnits, unitName } from "./units.js";

const place = $("chart");
put("reach-all", say("all"));
put("reach-hour", say("last-hour"));
$("reach-all").addEventListener("click", () => reach(0));
$("reach-hour").addEventListener("click", () => reach(3600));

async function curves() {
  const answer = await fetch(`${ROOT}/batches/${place.dataset.batch}/history?points=600`);
  if (!answer.ok) return;
  const told = await answer.json();
  told.curves.forEach((curve) => { if (curve.kind === "core") curve.chub = curve.channel; });
  drawChart(told);
}

// The tables come from the hub in one unit: another means another page.
onUnits(() => {
  redraw();
  const to = new URL(location.href);
  to.searchParams.set("units", unitName());
  location.replace(to);
});
if (place.dataset.units !== (unitName() === "C" ? "C-kg" : "F-lb")) {
  const to = new URL(location.href);
  to.searchParams.set("units", unitName());
  location.replace(to);
} else curves();
