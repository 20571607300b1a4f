// A recipe as a form: every change is worked out by the hub at once. The form knows no sums.
import { ask } from "./ask.js";
import { $, element, hours, put, say } from "./said.js";
import { choose } from "./sheet.js";

const WAIT_MS = 300;
const KINDS = ["pork", "beef", "veal", "lamb", "mutton", "goat", "rabbit", "game", "chicken", "turkey", "duck", "goose"];
const SCHEDULES = JSON.parse($("schedules").textContent);
// [key, label, choices or example]; texts carry their unit, as in a recipe file. A choice is a word, or [value, word].
const FIELDS = [
  ["name", "Name", ""], ["units", "Figures in", ["F-lb", "C-kg"]],
  ["target.weight", "Meat in all, where weights are left out", "10 lb"], ["target.fat", "Fat wanted", "24 %"],
  ["salt.in_all", "Salt in all, of the meat", "1.8 %"], ["water", "Ice water", "4 %"],
  ["cure.nitrite", "Nitrite in the cure, off its label", "6.25 %"], ["cure.wanted", "Nitrite wanted, of the meat", "156 ppm"],
  ["rig.probes", "Core probes", 2], ["rig.watts", "Element, watts", 800], ["rig.relay", "Relay", ["mechanical", "solid-state"]],
  ["rig.response", "You need to come", "10 min"], ["rig.stuffer", "Stuffer holds", "5 lb"],
  ["cook.band_from", "Pull from", "152 °F"], ["cook.band_to", "Pull to", "155 °F"], ["cook.limit", "Smoker limit", "180 °F"],
  ["cook.schedule", "Stages", [["", "follow the meat all the way"], ...SCHEDULES]], ["cook.lead", "Follow the lowest core, the median, or chub", "lowest"],
  ["cook.wood", "Wood lies", [["", "as the stages say"], ["element", "on the element"], ["tray", "in a tray of its own"], ["none", "nowhere"]]],
  ["cook.autotune", "Measure this smoker at the start", [["", "no"], "yes"]],
  ["times.cure_hold", "Cure hold", "14 h"], ["times.bloom", "Bloom", "1 h 30 min"],
];
const TABLES = [
  ["meat", "Meat", [["name", "Meat", ""], ["kind", "Kind", KINDS], ["fat", "Fat", "28 %"], ["weight", "Weight", "8 lb"]]],
  ["seasoning", "Seasoning", [["name", "What", ""], ["amount", "Amount", "0.5 %"]]],
  ["casing", "Casing lines", [["line", "Line", "slim"], ["diameter", "Diameter, stuffed", "45 mm"], ["length", "Length", "12 in"], ["count", "Chubs", 0]]],
];
let recipe = JSON.parse($("recipe").textContent);
let asked = 0;
let timer = 0;

function field(label, value, example, changed) {
  const box = element("label", {}, `${label} `);
  const input = Array.isArray(example) ? element("select") : element("input", { placeholder: String(example) });
  if (Array.isArray(example)) input.append(...example.map((one) => element("option", { value: [one].flat()[0] }, [one].flat().at(-1))));
  input.value = value ?? (Array.isArray(example) ? [example[0]].flat()[0] : "");
  input.addEventListener("input", () => {
    const text = input.value.trim();
    changed(text === "" ? undefined : typeof example === "number" ? Number(text) : text);
    later();
  });
  box.append(input);
  return box;
}

function single([path, label, example]) {
  const [table, key] = path.includes(".") ? path.split(".") : [null, path];
  const home = () => (table ? (recipe[table] ??= {}) : recipe);
  const value = table ? recipe[table]?.[key] : recipe[key];
  return field(label, value, example, (text) => {
    if (text === undefined) delete home()[key];
    else home()[key] = text;
  });
}

function many([name, title, columns]) {
  const rows = (recipe[name] ??= []);
  const box = element("fieldset", {}, "", element("legend", {}, title));
  rows.forEach((row, i) => {
    const less = element("button", { type: "button", class: "plain", "aria-label": `${say("line-less")}: ${row[columns[0][0]] ?? i + 1}` }, say("line-less"));
    less.addEventListener("click", () => { rows.splice(i, 1); draw(); later(); });
    box.append(element("div", { class: "row" }, "", ...columns.map(([key, label, example]) => field(label, row[key], example, (text) => {
      if (text === undefined) delete row[key];
      else row[key] = text;
    })), less));
  });
  const more = element("button", { type: "button", class: "plain" }, say("line-more"));
  more.addEventListener("click", () => { rows.push({}); draw(); });
  box.append(more);
  return box;
}

function draw() {
  $("form").replaceChildren(...FIELDS.slice(0, 2).map(single), ...TABLES.map(many), element("div", { class: "pairs" }, "", ...FIELDS.slice(2).map(single)));
}

function table(block) {
  const cells = (row, name) => element("tr", {}, "", ...row.map((cell) => element(cell ? name : "td", {}, cell)));
  const t = element("table", {}, "", element("tbody", {}, "", ...block.rows.map((row) => cells(row, "td"))));
  if (block.head.some(Boolean)) t.prepend(element("thead", {}, "", cells(block.head, "th")));
  return element("section", { class: "table", tabindex: "0", "aria-label": block.title }, "", element("h3", {}, block.title), t);
}

function show(told) {
  put("wrong", told.sentence ?? "");
  $("blocks").classList.toggle("stale", Boolean(told.sentence));
  if (told.sentence) return;
  $("notices").replaceChildren(...told.notices.map((text) => element("p", { class: "alarm soon" }, text)));
  $("blocks").replaceChildren(...told.blocks.map(table));
  put("closing", told.closing);
  $("cooks").replaceChildren(...(told.cooks ? [element("h3", {}, say("practice-head")), ...told.cooks.map((one) => element("p", {}, say("practice-line", {
    line: one.line, likely: hours(one.likely_s), low: hours(one.low_s), high: hours(one.high_s),
  }))), element("p", {}, say("practice-why"))] : []));
}

async function work(path) {
  asked += 1;
  const mine = asked;
  const told = await ask(path, recipe);
  if (mine === asked) show(told);
}

function later() {
  clearTimeout(timer);
  timer = setTimeout(() => work("/plan/sheet"), WAIT_MS);
}

$("recipe-name").addEventListener("change", async (event) => {
  const answer = await fetch(`/plan/recipe/${encodeURIComponent(event.target.value)}`);
  if (answer.ok) { recipe = await answer.json(); draw(); work("/plan/sheet"); }
});
$("practice").addEventListener("click", async () => {
  put("plan-said", say("practising"));
  await work("/plan/practice");
  put("plan-said", "");
});
$("print").addEventListener("click", async () => {
  const told = await ask("/plan/page", recipe);
  if (told.sentence) { put("wrong", told.sentence); return; }
  const a = element("a", { href: URL.createObjectURL(new Blob([told.text], { type: "text/html" })), download: told.name });
  a.click();
  setTimeout(() => URL.revokeObjectURL(a.href), 1000);
});
for (const name of ["begin", "hang"]) $(name)?.addEventListener("click", async () => {
  if (!(await choose(say(`${name}-sure`), [[true, say(`${name}-yes`)]]))) return;
  put("plan-said", say("wait"));
  const told = await ask(`/plan/${name}`, recipe);
  put(told.done ? "plan-said" : "wrong", told.sentence);
  if (told.done) location.assign("/");
});
draw();
work("/plan/sheet");
