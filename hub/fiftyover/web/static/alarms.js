// What is wrong and what to do, the most urgent first; sound and shaking on this device while something is urgent.
import { ask } from "./ask.js";
import { onSnapshot, snapshot } from "./live.js";
import { $, element, put, say } from "./said.js";
import { onUnits, sentence } from "./units.js";

const KEY = "fiftyover-sound";
const REPEAT_MS = 4000;
const TONES = { act: [[0, 880], [0.18, 660], [0.36, 880]], soon: [[0, 520]] }; // s, Hz
let audio = null;
let on = false;
const heard = new Set(); // alarms this device was told of, by name
const sounded = new Set();
try { on = localStorage.getItem(KEY) === "on"; } catch { /* not kept: sound starts off */ }

const urgent = () => snapshot.alarms.filter((a) => a.priority === "act" && !heard.has(a.key));

function play(priority) {
  if (navigator.vibrate && navigator.userActivation?.hasBeenActive) navigator.vibrate(priority === "act" ? [300, 120, 300] : [150]);
  if (!on) return;
  audio = audio || new AudioContext();
  for (const [after, hertz] of TONES[priority]) {
    const tone = audio.createOscillator();
    const loud = audio.createGain();
    tone.type = "triangle";
    tone.frequency.value = hertz;
    loud.gain.setValueAtTime(0.25, audio.currentTime + after);
    loud.gain.exponentialRampToValueAtTime(0.001, audio.currentTime + after + 0.16);
    tone.connect(loud).connect(audio.destination);
    tone.start(audio.currentTime + after);
    tone.stop(audio.currentTime + after + 0.17);
  }
  document.documentElement.dataset.sounded = String(Number(document.documentElement.dataset.sounded || 0) + 1);
}

function list(id, alarms) {
  const text = JSON.stringify(alarms.map((a) => [a.priority, sentence(a.text)]));
  if ($(id).dataset.text === text) return;
  $(id).dataset.text = text;
  $(id).replaceChildren(...alarms.map((a) => element("p", { class: `alarm ${a.priority}` }, "",
    element("strong", {}, `${say(`priority-${a.priority}`)}: `), sentence(a.text))));
}

function draw() {
  list("alarms-act", snapshot.alarms.filter((a) => a.priority === "act"));
  list("alarms-rest", snapshot.alarms.filter((a) => a.priority !== "act"));
  $("heard").hidden = urgent().length === 0;
  put("heard", say("heard"));
  const now = new Set(snapshot.alarms.map((a) => a.key));
  for (const key of [...heard, ...sounded]) if (!now.has(key)) { heard.delete(key); sounded.delete(key); }
  const fresh = snapshot.alarms.filter((a) => a.priority !== "know" && !sounded.has(a.key));
  fresh.forEach((a) => sounded.add(a.key));
  if (fresh.length) play(fresh[0].priority);
}

function button() {
  put("sound", say(on ? "sound-on" : "sound-off"));
  $("sound").setAttribute("aria-pressed", String(on));
}

$("sound").addEventListener("click", () => {
  on = !on;
  try { localStorage.setItem(KEY, on ? "on" : "off"); } catch { /* not kept */ }
  button();
  if (on) play("soon");
});
$("heard").addEventListener("click", async () => {
  const keys = urgent().map((a) => a.key);
  keys.forEach((key) => heard.add(key));
  draw();
  put("said", say("heard-said"));
  ask("/heard");
});
setInterval(() => { if (urgent().length) play("act"); }, REPEAT_MS);
button();
onSnapshot(draw);
onUnits(draw);
