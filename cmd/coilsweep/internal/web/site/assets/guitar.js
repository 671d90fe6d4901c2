// The coil in a guitar: knobs to turn, curves that move at once.
import * as api from "./api.js";
import { $, $$, byID, draw as drawFigure, el, fill, fitting, list, say, show } from "./dom.js";
import { command, Form, withValues } from "./form.js";
import { decibels, plain, quantity, visible } from "./format.js";
import { commandLine } from "./names.js";
import { numberTile, table } from "./result.js";
import { on, state } from "./state.js";

// Once the knobs rest the table is asked for as well.
const REST_MS = 350;
let form, asking = false, again = false, stale = true, rest = 0;

const known = () => state.result?.result?.inductance_h?.value != null;

export function start() {
  form = new Form(byID("guitar-form"), () => ask(), { onInput: follow });
  byID("g-second").addEventListener("change", follow);
  byID("guitar-make").addEventListener("click", makePage);
  for (const svg of $$(".knob:not(.cable) svg")) $(".scale", svg).setAttribute("d", scale());
  on(["result", "coils", "coilID"], draw);
  on("step", () => { if (!byID("guitar").hidden && stale) ask(); });
  window.matchMedia("(max-width: 640px)").addEventListener("change", () => ask());
}

// A knob turns through 300 degrees, from 0 at the lower left.
export const turn = (at) => -150 + 30 * at;

function scale() {
  let d = "";
  for (let n = 0; n <= 10; n++) {
    const a = (turn(n) - 90) * Math.PI / 180, long = n % 5 === 0 ? 47 : 44;
    d += `M${(39 * Math.cos(a)).toFixed(1)} ${(39 * Math.sin(a)).toFixed(1)}L${(long * Math.cos(a)).toFixed(1)} ${(long * Math.sin(a)).toFixed(1)}`;
  }
  return d;
}

// harness is the guitar as options of the command.
export function harness() {
  const v = form.values(), two = Boolean(byID("g-second").value);
  const parts = {
    volume: v.volume, tone: v.tone, "tone-c": v["tone-c"],
    "cable-length": v["cable-length"], "cable-per-metre": v["cable-per-metre"], amp: v.amp,
  };
  if (v.volume) Object.assign(parts, { "volume-at": v["volume-at"], "volume-taper": v["volume-taper"] });
  if (v.tone) Object.assign(parts, { "tone-at": v["tone-at"], "tone-taper": v["tone-taper"], "tone-open": v["tone-open"] ? "true" : "", "tone-at-output": v["tone-at-output"] ? "true" : "" });
  if (Number(v["cable-length"]) === 0) { delete parts["cable-length"]; delete parts["cable-per-metre"]; }
  if (two) Object.assign(parts, { wiring: v.wiring, phase: v.phase });
  return withValues(parts);
}

const coils = () => [state.coilID, byID("g-second").value].filter(Boolean);

function follow() {
  const v = form.values();
  for (const knob of $$(".knob", form.node)) {
    const input = $("input", knob);
    const cable = knob.classList.contains("cable");
    const text = cable ? `${Number(input.value).toFixed(1)}\u00a0m` : Number(input.value).toFixed(1).replace(/\.0$/, "");
    say($("output", knob), text);
    input.setAttribute("aria-valuetext", cable ? `${input.value} metres` : text);
    if (cable) $(".cord", knob).setAttribute("d", `M6 0C${16 + 2 * input.value} 0 ${14} 22 ${-10} 22S${-34} ${14} ${-34 + 6.4 * input.value} 36`);
    else $(".pointer", knob).setAttribute("transform", `rotate(${turn(Number(input.value)).toFixed(1)})`);
  }
  for (const node of $$("[data-two]", form.node)) show(node, Boolean(byID("g-second").value));
  byID("g-volume-at").disabled = !v.volume;
  byID("g-tone-at").disabled = !v.tone;
  const flags = { ...harness() };
  for (const k of ["tone-open", "tone-at-output"]) if (flags[k]) flags[k] = true;
  command(form.node, commandLine("predict", coils().length ? coils() : ["COIL"], { ...flags, target: v.target, solve: v.target && v.solve !== "cable" ? v.solve : "" }));
  ask();
}

function draw() {
  const ready = known();
  show(byID("guitar-there"), ready);
  show(byID("guitar-empty"), !ready);
  if (!ready) {
    const r = state.result?.result;
    fill(byID("guitar-empty"), el("p", { class: "lead" }, r ? "A guitar can only be predicted once L and C are known apart." : "This needs a result first."),
      r?.inductance_h?.why ? el("p", { dir: "auto" }, visible(r.inductance_h.why)) : null,
      (state.result?.advice ?? []).length ? list(state.result.advice.map((a) => a.text)) : null);
    return;
  }
  const second = byID("g-second"), chosen = second.value;
  fill(second, el("option", { value: "" }, "none"), (state.coils ?? []).filter((c) => c.coil !== state.coilID && c.inductance_h?.value != null)
    .map((c) => el("option", { value: c.coil }, visible(c.name || c.coil))));
  second.value = [...second.options].some((o) => o.value === chosen) ? chosen : "";
  follow();
}

// asked is the guitar as it stands in the page.
function asked() {
  const v = form.values();
  return { coils: coils(), harness: harness(), ...(v.target ? { target: v.target, solve: v.solve } : {}) };
}

// makePage gives a link to a page of what is predicted.
async function makePage() {
  const place = byID("guitar-page");
  fill(place, "Being made …");
  try {
    const answer = await api.post("/api/guitar", { ...asked(), page: true });
    fill(place, el("a", { href: answer.link, target: "_blank", rel: "noopener" }, "Open the page, to keep or print"));
  } catch (error) {
    fill(place);
    failed(error);
  }
}

// ask sends one request at a time; while it runs the latest knobs wait. With
// all the answer holds every position of the knobs, which takes longer.
async function ask(all = false) {
  clearTimeout(rest);
  if (!known()) return;
  if (byID("guitar").hidden) { stale = true; return; }
  if (asking) { again = true; return; }
  asking = true;
  stale = false;
  let answered = false;
  do {
    again = false;
    try {
      const answer = await api.post("/api/guitar", { ...asked(), all });
      form.clear();
      drawAnswer(answer, all);
      answered = true;
    } catch (error) {
      answered = false;
      if (!again) failed(error);
    }
    if (again) all = false;
  } while (again);
  asking = false;
  if (answered && !all) rest = setTimeout(() => ask(true), REST_MS);
}

// failed shows an error and leaves the focus where somebody types or turns.
function failed(error) {
  const active = document.activeElement;
  form.fail(error);
  active?.focus?.({ preventScroll: true });
}

function drawAnswer(a, all) {
  if (!all) fill(byID("guitar-page")); // its link is to the guitar as it was
  const p = a.prediction ?? {};
  fill(byID("guitar-said"), (a.sentences ?? []).map((s) => el("p", { dir: "auto" }, visible(s))));
  fill(byID("guitar-numbers"),
    numberTile("Peak", "", p.peak_hz, "Hz", "usual are 2 kHz to 5 kHz"), numberTile("Height", "", p.peak_db, "dB", "over the level at low frequencies"),
    numberTile("Sharpness", "Q", p.q, "", ""), numberTile("Level", "", p.level_db, "dB", "at low frequencies"));
  const s = a.solution, target = byID("guitar-target");
  show(target, Boolean(s));
  if (s) fill(target, el("p", {}, s.text ? visible(s.text) : `${visible(s.part ?? "part")}: ${quantity(s.farad, "F")}${s.length_m != null ? ` (${s.length_m.toFixed(2)} m of this cable)` : ""} puts the peak at ${plain(s.target_hz, "Hz")}.`));
  const place = byID("guitar-figure");
  show(place, true);
  drawFigure(place, fitting(place, a.svg, a.narrow));
  const warnings = a.warnings ?? p.warnings ?? [];
  say(byID("guitar-warnings"), visible(warnings.length ? `Taken for granted: ${warnings.join("; ")}. ± is U95, from the coils' fits and the tolerances of the parts.` : "± is U95, from the coils' fits and the tolerances of the parts."));
  if (all || p.positions?.length) drawTable(p);
  else {
    const place = byID("guitar-table");
    place.setAttribute("aria-busy", "true");
    if (!place.firstChild) fill(place, el("p", { class: "none" }, "Being worked out …"));
  }
}

function drawTable(p) {
  byID("guitar-table").removeAttribute("aria-busy");
  const reasons = [];
  const cell = (q, unit) => {
    if (q?.value != null) return el("td", {}, quantity(q, unit));
    const why = q?.why ?? "";
    if (!why) return el("td", {}, "–");
    let n = reasons.indexOf(why);
    if (n < 0) n = reasons.push(why) - 1;
    return el("td", {}, `?${n + 1}`);
  };
  const rows = (p.positions ?? []).map((at) => el("tr", {}, el("th", { scope: "row", class: "short" }, at.volume != null ? `volume ${at.volume}` : `tone ${at.tone}`),
    cell(at.peak_hz, "Hz"), cell(at.peak_db, "dB"), cell(at.q, ""), el("td", {}, decibels(at.level_db?.value))));
  const without = (p.without ?? []).map((w) => {
    const change = p.peak_hz?.value && w.peak_hz?.value ? 100 * (w.peak_hz.value / p.peak_hz.value - 1) : null;
    return el("tr", {}, el("th", { scope: "row" }, visible(w.part)), cell(w.peak_hz, "Hz"), el("td", {}, change === null ? "–" : `${change > 0 ? "+" : ""}${change.toFixed(1).replace("-", "−")}\u00a0%`), cell(w.peak_db, "dB"));
  });
  fill(byID("guitar-table"),
    rows.length ? table("Positions of the knobs", ["knob", "peak", "height", "Q", "level"], rows) : el("p", { class: "none" }, "There are no knobs."),
    without.length ? el("h3", {}, "What each part does") : null,
    without.length ? table("Without each part", ["without the", "peak", "change", "height"], without) : null,
    reasons.length ? el("ul", { class: "small reasons" }, reasons.map((r, i) => el("li", { dir: "auto" }, `?${i + 1} not known: ${visible(r)}`))) : null);
}
