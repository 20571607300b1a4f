// The clocks that run after the pull, and the marks of the days around the cook: asked for now and then, not streamed.
import { onMarked, putAfter } from "./bar.js";
import { onSnapshot, snapshot } from "./live.js";
import { $, element, hours, say } from "./said.js";

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

async function look() {
  const out = snapshot.chubs && snapshot.chubs.length > 0;
  if (!out) return;
  try {
    const answer = await fetch("/clocks");
    if (!answer.ok) return;
    const told = await answer.json();
    after = told.after;
    putAfter(after);
    const lines = told.chill.map(line);
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
