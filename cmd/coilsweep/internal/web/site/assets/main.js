// The page: which step is shown, what stands above all steps, the key.
import { $, $$, byID, complain, does, el, say, show, write } from "./dom.js";
import * as afar from "./afar.js";
import * as bench from "./bench.js";
import * as coils from "./coils.js";
import * as coil from "./coil.js";
import * as empty from "./empty.js";
import * as exciter from "./exciter.js";
import * as figures from "./figures.js";
import * as guitar from "./guitar.js";
import * as key from "./key.js";
import * as keys from "./keys.js";
import * as levels from "./levels.js";
import * as live from "./live.js";
import * as led from "./led.js";
import * as lot from "./lot.js";
import * as many from "./many.js";
import * as meters from "./meters.js";
import * as mine from "./mine.js";
import * as publish from "./publish.js";
import * as result from "./result.js";
import * as takes from "./takes.js";
import { takeWithout } from "./takes.js";
import { changed, on, start as listen, state } from "./state.js";

const STEPS = ["bench", "coil", "takes", "result", "guitar", "compare", "report"];
let step = "", locked = false;

// go shows a step, with the focus in the field where the next thing is typed, if one is.
let field = null;
function go(to, next = null) {
  field = next;
  if (window.location.hash === `#${to}`) showStep(to, true);
  else window.location.hash = to;
}

function showStep(to, focus) {
  if (!STEPS.includes(to)) to = step || "bench";
  const moved = to !== step;
  step = to;
  for (const section of $$("section.step")) show(section, !locked && section.id === step);
  // What is being measured comes first; elsewhere what is to be done next.
  const next = byID("next"), above = step === "takes" ? $(".bench-side") : byID("led");
  if (next.previousElementSibling !== above) above.after(next);
  for (const link of $$("#steps a")) {
    if (link.hash === `#${step}`) link.setAttribute("aria-current", "step");
    else link.removeAttribute("aria-current");
  }
  const heading = $("h1", byID(step));
  afar.named(`${heading.firstChild.textContent.trim()} · coilsweep`);
  if (focus && !locked) {
    (field ?? heading).focus({ preventScroll: true });
    field = null;
    window.scrollTo(0, 0);
  }
  if (moved) { changed("step"); drawHere(); }
}

function route(focus) {
  const hash = window.location.hash;
  if (/[#&]key=/.test(hash)) { unlock(key.take()); return; }
  const to = decodeURIComponent(hash.slice(1));
  if (to === "main") { byID("main").focus(); return; }
  showStep(to, focus);
}

// drawHere hides buttons that lead to the step that is shown.
function drawHere() {
  for (const button of $$("#next [data-do=go]")) show(button, button.dataset.step !== step);
}

function drawLine() {
  const { line, lineSaid: said } = state, phase = byID("phase");
  show(byID("lost"), line === "lost" && !locked);
  say(byID("lost-head"), state.closing ? "coilsweep was ended" : said ? "Not connected to coilsweep"
    : "The connection to coilsweep is lost");
  say(byID("lost-take"), takeWithout(state.closing));
  say(byID("lost-said"), said ? `The program says: ${said}. ` : "");
  Object.assign(document.documentElement.dataset, { line, phase: state.engine.phase });
  if (line !== "open") write(phase, line === "opening" ? "connecting …" : "disconnected");
  phase.className = line === "open" ? state.engine.phase : line;
}

// lock shows the page that asks for the key.
function lock(failure) {
  if (locked) return;
  locked = true;
  show(byID("locked"), true);
  show(byID("lost"), false);
  for (const section of $$("section.step")) show(section, false);
  document.documentElement.classList.add("is-locked");
  document.title = "Key needed · coilsweep";
  if (failure?.status === 403) lockWords(failure.message);
  else if (key.get()) {
    lockWords("The key that this tab has is not that of the program that runs now: it was started again since.");
  }
  byID("locked-key").focus();
}

const lockWords = (text) => complain(byID("locked"), text);

let listening = null;
function unlock(text) {
  if (!text) return;
  key.remember(text);
  locked = false;
  show(byID("locked"), false);
  lockWords("");
  document.documentElement.classList.remove("is-locked");
  showStep(step || startStep());
  listening();
}

function startStep() {
  const wanted = window.location.hash.slice(1);
  return STEPS.includes(wanted) ? wanted : "bench";
}

for (const line of $$("details.line")) line.append(el("button", { type: "button", "data-do": "copy" }, "Copy"));
does({ go: (button) => go(button.dataset.step) });
empty.start();
bench.start();
coils.start();
for (const module of [coil, takes, led]) module.start(go);
for (const module of [figures, exciter, result, guitar, many, lot, publish, keys, levels, live, mine, afar, meters])
  module.start();
on("next", drawHere);
on(["engine", "line"], drawLine);
window.addEventListener("hashchange", () => route(true));
byID("locked-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const given = key.fromAddress(byID("locked-key").value);
  if (!given) { lockWords("That holds no key: the address ends in #key= and the key."); return; }
  unlock(given);
});
key.onOther(() => { if (locked) unlock(key.get()); });
drawLine();

if (key.take()) {
  showStep(startStep());
  listening = listen(lock);
} else {
  lock();
  step = startStep();
  listening = () => { listening = listen(lock); };
}
