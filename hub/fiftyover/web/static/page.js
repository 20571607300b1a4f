// What every page has: the stream, the alarms, the bar, the sign-out.
import "./live.js";
import "./bar.js";
import "./alarms.js";
import { ask } from "./ask.js";
import { $ } from "./said.js";

const out = $("sign-out");
if (out) out.addEventListener("click", async () => { await ask("/sign-out"); location.assign("/"); });
document.documentElement.dataset.ready = "yes";
