// Takes: what is connected across the coil, start and stop, what came of it.
import * as api from "./api.js";
import { $, $$, announce, byID, does, el, fill, oneAtATime, optionsOf, put, say, show } from "./dom.js";
import { act, draft, Form, withValues } from "./form.js";
import { example, ifEmpty } from "./empty.js";
import { atMost } from "./led.js";
import { mayStart } from "./sound.js";
import { on, refresh, state, working } from "./state.js";

let form, importForm, nameByHand = false, redo = "", starting = false, stopping = false, part = "", loadAt = -1;
let recordings = { recording: null, stimulus: null };
const radios = () => $$("#take-form input[name=kind]");

export function start(go) {
  form = new Form(byID("take-form"), begin, { onInput: () => { seen(); follow(); } });
  byID("t-take").addEventListener("input", (event) => { nameByHand = event.target.value !== ""; redo = ""; });
  byID("t-take").addEventListener("blur", follow);
  for (const radio of radios()) radio.addEventListener("change", () => {
    anotherLoad();
    byID("t-value").value = "";
    follow();
    if (radio.value !== "bare" && !$("button", byID(`used-${radio.value}`))) byID("t-value").focus();
  });
  byID("t-value").addEventListener("input", anotherLoad);
  // A form of several fields without a button of its own is not sent by Enter.
  byID("take-form").addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.localName !== "input" || event.isComposing || working()) return;
    event.preventDefault();
    form.run(begin);
  });
  byID("go").addEventListener("click", toggle);
  byID("glance-stop").addEventListener("click", stop);
  does({
    prepare: (button) => {
      const here = !byID("takes").hidden;
      go(button.dataset.step);
      prepare(optionsOf(button), button.dataset.redo);
      if (here) byID("go").focus();
      if (here) byID("stage-main").scrollIntoView({ block: "nearest" });
    },
    value: (button) => {
      byID("t-value").value = button.dataset.value;
      anotherLoad();
      form.dirty = true;
      seen();
      follow();
    },
    again: () => {
      redo = byID("t-take").value;
      form.dirty = true;
      follow();
      byID("go").focus();
    },
    aside: (button) => act(button, () => ofCoil("/api/takes/aside", { take: button.dataset.take })),
    back: (button) => act(button, () => ofCoil("/api/takes/back", { take: button.dataset.take })),
    // A recording that was kept without its load asks for it.
    partial: (button) => act(button, () => {
      const ask = $(".ask", button.closest("li")), kind = ask && $("select", ask).value;
      const value = ask && $("input", ask).value.trim();
      if (kind === "" || kind && kind !== "bare" && !value) {
        $(kind ? "input" : "select", ask).focus();
        throw new Error(kind ? "Write its value first." : "Say what was connected across the coil.");
      }
      const load = kind && kind !== "bare" ? { [kind]: value } : {};
      return ofCoil("/api/partial", { partial: button.dataset.partial, options: load });
    }),
    "remove-partial": (button) => act(button, () => ofCoil("/api/partial/remove", { partial: button.dataset.partial })),
  });
  importing();
  on("coilID", () => { redo = ""; loadAt = -1; nameByHand = form.dirty = false; drawSweep(); });
  on(["coil", "coilID"], () => { keepLoad(); follow(); });
  on(["engine", "progress", "ended", "result", "line", "sweep"], drawStage);
  on("bench", () => {
    const { settings, defaults } = state.bench;
    for (const key of ["level", "repeats"]) ifEmpty(byID(`t-${key}`), settings[key] ?? defaults[key]);
  });
  on("engine", () => { if (!working()) stopping = false; show(byID("glance-stop"), working()); });
  on(["sweep", "coil"], drawSweep);
  byID("sweep-behind").addEventListener("change", () => drawSweep());
}

async function ofCoil(path, body) {
  await api.post(path, { coil: state.coilID, ...body });
  await refresh.coil();
}

// anotherLoad ends the redoing of a take, whose name is then no longer meant:
// what is connected now is something else.
function anotherLoad() {
  if (redo) nameByHand = false;
  redo = "";
}

function fillLoad(kind, value) {
  for (const radio of radios()) radio.checked = radio.value === kind;
  byID("t-value").value = value;
}

// prepare fills the form: from advice, or from a take that is to be made again.
export function prepare(given, again = "") {
  const { "added-c": c, "added-r": r } = given;
  fillLoad(c !== undefined ? "c" : r ? "r" : "bare", c || r || "");
  redo = again;
  form.dirty = true; // not to be proposed away
  nameByHand = Boolean(again || given.take);
  byID("t-take").value = again || given.take || "";
  if (given.level) byID("t-level").value = given.level;
  form.clear();
  seen();
  follow();
}

// lacksValue tells whether a capacitor is chosen whose value is still to be said.
export const lacksValue = () => load().kind === "c" && load().value === "";

// keepLoad fills the form with what was connected for the take that was started last,
// wherever it was started: that is what is there until somebody says otherwise.
function keepLoad() {
  const known = state.coil?.load, held = document.activeElement;
  if (form.dirty || starting || !known || [byID("t-value"), byID("t-take")].includes(held)) return;
  if (known.at <= loadAt) return;
  loadAt = known.at;
  fillLoad(known.kind, known.value);
}

// changes tells whether what the form says is still to be connected.
function changes({ kind, value }) {
  const known = state.coil?.load;
  return Boolean(known) && (kind !== known.kind || value !== known.value);
}

function load() {
  const { kind = "bare", value } = form.values();
  return { kind, value: kind === "bare" ? "" : value };
}

// options are those of the command, by their names. Without a name the program gives
// one.
function options() {
  const { take, level, repeats, until, after } = form.values(), { kind, value } = load();
  return withValues({
    take: nameByHand ? take : "", "added-c": kind === "c" ? value : "", "added-r": kind === "r" ? value : "",
    level: atMost(level), repeats, until, after, redo: redo ? "true" : "",
  });
}

const HINTS = {
  r: ["100k 1%", "as printed on it, or as measured"],
  c: ["470p 1%", "film or C0G, 100 pF to 1 nF; as printed, or as measured"],
};

function follow() {
  const { kind, value } = load(), [one, hint] = HINTS[kind] ?? HINTS.c;
  show(byID("take-value"), kind !== "bare");
  example(byID("t-value"), one);
  say(byID("t-value-hint"), hint);
  for (const one of ["c", "r"]) {
    const used = byID(`used-${one}`);
    show(used, kind === one && used.firstChild);
    for (const button of $$("button", used)) button.setAttribute("aria-pressed", button.dataset.value === value);
  }
  const files = { recording: recordings.recording?.name, stimulus: recordings.stimulus?.name };
  draft("measure", [state.coilID].filter(Boolean), { ...options(), ...files }, (name, words) => {
    part = words;
    // Not while somebody empties the field to write into it.
    if (!nameByHand && document.activeElement !== byID("t-take")) byID("t-take").value = name;
    drawStage();
  });
  drawStage();
}

// toggle is the big button and the space bar.
export async function toggle() {
  if (working()) { await stop(); return; }
  await form.run(begin);
}

async function begin() {
  if (starting || working()) return;
  const { kind, value } = load();
  if (kind !== "bare" && !value) {
    const part = kind === "c" ? "capacitor" : "resistor";
    const text = `What is the ${part}'s value? Write it as on the part, with its tolerance: ${HINTS[kind][0]}`;
    throw Object.assign(new Error(text), { field: "value" });
  }
  if (!(await mayStart())) return;
  const level = byID("t-level");
  if (level.value) level.value = atMost(level.value); // it says what is played
  starting = true;
  drawStage();
  try {
    const answer = await api.post("/api/takes", { coil: state.coilID, options: options() });
    announce(`Take ${answer.take} starts.`);
    redo = "";
    loadAt = Math.max(loadAt, state.coil?.load.at ?? -1);
    nameByHand = form.dirty = false;
    const reduced = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    byID("stage-main").scrollIntoView({ block: "nearest", behavior: reduced ? "auto" : "smooth" });
  } catch (error) {
    if (error.exists) { redo = ""; nameByHand = true; }
    throw error;
  } finally {
    starting = false;
    follow();
  }
  // Where a value was typed the space bar would write; on the button, Enter that is still
  // held would stop.
  if (byID("take-form").contains(document.activeElement)) byID("stage-main").focus({ preventScroll: true });
}

export async function stop() {
  stopping = true;
  drawStage();
  try { await api.post("/api/stop"); } catch (error) {
    announce(error.message);
    stopping = false;
    drawStage();
  }
}

// toDo is what hands have to do before the take.
function toDo({ kind, value }) {
  return kind === "bare" ? "Take the part off" : `Connect ${part || value.split(/[\s,]/)[0] || "the part"}`;
}

// connected is what is across the coil, as it is said on the button.
function connected({ kind, value }) {
  if (kind === "bare") return "nothing connected across the coil";
  const short = value.length > 40 ? value.slice(0, 40) + "…" : value;
  return `${short || (kind === "c" ? "a capacitor" : "a resistor")} connected across the coil`;
}

const ENDS = { done: "Kept", unfit: "Not usable", doubtful: "Check it", stopped: "Stopped", failed: "Failed" };
const JOBS = { check: "Trial sweep", calibrate: "Sound card", fixture: "Fixture", live: "Live" };

const stage = (state, word, take, text) => ({ state, word, take, text });

// takeWithout says what becomes of a take under way without the page.
export const takeWithout = (closing) => closing
  ? "A take that was running was stopped; what was recorded is kept."
  : "If the program still runs, a take goes on without the page.";

// stageOf says in large type how it stands: {state, word, take, text}.
export function stageOf(s, form) {
  if (s.line !== "open" && s.line !== "opening") {
    return stage("lost", "Disconnected", "", takeWithout(s.closing));
  }
  const { engine, progress: p, ended } = s;
  if (form.working) {
    const works = (word, text) => stage("working", word, engine.take ?? "", text);
    if (engine.stopping || form.stopping) return works("Stopping", "What was recorded until now is kept apart.");
    if (JOBS[engine.kind]) return works(JOBS[engine.kind], p?.text ?? engine.job);
    if (engine.phase !== "working") return works("Waiting", "For the sound device.");
    if (p?.repeat) return works(`Sweep ${p.repeat} of ${p.repeats}`, "Leave coil and exciter alone.");
    return works("Recording", p?.text || "Leave coil and exciter alone.");
  }
  if (form.starting) return stage("working", "Starting", form.take, "");
  if (engine.phase === "lost") {
    return stage("failed", engine.never ? "No device" : "Device lost", "",
      engine.error || "Plug the sound device in again: it is looked for every two seconds.");
  }
  if (!s.coilID) return stage("wait", "No coil", "", "Choose a coil above, or start a folder for a new one.");
  if (form.news && ended?.coil === s.coilID && ["take", "import"].includes(ended.kind)) {
    return { ...stage(ended.outcome, ENDS[ended.outcome], ended.take, ended.text), advice: ended.advice };
  }
  return stage("ready", "Ready", form.take, form.part);
}

let readOf = "";
function drawStage() {
  const on = load(), { take } = form.values(), e = state.ended, busy = working(), p = state.progress;
  const view = stageOf(state, {
    working: busy, starting, stopping, take, news: Boolean(e?.fresh && e.key !== readOf),
    part: changes(on) ? `${toDo(on)}, then start.` : connected(on),
  });
  byID("stage").dataset.state = view.state;
  say(byID("stage-state"), view.word);
  say(byID("stage-take"), view.take);
  say(byID("stage-text"), view.text);
  const advice = (view.advice ?? []).map((text) => el("li", { dir: "auto" }, text));
  fill(byID("stage-advice"), advice.length ? el("ul", {}, advice) : "");
  drawDigits(view);
  const bar = byID("stage-progress"), fraction = Math.min(1, Math.max(0, p?.fraction ?? 0));
  bar.classList.toggle("idle", !busy);
  $("i", bar).style.transform = `scaleX(${fraction.toFixed(4)})`;
  bar.setAttribute("aria-valuenow", Math.round(100 * fraction));
  say(byID("take-for-next"), busy ? "For the take after this one:" : "For the next take:");
  const go = byID("go"), ends = view.word === "Stopping";
  go.classList.toggle("stop", busy);
  say(byID("go-word"), busy ? (ends ? "Stopping …" : "Stop")
    : changes(on) && (on.value || on.kind === "bare") ? `${toDo(on)}, then press` : redo ? "Start again" : "Start");
  byID("take-next").style.visibility = busy || starting ? "hidden" : "";
  for (const chip of $$("#take-next button")) {
    const { "added-c": c, "added-r": r } = optionsOf(chip), again = chip.dataset.redo ?? "";
    show(chip, again !== redo || on.kind !== (c ? "c" : r ? "r" : "bare") || on.value !== (c || r || ""));
  }
  if (busy) say(byID("go-hint"), state.engine.kind === "take" ? "" : state.engine.job);
  else say(byID("go-hint"), take ? (changes(on) ? take : `${take}: ${connected(on)}`) : on.kind === "bare" ? "" : "say the value first");
  go.disabled = starting || view.state === "lost" || ends || (!busy && !state.coilID);
}

// seen ends the news of the last take: somebody prepares the next.
function seen() {
  if (!state.ended || working()) return;
  readOf = state.ended.key;
  drawStage();
}

const NOTHING = `<div><span class="name">Resonance</span> <span class="digits">–</span></div>
  <div><span class="name">Q</span> <span class="digits">–</span></div>`;

// drawDigits shows the numbers of the sweeps while a take runs, and once there is a fit
// with it those of that.
function drawDigits({ state: now, take }) {
  const s = state.sweep, latest = state.coil?.latest;
  const swept = now !== "ready" && s?.coil === state.coilID && s.take === take;
  const fitted = latest && (now === "ready" || now !== "working" && latest === take);
  show(byID("stage-result"), fitted);
  show(byID("stage-sweep"), !fitted);
  put({ "stage-sweep": swept ? s.html["stage-sweep"] : NOTHING });
}

// The response so far, before anything that is to be compared with it. The place is there
// from the start, so that nothing moves when the first sweep is in.
let sweepSeen = "";
const drawSweep = oneAtATime(async () => {
  const s = state.sweep, behind = byID("sweep-behind").value, coil = state.coilID;
  const key = [coil, behind, s?.coil === coil ? s.revision : state.coil?.latest].join("\n");
  if (key === sweepSeen || !coil) return;
  try {
    put((await api.get("/api/sweep", { coil, behind })).html);
    sweepSeen = key;
  } catch { /* the next revision brings it */ }
});

// Import: by drop anywhere on the step, or by the two choosers.
function importing() {
  importForm = new Form(byID("import-form"), async () => {
    const outcome = $(".outcome", importForm.node), data = new FormData();
    if (!recordings.recording) throw new Error("Choose a recording first: a WAV or FLAC file.");
    const { take, "added-c": c, "added-r": r, redo: again } = options();
    // Small parts first, so that they are known before the long one is read.
    data.append("options", JSON.stringify(withValues({ take, "added-c": c, "added-r": r, redo: again })));
    for (const part of ["stimulus", "recording"]) {
      if (recordings[part]) data.append(part, recordings[part], recordings[part].name);
    }
    say(outcome, "Being read …");
    try {
      say(outcome, (await api.post(api.address("/api/import", { coil: state.coilID }), data)).text);
    } catch (error) {
      say(outcome, "");
      throw error;
    }
    for (const input of $$("input[type=file]", importForm.node)) input.value = "";
    redo = "";
    nameByHand = false;
    choose({ recording: null, stimulus: null });
    await refresh.coil();
  });
  for (const part of ["recording", "stimulus"]) {
    byID(`i-${part}`).addEventListener("change", (event) => choose({ [part]: event.target.files[0] ?? null }));
  }
  const step = byID("takes"), drop = byID("drop");
  let depth = 0;
  step.addEventListener("dragenter", (event) => { event.preventDefault(); depth++; drop.classList.add("over"); });
  step.addEventListener("dragleave", () => { if (--depth <= 0) { depth = 0; drop.classList.remove("over"); } });
  step.addEventListener("dragover", (event) => { event.preventDefault(); event.dataTransfer.dropEffect = "copy"; });
  step.addEventListener("drop", (event) => {
    event.preventDefault();
    depth = 0;
    drop.classList.remove("over");
    for (const file of event.dataTransfer.files) {
      choose({ [/\.toml$/i.test(file.name) ? "stimulus" : "recording"]: file });
    }
    drop.scrollIntoView({ block: "nearest" });
    $("button[type=submit]", importForm.node).focus();
  });
  // A file that is dropped beside the place must not replace the page.
  for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault());
}

// choose takes files for an import.
function choose(files) {
  recordings = { ...recordings, ...files };
  const { recording, stimulus } = recordings, name = (file) => el("bdi", {}, file.name);
  const played = stimulus ? [", stimulus ", name(stimulus)] : [", the usual stimulus"];
  fill(byID("import-chosen"), recording ? ["Chosen: ", name(recording), ...played]
    : stimulus ? ["Stimulus ", name(stimulus), "; the recording is still to be chosen"] : "");
  importForm.clear();
  follow();
}
