// The stream of snapshots. A lost stream is opened again by the browser, a refused one (restarted hub) by us.
import { $, ROOT, put, say } from "./said.js";

const FRESH_MS = 10000;
const LOST_MS = 3000; // a stream that is opened again sooner is no news
const AGAIN_MS = 2000;
const listeners = [];
let heardAt = 0;
let lostAt = 0;
let opened = 0;
let signedOut = false;

export let snapshot = JSON.parse($("snapshot").textContent);
export const onSnapshot = (f) => { listeners.push(f); if (snapshot.kit) f(snapshot); };
export const again = () => { if (snapshot.kit) listeners.forEach((f) => f(snapshot)); };
const reopened = [];
export const onReopened = (f) => reopened.push(f);

function open() {
  const source = new EventSource(`${ROOT}/live`);
  source.addEventListener("open", () => { opened += 1; lostAt = 0; signedOut = false; if (opened > 1) reopened.forEach((f) => f()); });
  source.addEventListener("message", (event) => {
    heardAt = Date.now();
    snapshot = JSON.parse(event.data);
    again();
    link();
  });
  source.addEventListener("error", () => {
    lostAt = lostAt || Date.now();
    if (source.readyState === EventSource.CLOSED) setTimeout(retry, AGAIN_MS);
  });
  addEventListener("pagehide", () => source.close(), { once: true });
}

async function retry() {
  try { signedOut = (await fetch(`${ROOT}/`, { redirect: "manual" })).type === "opaqueredirect"; } catch { /* still away */ }
  link();
  open();
}

const silent = () => (lostAt > 0 && Date.now() - lostAt > LOST_MS) || (heardAt > 0 && Date.now() - heardAt > FRESH_MS);

function text() {
  if (signedOut) return say("signed-out");
  if (silent()) return say("hub-silent");
  if (!heardAt) return $("link").textContent;
  const kit = snapshot.kit;
  if (!kit || kit.age_s === null) return say("kit-never");
  const s = Math.round(kit.age_s);
  if (s > 10) return say("kit-silent", { s });
  return say(kit.simulated ? "kit-simulated" : "kit-heard", { kit: kit.id, s });
}

function link() {
  const told = text();
  put("link", told);
  $("link").classList.toggle("bad", signedOut || silent());
  if (signedOut && !$("link").querySelector("a")) {
    const a = document.createElement("a");
    a.href = "/sign-in";
    a.textContent = told;
    $("link").replaceChildren(a);
  }
}

setInterval(link, 1000);
open();
