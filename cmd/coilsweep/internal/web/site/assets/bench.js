// The bench: devices, levels, noise and hum, calibrations.
import * as api from "./api.js";
import { $, $$, byID, el, fill, list, missing, say, show } from "./dom.js";
import { command, Form, withValues } from "./form.js";
import { decibels, plain, since, typeset, visible } from "./format.js";
import { commandLine } from "./names.js";
import { on, refresh, state, working } from "./state.js";
import { mayStart } from "./sound.js";

const DRAWINGS = {
  none: ["plain", "Plain: the exciter's current is taken to follow the output.", "The output drives the exciter through a series resistor. The coil lies in the exciter's field; its ends go to the instrument input. A known part may be put across the coil."],
  current: ["sense", "With a sense resistor: the voltage over it, on the second input, is the current.", "As plain, and the voltage over a sense resistor between exciter and sleeve goes to input 2."],
  loopback: ["loopback", "With a loopback: a second cable takes the output itself to the second input.", "As plain, and the output itself goes to input 2."],
};

const CAUTIONS = [
  "Phantom power off for the whole interface, before the coil is plugged in: 48 V drive a direct current through it.",
  "The sweep is loud, up to 20 kHz: headphones off, loudspeakers down, start with a low level (−30 dBFS) and raise it.",
  "Drive the exciter from a line or headphone output only. Never from a mains-powered amplifier, never from a valve amplifier's loudspeaker tap: it makes voltages that kill.",
  "Exciter and series resistor stay cold. If one gets warm to the touch, stop: something is wired wrongly.",
  "Pickups hold strong magnets. Keep them, and a driven exciter, away from pacemakers and other implants, and from magnetic cards.",
  "Measure the coil alone, out of any circuit that is connected to the mains; battery-powered or isolated equipment where you can.",
  "Work on mains-powered equipment belongs to those who are qualified and, where local codes ask for it, licensed.",
];

let form, file;

export function start() {
  form = new Form(byID("bench-form"), keep, { onInput: follow });
  file = new Form($("#bench-file form"), async ({ text }) => {
    await api.put("/api/bench", { sha256: file.stamp ?? "", text });
    file.kept();
    await refresh.bench();
  });
  byID("bench-take-over").addEventListener("click", takeOver);
  byID("devices-again").addEventListener("click", () => refresh.devices());
  for (const kind of $$("#bench-kind input")) kind.addEventListener("change", () => form.run(async () => {
    await api.post("/api/bench/kind", { bench: kind.value });
    await refresh.bench();
  }));
  job("check", () => withValues({ level: byID("check-level").value.trim() }));
  job("calibrate", () => ({}));
  job("fixture", () => withValues({ series: byID("fixture-series").value.trim() }));
  on(["bench", "devices"], drawBench);
  on("silence", drawSilence);
  on(["engine", "bench", "line"], drawSilence);
  for (const name of ["check", "calibrate", "fixture"]) on([name, "engine", "bench", "coilID"], () => drawJob(name));
}

// unknownOfSimulated are the values of the simulated bench that bench.toml
// does not have yet.
export function unknownOfSimulated(bench) {
  if (!bench?.simulated) return {};
  return Object.fromEntries(Object.entries(bench.simulated_settings ?? {}).filter(([k]) => !bench.settings?.[k]));
}

// takeOver writes them into it.
export function takeOver() {
  return form.run(async () => {
    await api.post("/api/bench/settings", { sha256: state.bench?.file?.sha256 ?? "", options: unknownOfSimulated(state.bench) });
    form.dirty = false;
    await refresh.bench();
  });
}

async function keep() {
  const options = form.changes();
  delete options["bench-kind"];
  await api.post("/api/bench/settings", { sha256: form.stamp ?? "", options });
  form.kept();
  await refresh.bench();
}

function follow() {
  const values = form.values();
  const reference = values.reference || state.bench?.defaults?.reference || "none";
  for (const node of $$("[data-for]", form.node)) show(node, node.dataset.for.split(" ").includes(reference));
  const drive = values.drive || state.bench?.defaults?.drive || "current";
  for (const node of $$("[data-drive]", form.node)) show(node, node.dataset.drive === drive);
  const [drawing, caption, alt] = DRAWINGS[reference] ?? DRAWINGS.none;
  const image = byID("wiring-drawing");
  if (!image.src.endsWith(`/guide/${drawing}.svg`)) image.src = `/guide/${drawing}.svg`;
  image.alt = alt;
  say(byID("wiring-caption"), caption);
  delete values["bench-kind"];
  command(form.node, commandLine("bench", ".", { new: !state.bench?.file, ...values }));
}

// deviceOptions lists the devices that have channels that way, by name; by
// number where several have one name, as under several sound systems.
function deviceOptions(select, which) {
  const chosen = select.value;
  const devices = (state.devices?.devices ?? []).filter((d) => d[which + "_channels"] > 0);
  const choice = (d) => devices.filter((other) => other.name === d.name).length > 1 ? String(d.number) : d.name;
  const rows = [el("option", { value: "" }, "the system's own")];
  for (const d of devices) {
    rows.push(el("option", { value: choice(d) }, visible(`${d.name}${d.system ? `, ${d.system}` : ""} (${d[which + "_channels"]} ch${d["default_" + which] ? ", default" : ""})`)));
  }
  fill(select, rows);
  if (chosen && !devices.some((d) => choice(d) === chosen)) select.append(el("option", { value: chosen }, `${visible(chosen)} (not there now)`));
  select.value = chosen;
}

function drawBench() {
  const bench = state.bench;
  if (!bench) return;
  const settings = bench.settings ?? {};
  deviceOptions(byID("b-input"), "input");
  deviceOptions(byID("b-output"), "output");
  const values = { "bench-kind": bench.simulated ? "virtual" : "soundcard" };
  for (const field of form.fields) {
    if (field.name === "bench-kind") continue;
    values[field.name] = settings[field.name] ?? "";
    const usual = bench.defaults?.[field.name];
    if (usual !== undefined && field.tagName === "INPUT" && !field.dataset.example) {
      field.dataset.example = field.placeholder || "none";
      if (!field.placeholder) field.placeholder = usual;
    }
  }
  form.fill(values, bench.file?.sha256 ?? "");
  for (const kind of $$("#bench-kind input")) kind.checked = kind.value === values["bench-kind"];
  file.fill({ text: bench.file?.text ?? "" }, bench.file?.sha256 ?? "");
  show(byID("bench-card"), !bench.simulated);
  show(byID("bench-simulated"), Object.keys(unknownOfSimulated(bench)).length > 0);
  show(byID("bench-error"), Boolean(bench.error));
  say(byID("bench-error"), bench.error ? `bench.toml cannot be read: ${visible(bench.error)}` : "");
  const none = state.devices?.error || (state.devices && !state.devices.devices?.length ? "No sound device is found." : "");
  show(byID("devices-error"), Boolean(none));
  say(byID("devices-error"), visible(none));
  byID("check-level").placeholder = settings.level ?? bench.defaults?.level ?? "";
  fill(byID("cautions"), CAUTIONS.map((c) => el("li", {}, c)));
  for (const root of $$(".root")) fill(root, visible(bench.root ?? "."));
  missing(byID("bench-missing"), bench.missing);
  drawKnown();
  follow();
}

function drawKnown() {
  const bench = state.bench, settings = bench.settings ?? {};
  const row = (good, what, words) => el("li", { class: good ? "have" : "lack" }, el("b", {}, what), " ", el("span", { dir: "auto" }, visible(words)));
  const calibration = bench.calibration, fixture = bench.fixture;
  fill(byID("bench-knows"),
    row(bench.file || bench.simulated, "Devices", bench.simulated ? "the simulated bench" : bench.file ? `${settings.input || "the system's own input"} → ${settings.output || "the system's own output"}` : "not said yet: the system's own would be used"),
    row(Boolean(settings.reference && settings.reference !== "none"), "Second channel", { current: `current, over ${settings["sense-r"] || "a sense resistor"}`, loopback: "loopback of the output" }[settings.reference] ?? "nothing: the drive is taken to be known"),
    row(Boolean(fixture?.r || settings["fixture-r"]) && Boolean(fixture?.c || settings["fixture-c"]), "Fixture", fixture?.text || [fixture?.r || settings["fixture-r"], fixture?.c || settings["fixture-c"]].filter(Boolean).join(", ") || "not known: the coil's own C cannot be told from the cable's"),
    row(calibration && !calibration.stale, "Calibration", calibration ? `${calibration.text || `of ${String(calibration.date ?? "").slice(0, 10)}${calibration.rate ? `, ${calibration.rate} Hz` : ""}`}${calibration.stale ? `; stale: ${calibration.why ?? ""}` : ""}` : "none: needed where no second channel is used"));
}

function drawSilence() {
  const s = state.silence, facts = byID("bench-silence");
  const heard = state.engine.phase === "listening" && s;
  say(byID("bench-silence-words"), state.line !== "open" ? "" : heard ? silenceWords(s) : {
    off: "Nothing is listened to yet.", opening: "The device is being opened.", lost: "The device is lost.", working: "Noise and hum are measured again when the work is done.",
  }[state.engine.phase] ?? "Listening …");
  if (!s) { fill(facts); return; }
  const fact = (what, value) => el("div", {}, el("dt", {}, what), el("dd", {}, value));
  fill(facts, fact("Noise", decibels(s.noise, "dBFS")), fact("Hum", decibels(s.hum, "dBFS")),
    s.mains_hz ? fact("Mains", plain(s.mains_hz, "Hz", 4)) : null);
}

// silenceWords judge an idle input.
export function silenceWords(s) {
  if (s.noise === null && s.hum === null) return "Nothing at all arrives: is the right input chosen, its gain up, the coil plugged in?";
  if (s.hum !== null && s.hum > -40) return "Much hum: turn the coil to where it hums least, keep transformers and lamps away, check the ground of the input.";
  if (s.hum !== null && s.noise !== null && s.hum > s.noise + 20) return "Hum stands out of the noise. Turning the coil helps; the sweep turns the rest against itself.";
  if (s.noise !== null && s.noise > -50) return "Noisy: lower the gain, or look for a lamp dimmer or a switching supply nearby.";
  return "Quiet enough.";
}

const RUNNING = { check: "One quiet sweep is playing …", calibrate: "The sound card is being measured …", fixture: "The fixture is being measured …" };
const forms = {};

function job(name, options) {
  const root = byID(`job-${name}`);
  const f = new Form($("form", root), async () => {
    if (working() && state.engine.kind === name) { await api.post("/api/stop"); return; }
    if (!(await mayStart())) return;
    const body = { options: options() };
    if (name === "check" && state.coilID) body.coil = state.coilID;
    await api.post(`/api/${name}`, body);
  }, { onInput: () => drawJob(name) });
  f.options = options;
  forms[name] = f;
}

function drawJob(name) {
  const root = byID(`job-${name}`), mine = working() && state.engine.kind === name;
  const button = $("button[type=submit]", root);
  say(button, mine ? "Stop" : { check: "Check", calibrate: "Calibrate", fixture: "Measure" }[name]);
  button.classList.toggle("stop", mine);
  button.disabled = working() && !mine;
  const done = state[name], place = $(".outcome", root);
  const content = [];
  if (mine) content.push(el("p", { class: "work" }, RUNNING[name]));
  else if (done?.state === "failed") content.push(el("p", { class: "alarm" }, visible(done.error ?? "It failed.")));
  else if (done?.state === "stopped") content.push(el("p", {}, "Stopped."));
  else if (done?.state === "done") {
    if (done.at) content.push(el("p", { class: "small" }, since(done.at)));
    content.push(...(done.sentences ?? []).map((s) => el("p", { dir: "auto" }, typeset(s))));
    if (done.advice?.length) content.push(el("div", { class: "advice" }, el("h3", {}, "What to change"), list(done.advice.map((a) => typeset(a.text ?? a)))));
    if (done.proposed_level) content.push(el("p", {}, el("button", { type: "button", click: () => useLevel(done.proposed_level) }, `Use ${typeset(done.proposed_level)} dBFS for takes`)));
  }
  const key = JSON.stringify([mine, done]);
  if (place.dataset.key !== key) { place.dataset.key = key; fill(place, content); }
  command(root, commandLine(name, name === "check" ? state.coilID || "COIL" : ".", forms[name].options()));
}

function useLevel(level) {
  form.run(async () => {
    await api.post("/api/bench/settings", { sha256: state.bench?.file?.sha256 ?? "", options: { level } });
    await refresh.bench();
  });
}
