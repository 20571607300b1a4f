// The kit's page: what it reads and says now, asked for every few seconds.
import { ask } from "./ask.js";
import { $, ROOT, element, put, say } from "./said.js";
import { fromShown, onUnits, shown, toShown, unitName } from "./units.js";

const ASK_MS = 3000;
let told = JSON.parse($("kit").textContent);

function rows(id, lists) {
  const text = JSON.stringify(lists);
  if ($(id).dataset.text === text) return;
  $(id).dataset.text = text;
  $(id).replaceChildren(...lists.map((cells) => element("tr", {}, "", ...cells.map((cell, i) =>
    element(i ? "td" : "th", i ? {} : { scope: "row" }, String(cell))))));
}

const when = (ms) => new Date(ms).toLocaleString([], { dateStyle: "short", timeStyle: "short" });

function baths() {
  const form = $("baths");
  if (!form) return;
  const names = told.probes.map((p) => p.probe);
  if ($("bath-probe").dataset.names !== String(names)) {
    const kept = $("bath-probe").value;
    $("bath-probe").dataset.names = String(names);
    $("bath-probe").replaceChildren(...names.map((name) => element("option", { value: name }, say("probe-n", { probe: name }))));
    if (names.includes(kept)) $("bath-probe").value = kept;
  }
  form.querySelectorAll(".unit").forEach((e) => { e.textContent = `°${unitName()}`; });
  const found = told.calibrations;
  $("no-baths").hidden = found.length > 0;
  put("no-baths", found.length ? "" : say("no-baths"));
  if ($("calibrations").dataset.text === JSON.stringify(found)) return;
  $("calibrations").dataset.text = JSON.stringify(found);
  $("calibrations").replaceChildren(...found.map((one) => element("li", {}, "",
    element("strong", {}, `${when(one.utc_ms)}: `), one.says,
    ...(one.line ? [` ${say("line-for", one)}`, element("code", {}, one.line)] : []))));
}

function draw() {
  baths();
  $("kit-none").hidden = Boolean(told.id);
  put("kit-none", told.id ? "" : say("kit-none"));
  put("kit-id", told.id);
  put("kit-limit", shown(told.limit_degC));
  put("kit-cut-off", shown(told.cut_off_degC));
  put("kit-element", told.element);
  rows("probes", told.probes.map((p) => [p.probe, p.where, shown(p.degC, 1), p.words, p.kind || say("kind-unknown")]));
  rows("facts", told.facts);
  const faults = told.faults.map((f) => [when(f.utc_ms), f.text]);
  rows("faults", faults);
  $("no-faults").hidden = faults.length > 0;
  put("no-faults", faults.length ? "" : say("no-faults"));
}

async function look() {
  try {
    const answer = await fetch(`${ROOT}/kit/now`);
    if (answer.ok) { told = await answer.json(); draw(); }
  } catch { /* the stream says when the hub is out of reach */ }
}

const typed = (input) => (input.value === "" ? null : Number(input.value));

function calibration() {
  const form = $("baths");
  if (!form) return;
  form.querySelectorAll(".take").forEach((b) => b.addEventListener("click", () => {
    const probe = told.probes.find((p) => p.probe === $("bath-probe").value);
    if (!probe || probe.degC === null) { put("bath-said", say("no-reading", { probe: $("bath-probe").value })); return; }
    form.elements[b.dataset.into].value = toShown(probe.degC).toFixed(2);
  }));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    put("bath-said", say("wait"));
    const degC = (name) => { const value = typed(form.elements[name]); return value === null ? null : fromShown(value); };
    const answer = await ask("/kit/calibration", {
      probe: Number(form.elements.probe.value), kind: form.elements.kind.value, has: form.elements.has.value,
      ice_degC: degC("ice"), boiling_degC: degC("boiling"), given: form.elements.given.value, value: typed(form.elements.value),
    });
    put("bath-said", answer.sentence);
    look();
  });
}

setInterval(look, ASK_MS);
onUnits(() => {
  draw();
  if ($("baths")) for (const name of ["ice", "boiling"]) $("baths").elements[name].value = ""; // they were of the other unit
});
calibration();
draw();
