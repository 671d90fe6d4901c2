// The first measurement, led: one step after the other above the page's own, each with its
// picture and its cautions. It can be left at any time, and is taken up where it was.
import * as api from "./api.js";
import { $, byID, does, oneAtATime, put, show } from "./dom.js";
import { act } from "./form.js";
import { mayStart } from "./sound.js";
import { on, state, working } from "./state.js";
import { lacksValue, prepare } from "./takes.js";

const SLOT = "coilsweep-led", OFF = "";
let at = remembered(), answer = null, go = () => {};

function remembered() { try { return localStorage.getItem(SLOT) || OFF; } catch { return OFF; } }
function remember(step) {
  at = step;
  try { localStorage.setItem(SLOT, step); } catch { /* this page remembers it by itself */ }
}

// atMost is a level for a take, in dBFS, as it is typed: the first take of somebody who is
// led is no louder than what the check found good.
export function atMost(level) {
  if (at === OFF || (answer?.ceiling ?? null) === null) return level;
  return level !== "" && Number(level.replace("−", "-").replace(",", ".")) <= answer.ceiling ? level : String(answer.ceiling);
}

export function start(goTo) {
  go = goTo;
  does({
    led: (button) => enter(button.dataset.step ?? ""),
    "led-leave": () => { remember(OFF); draw(); },
    "led-check": (button) => act(button, async () => {
      if (await mayStart()) await api.post("/api/check", { coil: state.coilID, options: { level: "-30", "scout-level": "-30" } });
    }),
  });
  window.addEventListener("resize", () => { $("#led .led-text")?.removeAttribute("style"); });
  // Not while something is recorded: nothing is to move then.
  on(["bench", "trials", "coil", "coilID", "coils", "result", "engine"], () => {
    if (at !== OFF && !(working() && state.engine.kind === "take")) look();
  });
}

const look = oneAtATime(async () => {
  const coil = state.coilID;
  try {
    const now = await api.get("/api/led", { at, coil });
    if (at === OFF || coil !== state.coilID) return;
    // What is said of a step that is done may be shorter: what stands below stays where it is.
    const high = answer?.at === now.at ? $(".led-text", byID("led")).offsetHeight : 0;
    answer = now;
    put(answer.html);
    $(".led-text", byID("led")).style.minHeight = high ? `${high}px` : "";
    if (answer.at === "part" && answer.prepare?.["added-c"] && lacksValue()) prepare(answer.prepare); // the fit advises it now
  } catch { /* the next change brings it */ }
  draw();
});

function draw() {
  show(byID("led"), at !== OFF && answer);
  document.documentElement.classList.toggle("is-led", at !== OFF);
  $("#steps-foot button").setAttribute("aria-pressed", at !== OFF);
}

// enter shows a step, the next one where none is named, on its step of the page.
async function enter(step) {
  at = step || "next";
  await look();
  if (!answer) return;
  remember(answer.at);
  draw();
  go(answer.page, byID("led-h"));
  if (answer.prepare && state.coilID) prepare(answer.prepare);
}
