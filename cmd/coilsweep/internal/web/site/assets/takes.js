// Takes: what is clipped on, start and stop, what came of it.
import * as api from "./api.js";
import { $, $$, announce, byID, draw as drawFigure, el, fill, fitting, list, name, say, show } from "./dom.js";
import { about, command, Form, withValues } from "./form.js";
import { brief, decibels, plural, quantity, since, typeset, visible } from "./format.js";
import { commandLine, proposeTake } from "./names.js";
import { mayStart } from "./sound.js";
import { latest, optionsOf } from "./steps.js";
import { on, refresh, state, working } from "./state.js";

let form, importForm, nameByHand = false, redo = "", starting = false, stopping = false, recordings = { recording: null, stimulus: null };

// loadOf is what a take's texts say is clipped on.
export function loadOf({ "added-c": c, "added-r": r }) {
  if (c) return { kind: "c", value: c };
  if (r) return { kind: "r", value: r };
  return { kind: "bare", value: "" };
}

// usedValues are the parts used before, each once, those of this coil first.
export function usedValues(kind, coil, bench) {
  const key = kind === "c" ? "added_c" : "added_r";
  const own = (coil?.takes ?? []).map((t) => t[key]).filter(Boolean).reverse();
  return [...new Set([...own, ...(coil?.parts?.[key] ?? []), ...(bench?.parts?.[key] ?? [])])].slice(0, 8);
}

export function start() {
  form = new Form(byID("take-form"), begin, { onInput: () => { seen(); follow(); } });
  byID("t-take").addEventListener("input", (event) => { nameByHand = event.target.value !== ""; redo = ""; });
  byID("t-take").addEventListener("blur", follow);
  for (const radio of $$("#take-form input[name=kind]")) radio.addEventListener("change", () => {
    anotherLoad();
    byID("t-value").value = "";
    follow();
    if (radio.value !== "bare" && !usedValues(radio.value, state.coil, state.bench).length) byID("t-value").focus();
  });
  byID("t-value").addEventListener("input", anotherLoad);
  byID("go").addEventListener("click", toggle);
  byID("glance-stop").addEventListener("click", stop);
  $("#take-form").addEventListener("submit", (event) => event.preventDefault());
  importing();
  on("coilID", () => { redo = ""; nameByHand = form.dirty = false; sweepSeen = ""; drawSweep(); });
  on(["coil", "bench", "result", "coilID"], () => { proposeAll(); drawForm(); drawList(); });
  on(["engine", "progress", "ended", "coil", "result", "line", "bench", "coilID"], drawStage);
  on("engine", () => { if (!working()) stopping = false; drawStop(); drawSweep(); });
  on("sweep", drawSweep);
  on("links", drawStimulus);
}

// anotherLoad ends the redoing of a take, whose name is then no longer meant:
// what is clipped on now is something else.
function anotherLoad() {
  if (redo) nameByHand = false;
  redo = "";
}

// prepare fills the form: from advice, or from a take to be redone.
export function prepare(options = {}, again = "") {
  const load = loadOf(options);
  for (const radio of $$("#take-form input[name=kind]")) radio.checked = radio.value === load.kind;
  byID("t-value").value = load.value;
  redo = again;
  form.dirty = true; // not to be proposed away
  nameByHand = Boolean(again || options.take);
  byID("t-take").value = again || options.take || "";
  for (const [id, key] of [["t-level", "level"], ["t-repeats", "repeats"], ["t-until", "until"], ["t-after", "after"]]) {
    if (options[key] !== undefined) {
      const field = byID(id);
      if (field.tagName === "SELECT" && ![...field.options].some((o) => o.value === options[key])) field.append(el("option", { value: options[key] }, options[key]));
      field.value = options[key];
      byID("take-more").open = true;
    }
  }
  form.clear();
  follow();
}

// proposeLoad is what is likely clipped on next: nothing first, then what the
// result asks for, then a capacitor that this coil has not met.
export function proposeLoad(coil, bench, result) {
  const takes = (coil?.takes ?? []).filter((t) => t.fit_for_use !== false);
  if (!takes.some((t) => !t.added_c && !t.added_r)) return { kind: "bare", value: "" };
  const asked = (result?.advice ?? []).find((a) => a.options)?.options;
  if (asked) return loadOf(asked);
  const met = new Set(takes.map((t) => t.added_c));
  return { kind: "c", value: usedValues("c", null, { parts: { added_c: [...(coil?.parts?.added_c ?? []), ...(bench?.parts?.added_c ?? [])] } }).find((v) => !met.has(v)) ?? "" };
}

// proposeAll fills the form with what is likely next, unless somebody has
// begun to fill it: an unfit take again, or else the next load.
function proposeAll() {
  if (form.dirty || starting) return;
  const takes = state.coil?.takes ?? [], last = takes.length ? latest(takes) : null;
  const unfit = last?.fit_for_use === false;
  const l = unfit ? loadOf(optionsOf(last)) : proposeLoad(state.coil, state.bench, state.result);
  redo = unfit ? last.name : "";
  nameByHand = unfit;
  if (unfit) byID("t-take").value = last.name;
  for (const radio of $$("#take-form input[name=kind]")) radio.checked = radio.value === l.kind;
  byID("t-value").value = l.value;
}

function load() {
  const v = form.values();
  return { kind: v.kind ?? "bare", value: v.kind === "bare" ? "" : v.value };
}

// options are those of the command, by their names.
function options() {
  const v = form.values(), l = load();
  return withValues({
    take: v.take,
    "added-c": l.kind === "c" ? l.value : "",
    "added-r": l.kind === "r" ? l.value : "",
    level: v.level, repeats: v.repeats, until: v.until, after: v.after,
  });
}

const takeNames = () => [...(state.coil?.takes ?? []), ...(state.coil?.partials ?? []).map((p) => ({ name: p.take ?? "" }))].map((t) => t.name);

function follow() {
  const l = load();
  show(byID("take-value"), l.kind !== "bare");
  byID("t-value").placeholder = l.kind === "r" ? "100k 1%" : "470p 1%";
  say(byID("t-value-hint"), l.kind === "r" ? "as printed on it, or as measured" : "film or C0G, 100 pF to 1 nF; as printed, or as measured");
  const used = usedValues(l.kind, state.coil, state.bench);
  fill(byID("take-used"), used.map((text) => el("button", {
    type: "button", "aria-pressed": String(text === l.value),
    click: () => { byID("t-value").value = text; anotherLoad(); form.dirty = true; seen(); if (!nameByHand) byID("t-take").value = ""; follow(); },
  }, visible(text))));
  show(byID("take-used"), used.length > 0);
  // Not while somebody empties the field to write into it.
  if (!nameByHand && document.activeElement !== byID("t-take")) byID("t-take").value = proposeTake(l, takeNames());
  const taken = takeNames().includes(byID("t-take").value);
  fill(byID("t-take-hint"), redo ? ["Again: the earlier ", name(redo), " is set aside when the new one is complete."]
    : taken ? ["There is a take of this name. ", el("button", { type: "button", click: () => { redo = byID("t-take").value; form.dirty = true; follow(); byID("go").focus(); } }, "Do it again")] : "letters, digits, - and _");
  for (const radio of $$("#take-form .tile")) radio.classList.toggle("chosen", $("input", radio).checked);
  command(byID("take-form"), commandLine("measure", state.coilID || "COIL", { ...options(), ...(redo ? { redo: true } : {}) }));
  command(byID("import-form"), commandLine("import", state.coilID || "COIL", {
    ...withValues({ take: options().take, "added-c": options()["added-c"], "added-r": options()["added-r"] }),
    stimulus: recordings.stimulus?.name ?? "STIMULUS.toml", recording: recordings.recording?.name ?? "RECORDING.wav", ...(redo ? { redo: true } : {}),
  }));
  drawStage();
}

function drawForm() {
  const bench = state.bench;
  for (const [id, key, usual] of [["t-level", "level", "-12"], ["t-repeats", "repeats", "4"]]) byID(id).placeholder = bench?.settings?.[key] ?? bench?.defaults?.[key] ?? usual;
  const after = byID("t-after"), chosen = after.value;
  fill(after, el("option", { value: "" }, "no take: the usual sweep"), (state.coil?.takes ?? []).filter((t) => t.fit_for_use !== false).map((t) => el("option", { value: t.name }, visible(t.name))));
  after.value = [...after.options].some((o) => o.value === chosen) ? chosen : "";
  follow();
}

// toggle is the big button and the space bar.
export async function toggle() {
  if (working()) { await stop(); return; }
  await form.run(begin);
}

async function begin() {
  if (starting || working()) return;
  if (!state.coilID) throw new Error("Choose a coil above, or start a folder for a new one.");
  const l = load();
  if (l.kind !== "bare" && !l.value) {
    throw about("value", l.kind === "c" ? "What is the capacitor's value? Write it as on the part, with its tolerance: 470p 1%" : "What is the resistor's value? Write it as on the part, with its tolerance: 100k 1%");
  }
  if (!(await mayStart())) return;
  starting = true;
  drawStage();
  try {
    const sent = options();
    const answer = await api.post("/api/takes", { coil: state.coilID, options: sent, redo: Boolean(redo) });
    announce(`Take ${answer.take ?? sent.take} starts.`);
    redo = "";
    nameByHand = false;
    form.dirty = false;
    const reduced = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    byID("stage").scrollIntoView({ block: "nearest", behavior: reduced ? "auto" : "smooth" });
  } catch (error) {
    error.field = { "added-c": "value", "added-r": "value" }[error.field] ?? error.field;
    if (error.exists) { redo = ""; nameByHand = true; }
    if (error.running) error.message = `${error.message} Stop it first, or wait.`;
    throw error;
  } finally {
    starting = false;
    follow();
  }
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

function drawStop() {
  show(byID("glance-stop"), working());
}

// What hangs on the coil, as it is said on the button.
const clipped = (l) => l.kind === "bare" ? "nothing clipped on" : `${(l.value.length > 40 ? l.value.slice(0, 40) + "…" : l.value) || (l.kind === "c" ? "a capacitor" : "a resistor")} clipped on`;

// stageOf says in large type how it stands: {state, word, take, text}.
export function stageOf(s, form) {
  const lost = s.line !== "open" && s.line !== "opening";
  if (lost) return { state: "lost", word: "No line", take: "", text: "A take that runs goes on; this page goes on by itself." };
  if (form.working) {
    const p = s.progress, kind = s.engine.kind ?? "take";
    if (s.engine.stopping || form.stopping) return { state: "working", word: "Stopping", take: s.engine.take ?? "", text: "What was recorded until now is kept apart." };
    if (kind !== "take") return { state: "working", word: { check: "Checking", calibrate: "Calibrating", fixture: "Fixture", import: "Reading", fit: "Fitting" }[kind] ?? "Working", take: "", text: p?.text ?? s.engine.job ?? "" };
    return { state: "working", word: p?.repeat ? `Sweep ${p.repeat}${p.repeats ? ` of ${p.repeats}` : ""}` : s.engine.phase === "working" ? "Recording" : "Waiting", take: s.engine.take ?? p?.take ?? "", text: s.engine.phase !== "working" ? "For the sound device." : p && !p.repeat && p.text ? p.text : "Leave coil and exciter alone." };
  }
  if (form.starting) return { state: "working", word: "Starting", take: form.take, text: "" };
  if (s.engine.phase === "lost") return { state: "failed", word: "Device lost", take: "", text: s.engine.error || "Plug the sound device in again: it is looked for every two seconds." };
  if (!s.coilID) return { state: "wait", word: "No coil", take: "", text: "Choose a coil above, or start a folder for a new one." };
  const e = s.ended;
  if (form.news && e && e.coil === s.coilID && ["take", "import"].includes(e.kind)) {
    return { state: e.outcome, word: { done: "Kept", unfit: "Unfit", stopped: "Stopped", failed: "Failed" }[e.outcome] ?? e.outcome, take: e.take ?? "", text: e.text ?? "", advice: e.advice };
  }
  return { state: "ready", word: "Ready", take: form.take, text: form.part };
}

let readOf = "";
function drawStage() {
  const l = load(), v = form.values();
  const e = state.ended;
  const news = Boolean(e?.fresh && e.key !== readOf);
  const view = stageOf(state, { working: working(), starting, stopping, take: v.take ?? "", part: clipped(l), news });
  const stage = byID("stage");
  stage.dataset.state = view.state;
  say(byID("stage-state"), view.word);
  const takePlace = byID("stage-take");
  if (takePlace.dataset.take !== view.take) { takePlace.dataset.take = view.take; fill(takePlace, view.take ? name(view.take) : ""); }
  say(byID("stage-text"), typeset(view.text));
  fill(byID("stage-advice"), view.advice?.length ? list(view.advice.map(typeset)) : "");
  drawStageResult(view);
  const bar = byID("stage-progress"), p = state.progress;
  show(bar, working());
  const fraction = Math.min(1, Math.max(0, p?.fraction ?? 0));
  $("i", bar).style.transform = `scaleX(${fraction.toFixed(4)})`;
  bar.setAttribute("aria-valuenow", Math.round(100 * fraction));
  show(byID("take-for-next"), working());
  const go = byID("go"), busy = working();
  const mine = busy && (state.engine.kind ?? "take") === "take";
  go.classList.toggle("stop", busy);
  say(byID("go-word"), busy ? (view.word === "Stopping" ? "Stopping …" : "Stop") : redo ? "Start again" : "Start");
  fill(byID("go-hint"), busy ? (mine ? "" : visible(state.engine.job ?? "")) : v.take ? [name(v.take), `: ${clipped(l)}`] : l.kind === "bare" ? "" : "say the value first");
  go.disabled = starting || view.state === "lost" || view.word === "Stopping" || (!busy && !state.coilID);
  say(byID("stage-caution"), state.bench?.simulated ? "Simulated: no sound is made." : "Headphones off. Phantom power off. Exciter cool. Space starts and stops, Esc stops.");
}

// drawStageResult shows what a take has brought, as large as its level.
function drawStageResult(view) {
  const of = (takes) => view.state === "done" ? (takes ?? []).find((t) => t.name === view.take) : null;
  const mine = of(state.coil?.takes), fitted = of(state.result?.result?.takes);
  const f = mine?.resonance_hz?.value != null ? mine.resonance_hz : fitted?.resonance_hz;
  const q = mine?.q?.value != null ? mine.q : fitted?.q;
  const there = f?.value != null;
  show(byID("stage-result"), there);
  show(byID("stage-level"), !there);
  if (there) fill(byID("stage-result"), el("b", {}, brief(f, "Hz")), " resonance", q?.value != null ? `, Q ${brief(q, "")}` : "");
}

// seen ends the news of the last take: somebody prepares the next.
export function seen() {
  const e = state.ended;
  if (!e || working()) return;
  readOf = e.key;
  drawStage();
}

// The response so far. The place is there from the start of a take, so that
// nothing moves when the first sweep is in.
let sweepSeen = "";
async function drawSweep() {
  const s = state.sweep, place = byID("sweep-figure"), caption = byID("sweep-caption");
  const recording = working() && state.engine.kind === "take" && state.engine.coil === state.coilID;
  const mine = s && s.coil === state.coilID && (!recording || s.take === state.engine.take);
  show(byID("sweep-panel"), Boolean(recording || mine));
  if (!mine) {
    sweepSeen = "";
    fill(place);
    say(caption, "The response is drawn as the sweeps come in.");
    return;
  }
  if (!s.repeats) say(caption, "The response is drawn as the sweeps come in.");
  else fill(caption, "Response of take ", name(s.take ?? ""), `, from ${plural(s.repeats, "sweep")}${recording ? " so far" : ""}`);
  const key = `${s.coil} ${s.take} ${s.revision}`;
  if (key === sweepSeen) return;
  sweepSeen = key;
  try {
    const answer = await api.get("/api/sweep");
    if (sweepSeen !== key) return;
    show(byID("sweep-panel"), Boolean(answer.svg || recording));
    drawFigure(place, fitting(place, answer.svg, answer.narrow));
    show(place, true); // its room is kept while there is nothing to draw
  } catch { /* the next revision brings it */ }
}

function drawList() {
  const coil = state.coil, place = byID("take-list");
  const takes = coil?.takes ?? [];
  if (!takes.length) {
    fill(place, el("p", { class: "none" }, coil ? "None yet. The first is best made with nothing clipped on." : "No coil is chosen."));
  } else {
    fill(place, el("ul", { class: "takes" }, takes.map((t) => takeRow(t))));
  }
  const partials = coil?.partials ?? [];
  show(byID("take-partials"), partials.length > 0);
  fill(byID("take-partials"), el("h3", {}, "Unfinished recordings"), el("p", { class: "hint" }, "What was recorded before an interruption. One whole sweep is enough for a take. What was clipped on is taken from the form above."),
    el("ul", { class: "takes" }, partials.map((p) => el("li", {}, el("div", { class: "take-name" }, name(p.take || p.partial), " ", el("small", {}, visible(p.text || [p.added_c, p.added_r].filter(Boolean).join(", ")))),
      el("p", { class: "take-facts" }, [since(p.started), p.seconds ? `${Math.round(p.seconds)} s` : "", p.repeats ? plural(p.repeats, "sweep") : ""].filter(Boolean).join(" · ")),
      el("div", { class: "buttons" }, el("button", { type: "button", click: (event) => act(event, () => api.post("/api/partial", { coil: state.coilID, partial: p.partial, options: withValues({ take: freeName(p.take || "partial"), "added-c": p.added_c ?? options()["added-c"], "added-r": p.added_r ?? options()["added-r"] }) })) }, "Make a take of it"))))));
  const aside = coil?.aside ?? [];
  show(byID("take-aside"), aside.length > 0);
  fill(byID("take-aside"), el("details", {}, el("summary", {}, `Set aside: ${aside.length}`), el("p", { class: "hint" }, "Kept in the folder, not used. Nothing is deleted."),
    el("ul", {}, aside.map((a) => el("li", {}, name(a.name), a.started ? ` · ${since(a.started)}` : "")))));
}

function freeName(stem) {
  const taken = new Set((state.coil?.takes ?? []).map((t) => t.name));
  if (!taken.has(stem)) return stem;
  for (let n = 2; ; n++) if (!taken.has(`${stem}-${n}`)) return `${stem}-${n}`;
}

function takeRow(t) {
  const unfit = t.fit_for_use === false;
  const added = [t.added_c, t.added_r].filter(Boolean).map(visible).join(", ") || "nothing added";
  const flags = t.flags ?? [], words = t.flag_words ?? [];
  // What is said beside the flags is not said twice.
  const advice = (t.advice ?? []).filter((a) => !flags.some((f) => a === f || a.startsWith(f + ":")));
  const facts = [
    t.resonance_hz?.value != null ? `resonance ${quantity(t.resonance_hz, "Hz")}` : "",
    t.q?.value != null ? `Q ${brief(t.q, "")}` : "",
    t.peak_dbfs != null ? `peak ${decibels(t.peak_dbfs, "dBFS")}` : "",
    t.snr_db != null ? `signal over noise ${decibels(t.snr_db)}` : "",
    t.repeats ? plural(t.repeats, "sweep") : "",
    t.simulated ? "simulated" : "",
    since(t.started),
  ].filter(Boolean);
  return el("li", { class: unfit ? "unfit" : "" },
    el("div", { class: "take-name" }, name(t.name), " ", el("small", { dir: "auto" }, added), " ", unfit ? el("b", { class: "flag" }, "not fit for use") : null),
    el("p", { class: "take-facts" }, facts.join(" · ")),
    flags.length ? el("ul", { class: "flags" }, flags.map((f, i) => el("li", {}, el("b", { class: "flag" }, visible(f)), words[i] ? `: ${visible(words[i])}` : ""))) : null,
    advice.length ? el("div", { class: "advice" }, list(advice.map(typeset))) : null,
    el("div", { class: "buttons" },
      el("button", { type: "button", "aria-label": `Redo take ${visible(t.name)}`, click: () => { prepare({ "added-c": t.added_c, "added-r": t.added_r, after: t.after || undefined }, t.name); seen(); byID("go").focus(); byID("stage").scrollIntoView({ block: "nearest" }); } }, "Redo"),
      el("button", { type: "button", "aria-label": `Set aside take ${visible(t.name)}`, click: (event) => act(event, () => api.post("/api/takes/aside", { coil: state.coilID, take: t.name })) }, "Set aside")));
}

async function act(event, work) {
  const button = event.target, row = button.closest("li");
  button.disabled = true;
  try {
    await work();
    await refresh.coil();
  } catch (error) {
    row.append(el("p", { class: "wrong", role: "alert" }, visible(error.message)));
  } finally {
    button.disabled = false;
  }
}

// Import: by drop anywhere on the step, or by the two choosers.
function importing() {
  importForm = new Form(byID("import-form"), async () => {
    if (!state.coilID) throw new Error("Choose a coil above first.");
    if (!recordings.recording) throw new Error("Choose a recording first: a WAV or FLAC file.");
    const data = new FormData(), o = options();
    // Small parts first, so that they are known before the long one is read.
    data.append("options", JSON.stringify(withValues({ take: o.take, "added-c": o["added-c"], "added-r": o["added-r"], redo: redo ? "true" : "" })));
    if (recordings.stimulus) data.append("stimulus", recordings.stimulus, recordings.stimulus.name);
    data.append("recording", recordings.recording, recordings.recording.name);
    const outcome = $(".outcome", importForm.node);
    say(outcome, "Being read …");
    try {
      const answer = await api.post(api.address("/api/import", { coil: state.coilID }), data);
      say(outcome, visible(answer.text || `Take ${answer.take ?? ""} is kept.`));
      recordings = { recording: null, stimulus: null };
      for (const input of $$("input[type=file]", importForm.node)) input.value = "";
      drawChosen();
      redo = "";
      nameByHand = false;
      await refresh.coil();
    } catch (error) {
      say(outcome, "");
      throw error;
    }
  });
  byID("i-recording").addEventListener("change", (event) => { recordings.recording = event.target.files[0] ?? null; drawChosen(); });
  byID("i-stimulus").addEventListener("change", (event) => { recordings.stimulus = event.target.files[0] ?? null; drawChosen(); });
  const step = byID("takes"), drop = byID("drop");
  let depth = 0;
  step.addEventListener("dragenter", (event) => { event.preventDefault(); depth++; drop.classList.add("over"); });
  step.addEventListener("dragleave", () => { if (--depth <= 0) { depth = 0; drop.classList.remove("over"); } });
  step.addEventListener("dragover", (event) => { event.preventDefault(); event.dataTransfer.dropEffect = "copy"; });
  step.addEventListener("drop", (event) => {
    event.preventDefault();
    depth = 0;
    drop.classList.remove("over");
    for (const dropped of event.dataTransfer.files) {
      if (/\.toml$/i.test(dropped.name)) recordings.stimulus = dropped;
      else recordings.recording = dropped;
    }
    drawChosen();
    drop.scrollIntoView({ block: "nearest" });
    $("button[type=submit]", importForm.node).focus();
  });
  // A file that is dropped beside the place must not replace the page.
  for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault());
}

function drawChosen() {
  const { recording, stimulus } = recordings;
  const chosen = byID("import-chosen");
  fill(chosen, recording ? ["Chosen: ", name(recording.name), stimulus ? [", stimulus ", name(stimulus.name)] : ", the usual stimulus"].flat() : stimulus ? ["Stimulus ", name(stimulus.name), "; the recording is still to be chosen"] : "");
  importForm.clear();
  follow();
}

function drawStimulus() {
  const files = (state.links?.files ?? []).filter((f) => f.what === "stimulus");
  fill(byID("import-stimulus"), files.length ? ["To play elsewhere: ", ...files.flatMap((f, i) => [i ? ", " : "", el("a", { href: f.link, download: f.name }, visible(f.name))])] : "");
}

