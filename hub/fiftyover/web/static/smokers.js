// The list of all smokers: those that need a person first, else in the order of the settings.
import "./live.js";
import "./alarms.js";
import { ask } from "./ask.js";
import { onSnapshot, snapshot } from "./live.js";
import { $, element, put, say } from "./said.js";
import { onUnits, sentence, shown } from "./units.js";

const URGENT = { act: 0, soon: 1 };
const rank = (one) => (one.alarm ? URGENT[one.alarm.priority] ?? 2 : 2);

function words(one) {
  if (one.alarm) return `${say(`priority-${one.alarm.priority}`)}: ${sentence(one.alarm.text)}${one.more ? ` ${say("and-more", { n: one.more })}` : ""}`;
  return sentence(one.next);
}

function kit(one) {
  if (one.age_s === null) return say("smoker-never");
  return one.age_s > 10 ? say("smoker-silent", { s: Math.round(one.age_s) }) : "";
}

function row(one) {
  const r = element("tr", { class: one.alarm ? one.alarm.priority : null, "data-smoker": one.smoker });
  const silent = kit(one);
  r.append(
    element("th", { scope: "row" }, "", element("a", { href: `/smokers/${one.smoker}/` }, one.smoker), ...(silent ? [element("span", { class: "silent" }, silent)] : [])),
    element("td", {}, one.batch ? `${one.batch}${one.hanging ? `, ${say("hanging", { n: one.hanging })}` : ""}` : say("no-batch")),
    element("td", {}, shown(one.chamber_degC)),
    element("td", {}, shown(one.core_degC)),
    element("td", { class: "todo" }, words(one)),
  );
  return r;
}

let drawn = "";
function draw() {
  const wanted = $("find").value.trim().toLowerCase();
  const found = snapshot.smokers.filter((one) => `${one.smoker} ${one.batch}`.toLowerCase().includes(wanted));
  const ordered = found.map((one, place) => [rank(one), place, one]).sort((a, b) => a[0] - b[0] || a[1] - b[1]).map(([, , one]) => one);
  put("count", say("smokers-shown", { shown: found.length, of: snapshot.smokers.length }));
  const rows = ordered.map(row);
  const text = rows.map((r) => r.outerHTML).join("");
  if (text === drawn) return;
  drawn = text;
  const held = document.activeElement?.closest?.("tr[data-smoker]")?.dataset.smoker;
  $("smokers").replaceChildren(...rows);
  if (held) rows.find((r) => r.dataset.smoker === held)?.querySelector("a").focus();
}

$("find").addEventListener("input", draw);
const out = $("sign-out");
if (out) out.addEventListener("click", async () => { await ask("/sign-out"); location.assign("/"); });
onSnapshot(draw);
onUnits(draw);
document.documentElement.dataset.ready = "yes";
