// Live mode: short sweeps over and over, in digits that are read from afar, while the
// exciter is moved or a screw is turned. Nothing of it is kept.
import * as api from "./api.js";
import { announce, byID, complain, does, oneAtATime, put, say, show } from "./dom.js";
import { hasOwnUse } from "./keys.js";
import { atMost } from "./led.js";
import { mayStart } from "./sound.js";
import { on, state, working } from "./state.js";

const FIRST_DBFS = -30, STEP_DB = 3, LEAST_DBFS = -60;
let level = FIRST_DBFS, asked = false;

const dialog = () => byID("live");
const runs = () => working() && state.engine.kind === "live";

export function start() {
  does({ live: () => { dialog().showModal(); draw(); } });
  byID("live-go").addEventListener("click", toggle);
  byID("live-close").addEventListener("click", () => dialog().close());
  byID("live-full").addEventListener("click", full);
  byID("live-mark").addEventListener("click", () => steer({ mark: true }));
  byID("live-louder").addEventListener("click", () => louder(STEP_DB));
  byID("live-quieter").addEventListener("click", () => louder(-STEP_DB));
  dialog().addEventListener("close", () => {
    if (document.fullscreenElement) document.exitFullscreen();
    if (runs()) halt();
  });
  dialog().addEventListener("keydown", (event) => {
    if (event.key !== " " || event.repeat || hasOwnUse(event.target)) return;
    event.preventDefault();
    toggle();
  });
  document.addEventListener("fullscreenchange", () => {
    say(byID("live-full"), document.fullscreenElement ? "Leave full screen" : "Full screen");
  });
  // A page that was opened while it runs, or in another tab, looks on.
  on(["engine", "line"], () => { if (runs()) asked = false; draw(); });
  on("live", () => { if (dialog().open) curve(); });
}

// toggle starts and stops, as the button does.
export async function toggle() {
  if (working()) { await halt(); return; } // at any time
  if (asked) return;
  asked = true;
  try {
    if (await mayStart()) {
      level = FIRST_DBFS;
      clear();
      await api.post("/api/live", { coil: state.coilID, options: { level: String(level) } });
      announce("Live mode starts.");
    }
    tell("");
  } catch (error) { tell(error.message); } finally {
    asked = false;
    draw();
  }
}

const halt = () => api.post("/api/stop").catch((error) => tell(error.message));

// clear takes away what an earlier run showed.
function clear() {
  put({ "live-resonance": "–", "live-q": "–", "live-level": "–", "live-words": "", "live-since": "", "live-played": "",
    "live-figure": "" });
}

const curve = oneAtATime(async () => {
  try { put((await api.get("/api/live")).html); } catch { /* the next sweep brings it */ }
});

async function steer(how) {
  try {
    await api.post("/api/live/steer", how);
    tell("");
  } catch (error) { tell(error.message); }
}

function louder(by) {
  // Nobody leaps to full scale: what is clicked many times is no louder than the bench's takes.
  const most = Number(atMost(state.bench?.settings?.level ?? state.bench?.defaults?.level ?? String(FIRST_DBFS)));
  level = Math.max(LEAST_DBFS, Math.min(most, level + by));
  steer({ level: String(level) });
  draw();
}

const tell = (text) => complain(dialog(), text);

function draw() {
  if (!dialog().open) return;
  const on = runs(), busy = working() && !on, lost = state.line !== "open";
  const words = lost ? "Disconnected" : busy ? `Waiting for ${state.engine.job}` : on ? "Sweeping" : "Stopped";
  say(byID("live-state"), words);
  dialog().dataset.state = on && !lost ? "working" : "ready";
  say(byID("live-go"), on ? "Stop" : "Start");
  byID("live-go").classList.toggle("stop", on);
  byID("live-go").disabled = busy || lost;
  for (const id of ["live-quieter", "live-louder", "live-mark"]) byID(id).disabled = !on;
  say(byID("live-wanted"), on ? `Chosen: ${String(level).replace("-", "−")} dBFS.` : "");
  show(byID("live-full"), document.fullscreenEnabled);
}

async function full() {
  try {
    if (document.fullscreenElement) await document.exitFullscreen();
    else await byID("live-screen").requestFullscreen();
  } catch { tell("This browser gives no full screen here."); }
}
