// The bar under the thumb: the next mark, the other marks, undo, and the stop that is always there.
import { mark } from "./ask.js";
import { onSnapshot, snapshot } from "./live.js";
import { $, MAY_START, put, say } from "./said.js";
import { choose, readTitle, temperature } from "./sheet.js";

const SETTLE_MS = 700; // a button that changed under a finger is not taken for the old one
let next = null;
let changedAt = 0;

const hanging = () => snapshot.chubs.filter((c) => ["hanging", "called", "check"].includes(c.state));

async function questions(one) {
  const data = { ...one.data };
  for (const about of one.ask) {
    if (about === "chub") {
      data.chub = await choose(say("which-chub"), hanging().map((c) => [c.number, say("chub-place", { chub: c.number, place: c.place })]));
      if (data.chub === null) return null;
    } else if (about === "core") {
      data.core_degC = await temperature(readTitle(data.chub));
      if (data.core_degC === null) return null;
    } else if (about === "probe") {
      const chub = snapshot.chubs.find((c) => c.number === data.chub);
      if (!chub || chub.probe === null) continue;
      const free = hanging().filter((c) => c.probe === null && c.number !== data.chub);
      data.probe = await choose(say("where-probe"), [
        ["stays", say("probe-stays")],
        ...free.map((c) => [c.number, say("probe-to", { chub: c.number })]),
        ["away", say("probe-away")],
      ]);
      if (data.probe === null) return null;
    }
  }
  return data;
}

export async function make(one) {
  const data = await questions(one);
  if (data === null) return;
  put("said", say("wait"));
  put("said", (await mark(one.kind, data)).sentence);
}

function draw() {
  const one = MAY_START ? snapshot.mark : null;
  if (JSON.stringify(one) !== JSON.stringify(next)) {
    next = one;
    changedAt = Date.now();
    put("do", one ? one.label : "");
  }
  $("do").hidden = !one;
  $("more").hidden = !(MAY_START && snapshot.others.length);
  $("undo").hidden = !(MAY_START && snapshot.undo);
  if (snapshot.undo) put("undo", snapshot.undo.label);
  $("stop").classList.toggle("told", snapshot.stopped);
}

$("do").addEventListener("click", () => { if (next && Date.now() - changedAt > SETTLE_MS) make(next); });
$("undo").addEventListener("click", () => { if (snapshot.undo) make(snapshot.undo); });
$("more").addEventListener("click", async () => {
  const others = snapshot.others;
  const index = await choose($("more").textContent, others.map((one, i) => [i, one.label]));
  if (index !== null) make(others[index]);
});
$("stop").addEventListener("click", async () => {
  put("said", say("wait"));
  put("said", (await mark("stop-heat")).sentence);
});
onSnapshot(draw);
