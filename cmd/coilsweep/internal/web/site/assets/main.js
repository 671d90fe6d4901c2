// The page: which step is shown, what stands above all steps, the key.
import { $, $$, byID, el, fill, say, show } from "./dom.js";
import { typeset, visible } from "./format.js";
import * as bench from "./bench.js";
import * as coil from "./coil.js";
import * as guitar from "./guitar.js";
import * as key from "./key.js";
import * as keys from "./keys.js";
import * as many from "./many.js";
import * as meters from "./meters.js";
import * as publish from "./publish.js";
import * as result from "./result.js";
import * as takes from "./takes.js";
import { changed, on, start as listen, state, working } from "./state.js";
import { next, stepWords } from "./steps.js";

const STEPS = ["bench", "coil", "takes", "result", "guitar", "compare", "report"];
const MARKS = { ready: "✓", open: "○", wait: "·", work: "▸", alarm: "▲" };
let step = "", locked = false;

// go shows a step; options fill the form of the takes.
function go(to, options, again) {
  if (options) { takes.prepare(options, again); takes.seen(); }
  if (window.location.hash === `#${to}`) showStep(to, true);
  else window.location.hash = to;
}

function showStep(to, focus) {
  if (!STEPS.includes(to)) to = step || "bench";
  const moved = to !== step;
  step = to;
  for (const section of $$("section.step")) show(section, !locked && section.id === step);
  for (const link of $$("#steps a")) {
    if (link.hash === `#${step}`) link.setAttribute("aria-current", "step");
    else link.removeAttribute("aria-current");
  }
  const heading = $("h1", byID(step));
  document.title = `${heading.firstChild.textContent.trim()} · coilsweep`;
  if (focus && !locked) { heading.focus({ preventScroll: true }); window.scrollTo(0, 0); }
  if (moved) { changed("step"); drawNext(); }
}

function route(focus) {
  const hash = window.location.hash;
  if (/[#&]key=/.test(hash)) { unlock(key.take()); return; }
  const to = decodeURIComponent(hash.slice(1));
  if (to === "main") { byID("main").focus(); return; }
  showStep(to, focus);
}

let drawnSteps = "";
function drawSteps() {
  const words = stepWords(state);
  const now = JSON.stringify(words);
  if (now === drawnSteps) return;
  drawnSteps = now;
  for (const link of $$("#steps a")) {
    const { word, mark } = words[link.hash.slice(1)];
    const place = $(".word", link);
    link.dataset.mark = mark;
    fill(place, el("span", { "aria-hidden": "true" }, MARKS[mark]), " ", word);
  }
}

let drawnNext = "";
function drawNext() {
  const place = byID("next"), n = locked || state.line !== "open" ? null : next(state);
  const now = JSON.stringify([n, step]);
  if (now === drawnNext) return;
  drawnNext = now;
  show(place, Boolean(n));
  if (!n) return;
  place.className = n.alarm ? "alarm" : n.work ? "work" : "";
  const button = (one, kind) => {
    const here = one.step === step && !one.options && !one.fit && !one.takeOver && one.label !== "New coil";
    if (!one.label || here) return null;
    return el("button", { type: "button", class: kind, click: () => act(one) }, one.label);
  };
  fill(place, el("b", {}, n.alarm ? "Trouble" : n.work ? "Now" : "Next"), " ", el("span", { dir: "auto" }, typeset(n.text)), " ",
    button(n, null), n.also ? [" ", button(n.also, "also")] : null);
}

function act(one) {
  if (one.label === "New coil") coil.startNew(go);
  else if (one.fit) byID("fit-again").click();
  else if (one.takeOver) bench.takeOver();
  else go(one.step, one.options, one.redo);
}

const PHASES = { off: "not listening", opening: "opening the device …", listening: "listening", working: "working", lost: "device lost" };

function drawPhase() {
  const e = state.engine, place = byID("phase");
  place.className = e.phase;
  if (state.line !== "open") place.className = state.line;
  if (state.line === "opening") say(place, "connecting …");
  else if (state.line !== "open") say(place, "no line");
  else say(place, working() ? visible(e.job || "working") : PHASES[e.phase] ?? visible(e.phase));
  document.documentElement.dataset.phase = e.phase;
}

function drawLine() {
  const lost = state.line === "lost" && !locked, place = byID("lost");
  show(place, lost);
  if (lost && place.dataset.said !== state.lineSaid) {
    place.dataset.said = state.lineSaid;
    fill(place, el("p", { class: "big" }, state.lineSaid ? "No line to the program" : "The line to the program is lost"),
      el("p", {}, state.lineSaid ? `The program says: ${visible(state.lineSaid)}. ` : "", "The page goes on by itself as soon as the program answers. A take that was running goes on without the page. If the program was ended, start it again: ", el("code", {}, "coilsweep serve")));
  }
  if (!lost) delete place.dataset.said;
  if (!lost) fill(place);
  document.documentElement.dataset.line = state.line;
  drawNext();
}

function drawSimulated() {
  const b = state.bench, place = byID("simulated");
  show(place, Boolean(b?.simulated));
  if (b?.simulated) fill(place, el("b", {}, "Simulated bench."), " No sound is made: the coil is invented, and so is what is measured of it. ", el("span", { class: "of-bench", dir: "auto" }, visible((b.simulated_notes ?? []).join("; "))));
  document.documentElement.classList.toggle("is-simulated", Boolean(b?.simulated));
}

// lock shows the page that asks for the key.
function lock(failure) {
  if (locked) return;
  locked = true;
  show(byID("locked"), true);
  for (const id of ["next", "simulated", "lost"]) show(byID(id), false);
  for (const section of $$("section.step")) show(section, false);
  document.documentElement.classList.add("is-locked");
  document.title = "Key needed · coilsweep";
  if (failure?.status === 403) lockWords(failure.message);
  else if (key.get()) lockWords("The key that this tab has is not that of the program that runs now: it was started again since.");
  byID("locked-key").focus();
}

function lockWords(text) {
  const wrong = $("#locked .wrong");
  say(wrong, visible(text));
  show(wrong, Boolean(text));
}

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

const startStep = () => STEPS.includes(window.location.hash.slice(1)) ? window.location.hash.slice(1) : "bench";

bench.start();
coil.start(go);
takes.start();
result.start(go);
guitar.start();
many.start();
publish.start();
keys.start();
meters.start();
on(["bench", "coil", "coils", "result", "engine", "coilID"], () => { drawSteps(); drawNext(); });
on(["engine", "line"], drawPhase);
on("line", drawLine);
on("bench", drawSimulated);
window.addEventListener("hashchange", () => route(true));
byID("locked-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const given = key.fromAddress(byID("locked-key").value);
  if (!given) { lockWords("That holds no key: the address ends in #key= and the key."); return; }
  unlock(given);
});
key.onOther(() => { if (locked) unlock(key.get()); });
drawSteps();
drawPhase();

if (key.take()) {
  showStep(startStep());
  listening = listen(lock);
} else {
  lock();
  step = startStep();
  listening = () => { listening = listen(lock); };
}
