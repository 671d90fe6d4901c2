// For somebody who looks at the coil and not at the screen: the tab's title, a screen
// that stays on, sounds and words at the end of a take, and a pedal in place of the space
// bar.
import { byID, does, say, show } from "./dom.js";
import * as live from "./live.js";
import { on, state, working } from "./state.js";
import { toggle } from "./takes.js";

const SLOTS = { sound: "coilsweep-sound", speak: "coilsweep-speak", pedal: "coilsweep-pedal" };
const remembered = (slot) => { try { return localStorage.getItem(slot); } catch { return null; } };
function remember(slot, value) {
  try { localStorage.setItem(slot, value); } catch { /* this page remembers it by itself */ }
}

// The title: "Sweep 2 of 4 · Takes", and how a take ended until somebody looks.

let news = "";
export function titleOf({ base, progress, engine, busy, news: last }) {
  if (busy && progress?.repeat) return `Sweep ${progress.repeat} of ${progress.repeats} · ${base}`;
  if (busy && engine.job) return `${engine.job} … · ${base}`;
  return last ? `${last} · ${base}` : base;
}

let base = document.title;
function drawTitle() {
  if (document.documentElement.classList.contains("is-locked")) return;
  const title = titleOf({ base, progress: state.progress, engine: state.engine, busy: working(), news });
  if (document.title !== title) document.title = title;
}

// named is what the page is called by itself.
export function named(title) {
  base = title;
  drawTitle();
}

// The screen.

let lock = null;
async function awake() {
  const wanted = working() && document.visibilityState === "visible";
  if (!wanted) { lock?.release().catch(() => {}); lock = null; return; }
  if (lock && !lock.released) return;
  try { lock = await navigator.wakeLock?.request("screen"); } catch { /* a browser may refuse it */ }
}

// The sounds: a rising fifth for a take that is usable, two low ones for one that is not.
// They come when nothing is recorded any more, and end when something starts.

export const TUNES = { good: [[660, 0], [990, 0.14]], bad: [[220, 0], [220, 0.3]] };
const GAIN = 0.08; // quiet: the browser's output may be the exciter's
let audio = null;

function play(notes) {
  audio?.close();
  try { audio = new AudioContext(); } catch { return; }
  for (const [hz, at] of notes) {
    const tone = audio.createOscillator(), gain = audio.createGain(), from = audio.currentTime + 0.05 + at;
    tone.frequency.value = hz;
    gain.gain.setValueAtTime(0, from);
    gain.gain.linearRampToValueAtTime(GAIN, from + 0.01);
    gain.gain.linearRampToValueAtTime(0, from + 0.22);
    tone.connect(gain).connect(audio.destination);
    tone.start(from);
    tone.stop(from + 0.25);
  }
}

function silence() {
  audio?.close();
  audio = null;
  window.speechSynthesis?.cancel();
}

// sentenceOf is what is said of the end of a take.
export function sentenceOf({ outcome, take }) {
  const of = `Take ${take}`;
  return { done: `${of} is kept.`, unfit: `${of} is not usable.`, stopped: `${of} was stopped.` }[outcome] ?? `${of} failed.`;
}

function ended(e) {
  if (!e?.fresh || e.kind !== "take") return;
  const good = e.outcome === "done";
  news = good ? `✓ ${e.take}` : `▲ ${e.take}`;
  if (document.visibilityState === "visible") setTimeout(look, 5000);
  if (byID("afar-sound").checked) play(good ? TUNES.good : TUNES.bad);
  if (byID("afar-speak").checked) window.speechSynthesis?.speak(new SpeechSynthesisUtterance(sentenceOf(e)));
}

function look() {
  if (document.visibilityState !== "visible") return;
  news = "";
  drawTitle();
}

// The pedal. Keys that nothing else uses are always one; any other is learned by being
// pressed, unless one could type or leave a field with it.

let pedal = remembered(SLOTS.pedal) || "", learning = false;
const ALWAYS = /^F(1[3-9]|2[0-4])$/;
const NEVER = ["Escape", "Tab", "Enter", "Shift", "Control", "Alt", "Meta", "CapsLock", "Backspace", "Delete"];
export const mayBePedal = (key) => key.length > 1 && !NEVER.includes(key) && !/^(Arrow|Dead|Unidentified|Process)/.test(key);
export const isPedal = (key, learned) => ALWAYS.test(key) || key !== "" && key === learned;

function press(event) {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  if (learning) {
    event.preventDefault();
    event.stopImmediatePropagation();
    if (event.key === "Escape") { learn(pedal, "As before."); return; }
    if (!mayBePedal(event.key)) { sayPedal(`“${event.key}” is needed for other things: choose another key.`); return; }
    learn(event.key);
    return;
  }
  if (!isPedal(event.key, pedal) || event.repeat || byID("before-sound").open) return;
  const liveOpen = byID("live").open;
  if (!liveOpen && byID("takes").hidden) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  if (liveOpen) live.toggle(); else toggle();
}

function learn(key, said = "") {
  learning = false;
  pedal = key;
  remember(SLOTS.pedal, key);
  sayPedal(said);
}

function sayPedal(said = "") {
  const is = pedal ? `The pedal's key is ${pedal}; F13 to F24 start, too.` : "F13 to F24 start and stop a take.";
  say(byID("afar-pedal-said"), learning ? said || "Press the pedal now. Esc: leave it as it is." : `${said} ${is}`.trim());
  show(byID("afar-forget"), pedal && !learning);
}

export function start() {
  const speaks = "speechSynthesis" in window;
  show(byID("afar-speak").closest("label"), speaks);
  byID("afar-sound").checked = remembered(SLOTS.sound) !== "no";
  byID("afar-speak").checked = speaks && remembered(SLOTS.speak) === "yes";
  for (const what of ["sound", "speak"]) {
    byID(`afar-${what}`).addEventListener("change", (event) => {
      remember(SLOTS[what], event.target.checked ? "yes" : "no");
      if (!event.target.checked) silence();
    });
  }
  does({
    hear: (button) => { if (!working()) play(TUNES[button.dataset.tune]); },
    learn: () => { learning = true; sayPedal(); },
    unlearn: () => learn(""),
  });
  say(byID("afar-awake"), navigator.wakeLock
    ? "The screen stays on while something is recorded."
    : "This browser does not let the page keep the screen on here: set it so that it stays on.");
  sayPedal();
  document.addEventListener("keydown", press, true);
  document.addEventListener("visibilitychange", () => { awake(); look(); });
  on("engine", () => { if (working()) silence(); awake(); });
  on("ended", ended);
  on(["engine", "progress", "ended"], drawTitle);
}
