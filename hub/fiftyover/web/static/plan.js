// A recipe as a form: every change is worked out by the hub at once. The form knows no sums.
import { ask } from "./ask.js";
import { drawLikely } from "./likely.js";
import { $, ROOT, element, hours, put, say } from "./said.js";
import { choose } from "./sheet.js";
import { onUnits } from "./units.js";

const WAIT_MS = 300;
const LOOK_MS = 700;
// [key, label, choices or example]; texts carry their unit, as in a recipe file. A choice is a word, or [value, word].
// From words.py, as the tables; the choices of stages are this household's.
const { fields: FIELDS, tables: TABLES } = JSON.parse($("fields").textContent);
FIELDS.find(([key]) => key === "cook.schedule")[2].push(...JSON.parse($("schedules").textContent));
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
  cooks(told);
}

let practised = null;
function cooks(told) {
  practised = told.cooks ? told : null;
  if (!practised) { $("cooks").replaceChildren(); return; }
  const text = (one) => ({ line: one.line, likely: hours(one.likely_s), low: hours(one.low_s), high: hours(one.high_s) });
  $("cooks").replaceChildren(element("h3", {}, say("practice-head")), ...told.cooks.flatMap((one) => [
    element("p", {}, say("practice-line", text(one))),
    drawLikely(one, told.band_degC, say("likely-picture", text(one))),
  ]), element("p", {}, say("practice-why")));
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

async function progress() {
  try {
    const { done, of } = await (await fetch(`${ROOT}/plan/practice/progress`)).json();
    $("plan-progress").hidden = of === 0;
    if (of === 0) return;
    $("plan-progress").max = of;
    $("plan-progress").value = done;
    put("plan-said", say("practising-done", { done, of }));
  } catch { /* the stream says when the hub is out of reach */ }
}

onUnits(() => { if (practised) cooks(practised); });
$("recipe-name").addEventListener("change", async (event) => {
  const answer = await fetch(`${ROOT}/plan/recipe/${encodeURIComponent(event.target.value)}`);
  if (answer.ok) { recipe = await answer.json(); draw(); work("/plan/sheet"); }
});
$("practice").addEventListener("click", async () => {
  put("plan-said", say("practising"));
  $("practice").disabled = true;
  const look = setInterval(progress, LOOK_MS);
  await work("/plan/practice");
  clearInterval(look);
  $("practice").disabled = false;
  $("plan-progress").hidden = true;
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
  if (told.done) location.assign(`${ROOT}/`);
});
draw();
work("/plan/sheet");
