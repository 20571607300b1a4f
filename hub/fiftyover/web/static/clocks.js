// The clocks that run after the pull, and the marks of the days around the cook: asked for now and then, not streamed.
import { make, onMarked, putAfter } from "./bar.js";
import { onSnapshot, snapshot } from "./live.js";
import { $, MAY_START, ROOT, element, hours, say } from "./said.js";
import { choose } from "./sheet.js";
import { shown } from "./units.js";

const ASK_MS = 20000;
let after = null;

export const afterText = () => (after && after.next) || "";

const left = (s) => (s === null ? "" : hours(Math.max(0, s)));

function line(one) {
  const chub = say("chub", { chub: one.chub });
  const cooling = one.left_s === null ? say("cooling-lost", one) : say("cooling", { ...one, left: left(one.left_s) });
  const by = one.refrigerator_in_s === null ? "" : `; ${say("refrigerator-by", { left: left(one.refrigerator_in_s) })}`;
  return element("div", {}, `${chub}: ${cooling}${by}`);
}

function button(label, click, kind = "plain") {
  const b = element("button", { type: "button", class: kind }, label);
  b.addEventListener("click", click);
  return b;
}

// A batch that is mixed, stuffed or in its cure hold while another one may hang.
function coming(one, limit) {
  const lines = [one.next];
  if (one.hold_left_s !== null) lines.push(one.hold_left_s > 0 ? say("hold-left", { left: left(one.hold_left_s) }) : say("hold-over"));
  if (one.refrigerator_degC !== null) lines.push(say("refrigerator-now", { degrees: shown(one.refrigerator_degC, 1) }));
  if (one.warm_s !== null) lines.push(say("warm-before", { spent: hours(one.warm_s), limit: say("of-limit", { limit: hours(limit) }) }));
  const buttons = !MAY_START ? [] : [
    button(one.mark.label, () => make(one.mark)),
    ...(one.others.length ? [button($("more").textContent, async () => {
      const index = await choose(one.name, one.others.map((other, i) => [i, other.label]));
      if (index !== null) make(one.others[index]);
    })] : []),
    ...(one.undo ? [button(one.undo.label, () => make(one.undo))] : []),
  ];
  return element("div", { class: "waiting" }, "", element("h3", {}, one.name),
    ...lines.map((text) => element("p", {}, text)), element("p", { class: "row" }, "", ...buttons));
}

async function look() {
  try {
    const answer = await fetch(`${ROOT}/clocks`);
    if (!answer.ok) return;
    const told = await answer.json();
    after = told.after;
    putAfter(after);
    const lines = told.chill.map(line);
    $("coming-box").hidden = told.coming.length === 0;
    $("coming").replaceChildren(...told.coming.map((one) => coming(one, snapshot.warmup_limit_s ?? 21600)));
    if (told.hold_left_s !== null) lines.push(element("div", {}, say("hold-left", { left: left(told.hold_left_s) })));
    $("chill-box").hidden = lines.length === 0;
    $("chill").replaceChildren(...lines);
    if (after && snapshot.mark === null && after.next) $("next").textContent = after.next;
  } catch { /* the stream says when the hub is out of reach */ }
}

let marked = null;
onSnapshot((s) => {
  const now = JSON.stringify([s.undo, s.chubs.length]);
  if (now !== marked) look();
  marked = now;
});
onMarked(look);
setInterval(look, ASK_MS);
