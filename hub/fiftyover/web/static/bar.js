// The bar under the thumb: the next mark, the other marks, undo, and the stop that is always there.
import { mark } from "./ask.js";
import { onSnapshot, snapshot } from "./live.js";
import { $, MAY_START, put, say } from "./said.js";
import { choose, readTitle, temperature, weight } from "./sheet.js";
import { unitName } from "./units.js";

const SETTLE_MS = 700; // a button that changed under a finger is not taken for the old one
let next = null;
let changedAt = 0;

const hanging = () => snapshot.chubs.filter((c) => ["hanging", "called", "check"].includes(c.state));

const pick = (title, chubs) => choose(title, chubs.map((c) => [c.number, say("chub-place", { chub: c.number, place: c.place })]));

// What a mark still has to know: each puts its answer into the data and gives it, null when the person went back.
const QUESTIONS = {
  chub: async (data) => (data.chub = await pick(say("which-chub"), hanging())),
  "any-chub": async (data) => (data.chub = await pick(say("any-chub"), snapshot.chubs)),
  core: async (data) => (data.core_degC = await temperature(readTitle(data.chub))),
  "mix-core": async (data) => {
    const read = await choose(say("mix-core-ask"), [[true, say("mix-core-read")], [false, say("mix-core-unknown")]]);
    if (!read) return read === null ? null : "unknown";
    return (data.core_degC = await temperature(say("mix-core", { unit: unitName() })));
  },
  "sure-hung": async () => choose(say("hang-sure"), [[true, say("hang-yes")]]),
  second: async (data) => (data.second_degC = await temperature(say("second", { unit: unitName() }))),
  kg: async (data) => (data.kg = await weight()),
  pair: async (data) => {
    const first = await pick(say("pair"), hanging());
    const other = first === null ? null : await pick(say("pair-with"), hanging().filter((c) => c.number !== first));
    data.chubs = [first, other];
    return other;
  },
  probe: async (data) => {
    const chub = snapshot.chubs.find((c) => c.number === data.chub);
    if (!chub || chub.probe === null) return "none";
    const free = hanging().filter((c) => c.probe === null && c.number !== data.chub);
    return (data.probe = await choose(say("where-probe"), [
      ["stays", say("probe-stays")],
      ...free.map((c) => [c.number, say("probe-to", { chub: c.number })]),
      ["away", say("probe-away")],
    ]));
  },
};

async function questions(one) {
  const data = { ...one.data };
  for (const about of one.ask) if ((await QUESTIONS[about](data)) === null) return null;
  return data;
}

// Marks of the days around the cook come with the clocks (clocks.js); they stand behind those of the cook.
let after = null;
export function putAfter(marks) { after = marks; draw(); }
const ahead = () => snapshot.mark ?? (after && after.mark);
const others = () => {
  const behind = after ? [after.mark, ...after.others].filter((one) => one && one !== ahead()) : [];
  return [...(snapshot.others ?? []), ...behind];
};
const undo = () => (snapshot.mark === null && after && after.undo) || snapshot.undo;

export async function make(one) {
  const data = await questions(one);
  if (data === null) return;
  put("said", say("wait"));
  put("said", (await mark(one.kind, data)).sentence);
  marked.forEach((f) => f());
}

const marked = [];
export const onMarked = (f) => marked.push(f);

function draw() {
  const one = MAY_START ? ahead() ?? null : null;
  if (JSON.stringify(one) !== JSON.stringify(next)) {
    next = one;
    changedAt = Date.now();
    put("do", one ? one.label : "");
  }
  $("do").hidden = !one;
  $("more").hidden = !(MAY_START && others().length);
  $("undo").hidden = !(MAY_START && undo());
  if (undo()) put("undo", undo().label);
  $("stop").classList.toggle("told", snapshot.stopped);
}

$("do").addEventListener("click", () => { if (next && Date.now() - changedAt > SETTLE_MS) make(next); });
$("undo").addEventListener("click", () => { if (undo()) make(undo()); });
$("more").addEventListener("click", async () => {
  const all = others();
  const index = await choose($("more").textContent, all.map((one, i) => [i, one.label]));
  if (index !== null) make(all[index]);
});
$("stop").addEventListener("click", async () => {
  put("said", say("wait"));
  put("said", (await mark("stop-heat")).sentence);
});
onSnapshot(draw);
