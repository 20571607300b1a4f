// The live page: one snapshot in, the picture of it out. Marks go up by POST, everything else comes down as events.
import { drawRack } from "./rack.js";
import { drawChart } from "./chart.js";

const $ = (id) => document.getElementById(id);
const meta = (name) => document.querySelector(`meta[name="${name}"]`).content;
const TOKEN = meta("fiftyover-token");
const MAY_START = meta("fiftyover-role") === "cook";
const FRESH_MS = 10000;

let snapshot = null;
let heardAt = 0;
let units = "F";
try { units = localStorage.getItem("fiftyover-units") || "F"; } catch { /* private window: the choice is not kept */ }
$("units").value = units;

const shown = (degC, digits = 0) =>
  degC === null || degC === undefined ? "–" : `${(units === "F" ? degC * 1.8 + 32 : degC).toFixed(digits)} °${units}`;

const hours = (s) => (s === null || s === undefined ? "–" : `${Math.floor(s / 3600)}:${String(Math.floor((s % 3600) / 60)).padStart(2, "0")}`);

async function mark(kind, data = {}) {
  $("said").textContent = "…";
  try {
    const answer = await fetch("/mark", {
      method: "POST",
      headers: { "content-type": "application/json", "x-fiftyover-token": TOKEN },
      body: JSON.stringify({ kind, ...data }),
    });
    $("said").textContent = (await answer.json()).sentence;
  } catch {
    $("said").textContent = kind === "stop-heat" ? "Not delivered: go to the smoker." : "The hub did not answer. Try again.";
  }
}

function button(label, act, parent) {
  const b = document.createElement("button");
  b.className = "big";
  b.type = "button";
  b.textContent = label;
  b.addEventListener("click", act);
  parent.append(b);
}

let shownMarks = "";
function drawMarks() {
  const due = snapshot.chubs.filter((c) => c.state === "called" || c.state === "check");
  const key = due.map((c) => `${c.number}${c.state}`).join();
  if (key === shownMarks) return; // a button must not be replaced under a finger
  shownMarks = key;
  const box = $("marks");
  box.replaceChildren();
  if (!MAY_START) return;
  for (const chub of due) {
    if (chub.state === "called") {
      button(`Chub ${chub.number} is pulled`, () => mark("pulled", { chub: chub.number }), box);
      continue;
    }
    const row = document.createElement("p");
    const label = document.createElement("label");
    label.textContent = `Chub ${chub.number}, read by hand (°${units}): `;
    const input = document.createElement("input");
    input.type = "number";
    input.step = "0.1";
    input.inputMode = "decimal";
    label.append(input);
    row.append(label);
    box.append(row);
    button(`Enter the reading of chub ${chub.number}`, () => {
      if (input.value === "") return;
      const read = Number(input.value);
      mark("hand-reading", { chub: chub.number, core_degC: units === "F" ? (read - 32) / 1.8 : read });
    }, box);
  }
}

function cell(row, text) {
  const td = document.createElement("td");
  td.textContent = text;
  row.append(td);
}

function draw() {
  if (!snapshot || !snapshot.chubs) return;
  $("title").textContent = snapshot.name || "fiftyover";
  $("next").textContent = snapshot.next;
  $("chamber").textContent = shown(snapshot.chamber_degC);
  $("target").textContent = shown(snapshot.target_degC);
  $("limit").textContent = shown(snapshot.limit_degC);
  $("heater").textContent = snapshot.heater;
  $("clock").textContent = hours(snapshot.warmup_s);
  $("stop").hidden = snapshot.stopped;
  $("resume").hidden = !(snapshot.stopped && MAY_START);
  const alarms = $("alarms");
  const text = JSON.stringify(snapshot.alarms);
  if (alarms.dataset.text !== text) {
    alarms.dataset.text = text;
    alarms.replaceChildren(...snapshot.alarms.map((alarm) => {
      const p = document.createElement("p");
      p.className = "alarm";
      p.textContent = alarm;
      return p;
    }));
  }
  const body = $("chubs");
  body.replaceChildren(...snapshot.chubs.map((c) => {
    const row = document.createElement("tr");
    [c.number, c.line, c.place, shown(c.core_degC, 1), c.words].forEach((t) => cell(row, String(t)));
    return row;
  }));
  drawMarks();
  drawRack($("rack"), snapshot, shown);
}

async function curves() {
  try {
    const answer = await fetch("/history?points=400");
    if (answer.ok) drawChart($("chart"), await answer.json(), shown, units);
  } catch { /* the stream says when the hub is out of reach */ }
}

function say() {
  const age = Date.now() - heardAt;
  const kit = snapshot && snapshot.kit;
  if (!heardAt || age > FRESH_MS) $("link").textContent = "The hub does not answer. What you see is old.";
  else if (!kit || kit.age_s === null) $("link").textContent = "The hub has not heard from the kit yet.";
  else if (kit.age_s > 10) $("link").textContent = `No reading from the kit for ${Math.round(kit.age_s)} s.`;
  else $("link").textContent = `${kit.id}, heard ${Math.round(kit.age_s)} s ago${kit.simulated ? ", simulated" : ""}`;
}

$("units").addEventListener("change", (event) => {
  units = event.target.value;
  try { localStorage.setItem("fiftyover-units", units); } catch { /* not kept */ }
  shownMarks = "";
  draw();
  curves();
});
$("stop").addEventListener("click", () => mark("stop-heat"));
$("resume").addEventListener("click", () => mark("resume-heat"));
const out = $("sign-out");
if (out) out.addEventListener("click", async () => {
  await fetch("/sign-out", { method: "POST", headers: { "x-fiftyover-token": TOKEN } });
  location.assign("/");
});

const source = new EventSource("/live");
source.addEventListener("message", (event) => {
  heardAt = Date.now();
  snapshot = JSON.parse(event.data);
  draw();
  say();
});
setInterval(say, 1000);
setInterval(curves, 5000);
curves();
