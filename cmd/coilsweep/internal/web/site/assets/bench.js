// The bench: devices, levels, trial sweeps, what the bench knows.
import * as api from "./api.js";
import { $, $$, byID, does, optionsOf, say, show } from "./dom.js";
import { Edited } from "./undo.js";
import { act, draft, Form, withValues } from "./form.js";
import { ifEmpty } from "./empty.js";
import { on, refresh, state, working } from "./state.js";
import { mayStart } from "./sound.js";

let form, file, edited;

export function start() {
  const unsaved = (what) => () => `${what} ${state.bench?.kind}`;
  edited = new Edited("bench-undo", { name: () => state.bench?.kind, here: () => state.bench?.file,
    address: () => "/api/bench", refresh: refresh.bench });
  form = new Form(byID("bench-form"), () => keep(form.changes()), { onInput: follow, unsaved: unsaved("bench") });
  file = new Form($("#bench-file form"), ({ text }) => edited.change(async () => {
    const answer = await api.put("/api/bench", { sha256: file.stamp ?? "", text });
    file.kept();
    return answer;
  }),
    { unsaved: unsaved("file of") });
  byID("devices-again").addEventListener("click", () => refresh.devices());
  // Which bench it is counts at once: it is no edit that waits to be kept.
  byID("bench-kind").addEventListener("input", (event) => event.stopPropagation());
  for (const kind of $$("#bench-kind input")) kind.addEventListener("change", () => form.run(async () => {
    await api.post("/api/bench/kind", { bench: kind.value });
    form.forget(); // what stood here was of the other bench
    file.forget();
    await refresh.bench();
  }));
  does({ bench: (button) => act(button, () => keep(optionsOf(button), state.bench?.file?.sha256 ?? "")) });
  job("check", "Trial sweep", () => ({ level: byID("check-level").value.trim() }));
  job("calibrate", "Measure the sound card", () => ({}));
  job("fixture", "Measure", () => ({ series: byID("fixture-series").value.trim() }));
  on("bench", draw);
}

// keep writes options into bench.toml, if it is still the one that was seen.
const keep = ({ "bench-kind": _, ...options }, sha256 = form.stamp ?? "") => edited.change(async () => {
  const answer = await api.post("/api/bench/settings", { sha256, options });
  form.kept();
  return answer;
});

function follow() {
  const { "bench-kind": _, ...values } = form.values(), usual = state.bench?.defaults;
  const reference = values.reference || usual?.reference || "none", drive = values.drive || usual?.drive;
  for (const node of $$("#bench [data-for]")) show(node, node.dataset.for.split(" ").includes(reference));
  for (const node of $$("[data-drive]", form.node)) show(node, node.dataset.drive === drive);
  draft("bench", [], values);
}

function draw() {
  const bench = state.bench;
  if (!bench) return;
  for (const field of form.fields) {
    if (field.tagName === "INPUT" && field.type !== "radio" && !field.dataset.example) ifEmpty(field, bench.defaults[field.name]);
  }
  const none = Object.fromEntries(form.fields.map((field) => [field.name, ""]));
  form.fill({ ...none, ...bench.settings, "bench-kind": bench.kind }, bench.file?.sha256 ?? "");
  for (const kind of $$("#bench-kind input")) kind.checked = kind.value === bench.kind;
  file.fill({ text: bench.file?.text ?? "" }, bench.file?.sha256 ?? "");
  edited.draw();
  show(byID("bench-card"), bench.kind !== "virtual");
  document.documentElement.classList.toggle("is-simulated", bench.kind === "virtual");
  ifEmpty(byID("check-level"), bench.settings.level ?? bench.defaults.level);
  follow();
}

// job is a form that makes the bench do something, with the options that it has.
function job(name, label, options) {
  const root = byID(`job-${name}`), button = $("button[type=submit]", root);
  const mine = () => working() && state.engine.kind === name;
  const coil = () => name === "check" ? [state.coilID].filter(Boolean) : [];
  const tell = () => draft(name, coil(), options());
  new Form($("form", root), async () => {
    if (mine()) return api.post("/api/stop");
    if (!(await mayStart())) return undefined;
    return api.post(`/api/${name}`, { coil: coil()[0] ?? "", options: withValues(options()) });
  }, { onInput: tell });
  on("engine", () => {
    say(button, mine() ? "Stop" : label);
    button.classList.toggle("stop", mine());
    button.disabled = working() && !mine();
  });
  on(["coilID", "line"], tell);
}
