// The result: numbers with U95, what is unknown and why, what to measure next.
import * as api from "./api.js";
import { $, $$, byID, draw as drawFigure, el, fill, list, name, narrow, say, show } from "./dom.js";
import { command } from "./form.js";
import { brief, decibels, plain, quantity, quantityParts, uneven, visible } from "./format.js";
import { commandLine } from "./names.js";
import { on, state } from "./state.js";

export const QUANTITIES = [
  ["bare_resonance_hz", "Resonance", "", "Hz", "the coil alone, without cable and input"],
  ["bare_q", "Q", "", "", "the coil alone: the higher, the sharper"],
  ["inductance_h", "Inductance", "L", "H", "at low frequency"],
  ["capacitance_f", "Capacitance", "C", "F", "coil and fixture, nothing added"],
  ["capacitance_coil_f", "Capacitance of the coil", "C", "F", "fixture taken off"],
  ["resistance_ohm", "Resistance", "R", "Ω", "in series, at the temperature of the takes"],
];

// numberTile is one number with U95 under it; one that is unknown keeps its
// place, with its reason.
export function numberTile(what, symbol, q, unit, note) {
  const head = el("dt", {}, what, symbol ? [" ", el("i", {}, symbol)] : null);
  if (!q || q.value === null || q.value === undefined) {
    return el("div", { class: "unknown" }, head, el("dd", {}, el("b", {}, "not known"), " ", el("span", { dir: "auto" }, visible(q?.why ?? ""))), note ? el("dd", { class: "what" }, note) : null);
  }
  const p = quantityParts(q, unit);
  const gap = p.unit ? "\u00a0" : "";
  return el("div", {}, head, el("dd", {}, el("b", {}, `${p.value}${gap}${p.unit}`), p.spread ? [" ", el("span", {}, uneven(q) ? p.spread : `± ${p.spread}${gap}${p.unit}`)] : null), note ? el("dd", { class: "what" }, note) : null);
}

// table that scrolls sideways on small screens; a head that begins with "<"
// stands over text, which is set from the left.
export function table(label, heads, rows, caption) {
  return el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": label }, el("table", {},
    caption ? el("caption", {}, caption) : null,
    el("thead", {}, el("tr", {}, heads.map((h) => el("th", h.startsWith("<") ? { scope: "col", class: "text" } : { scope: "col" }, h.replace(/^</, ""))))),
    el("tbody", {}, rows)));
}

let go = () => {};
let fitForm;

export function start(goTo) {
  go = goTo;
  fitForm = { node: byID("fit-again").closest(".panel") };
  byID("fit-again").addEventListener("click", async () => {
    const wrong = $(".wrong", fitForm.node);
    show(wrong, false);
    try { await api.post("/api/fit", { coil: state.coilID, options: {} }); } catch (error) {
      say(wrong, visible(error.message));
      show(wrong, true);
    }
  });
  on(["result", "coil", "coilID"], draw);
  on("step", figures);
  for (const folded of $$("#result details")) folded.addEventListener("toggle", () => { if (folded.open) figures(); });
  window.matchMedia("(max-width: 640px)").addEventListener("change", () => { shown = new Map(); figures(); });
}

const STATES = {
  none: "There is no result yet.",
  working: "The fit is being worked out …",
  fresh: "",
  stale: "Stale: coil or takes have changed since.",
  failed: "The fit failed.",
};

let drawnOf = "";
function draw() {
  const r = state.result, there = Boolean(r?.result);
  const line = byID("result-state");
  const words = r ? STATES[r.state] ?? "" : "";
  say(line, visible([words, r && r.state !== "fresh" && r.why ? r.why : ""].filter(Boolean).join(" ")));
  line.className = `state-line ${r?.state ?? ""}`;
  show(line, Boolean(line.textContent) && there);
  show(byID("result-there"), there);
  show(byID("result-empty"), !there);
  if (!there) {
    fill(byID("result-empty"), emptyWords(r));
    return;
  }
  const result = r.result;
  byID("result-there").classList.toggle("old", r.state !== "fresh");
  fill(byID("result-said"), (r.sentences ?? []).map((s) => el("p", { dir: "auto" }, visible(s))));
  const tiles = QUANTITIES.filter(([key]) => result[key]).map(([key, what, symbol, unit, note]) => numberTile(what, symbol, result[key], unit, note));
  for (const [i, e] of (result.eddy ?? []).entries()) tiles.push(numberTile(`Eddy loss${result.eddy.length > 1 ? " " + (i + 1) : ""}`, "", percentOf(e.share), "%", e.corner_hz?.value != null ? `of L, above ${brief(e.corner_hz, "Hz")}` : ""));
  fill(byID("result-numbers"), tiles);
  say(byID("result-basis"), `± is the expanded uncertainty U95: the value lies within it with 95 % confidence.${result.basis?.length ? ` Rests on ${visible(result.basis.join("; "))}.` : ""}`);
  drawAdvice(r);
  const warnings = result.warnings ?? [];
  show(byID("result-warnings"), warnings.length > 0);
  fill(byID("result-warnings"), el("h3", {}, "Warnings"), list(warnings));
  const left = r.left_out ?? [];
  show(byID("result-left-out"), left.length > 0);
  fill(byID("result-left-out"), el("h3", {}, "Left out"), list(left.map((l) => el("span", {}, name(l.take), l.why ? `: ${visible(l.why)}` : ""))));
  drawTakes(result);
  drawBranch(result);
  drawBudget(result);
  drawModel(result);
  command(fitForm.node, commandLine("fit", state.coilID));
  const key = state.coilID + JSON.stringify(result.record ?? result.takes);
  if (key !== drawnOf) { drawnOf = key; shown = new Map(); }
  figures();
}

const percentOf = (q) => q?.value != null ? { value: 100 * q.value, u: 100 * q.u, U95: 100 * q.U95 } : q;

function emptyWords(r) {
  const first = !state.coil ? "Choose a coil first." : !(state.coil.takes ?? []).length ? "A result follows from takes: the first, with nothing clipped on, shows resonance and Q. Takes with known capacitors tell L from C." : STATES[r?.state] || "There is no result yet.";
  return [el("p", { class: "lead" }, first), r?.why ? el("p", { class: r.state === "failed" ? "alarm" : "", dir: "auto" }, visible(r.why)) : null,
    el("p", { class: "buttons" }, el("button", { type: "button", click: () => go("takes") }, "To the takes"),
      r?.state === "failed" ? el("button", { type: "button", click: () => byID("fit-again").click() }, "Fit again") : null)];
}

function drawAdvice(r) {
  const place = byID("result-advice"), advice = r.advice ?? [];
  show(place, advice.length > 0);
  fill(place, el("h3", {}, "What to measure next"), el("ul", {}, advice.map((a) => el("li", { dir: "auto" }, visible(a.text), " ",
    a.options ? el("button", { type: "button", click: () => go("takes", a.options) }, "Prepare this take") : null))));
}

function drawTakes(result) {
  const rows = (result.takes ?? []).map((t) => el("tr", { class: t.used === false ? "left-out" : "" },
    el("th", { scope: "row", class: "short" }, name(t.name)),
    el("td", {}, [t.added_c_f ? plain(t.added_c_f, "F") : "", t.added_r_ohm ? plain(t.added_r_ohm, "Ω") : ""].filter(Boolean).join(", ") || "–"),
    el("td", {}, quantity(t.resonance_hz, "Hz")), el("td", {}, quantity(t.q, "")), el("td", {}, quantity(t.peak_hz, "Hz")), el("td", {}, quantity(t.peak_db, "dB")),
    el("td", {}, decibels(t.snr_db)),
    el("td", { class: "flags" }, t.used === false ? el("span", {}, "not used") : null, " ", (t.flags ?? []).map((f) => [el("span", {}, visible(f)), " "]).flat(), !(t.flags ?? []).length && t.used !== false ? "–" : null)));
  fill(byID("result-takes"), table("Takes in the result", ["take", "added", "resonance", "Q", "peak", "height", "signal over noise", "<flags"], rows));
}

// The winding at the frequencies of meters; nothing where nothing of it is known.
function drawBranch(result) {
  const points = result.branch ?? [], meters = { 100: "100 Hz", 120: "120 Hz", 1000: "1 kHz", 10000: "10 kHz" };
  show(byID("result-branch"), points.some((p) => p.inductance_h?.value != null || p.resistance_ohm?.value != null));
  fill(byID("branch"), table("The winding at the frequencies of meters", ["frequency", "L in series", "AC resistance"], points.map((p) => el("tr", {},
    el("th", { scope: "row" }, meters[p.hz] ?? plain(p.hz, "Hz", 4), meters[p.hz] ? null : el("small", {}, " resonance with nothing added")),
    el("td", {}, quantity(p.inductance_h, "H")), el("td", {}, quantity(p.resistance_ohm, "Ω"))))));
}

const NAMES = { inductance_h: "L", capacitance_f: "C", resistance_ohm: "R", capacitance_coil_f: "C of the coil", bare_resonance_hz: "resonance, coil alone", bare_q: "Q, coil alone" };

function drawBudget(result) {
  const budgets = (result.budget ?? []).slice(0, 9);
  show(byID("result-budget"), budgets.length > 0);
  fill(byID("budget"), el("div", { class: "budgets" }, budgets.map((b) => el("table", {},
    el("caption", {}, `Of U95² of ${NAMES[b.quantity] ?? visible(b.quantity.replace(/^resonance_hz of /, "resonance of ").replace(/^q of /, "Q of "))}`),
    el("tbody", {}, (b.shares ?? []).map((s) => el("tr", {}, el("th", { scope: "row" }, visible(s.source)), el("td", {}, `${s.percent.toFixed(s.percent < 10 ? 1 : 0)}\u00a0%`))))))));
}

function drawModel(result) {
  const m = result.model;
  show(byID("result-model"), Boolean(m?.name));
  if (!m?.name) return;
  fill(byID("model"), el("p", {}, `Chosen: ${visible(m.name)}, reduced chi² ${Number(m.chi2_reduced).toPrecision(3)}, ${m.dof} degrees of freedom.`),
    table("Circuits tried", ["circuit", "parameters", "BIC", "reduced chi²"], (m.tried ?? []).map((t) => el("tr", { class: t.name === m.name ? "chosen" : "" },
      el("th", { scope: "row" }, visible(t.name)), el("td", {}, t.parameters ?? "–"), el("td", {}, Number.isFinite(t.bic) ? Math.round(t.bic) : "–"), el("td", {}, Number.isFinite(t.chi2_reduced) ? t.chi2_reduced.toPrecision(3) : "–")))));
}

// figures fetches what is to be seen, each once a result. An answer that comes
// when another result is shown is of no more use.
let shown = new Map();
async function figures() {
  const asked = shown;
  if (!state.result?.result || byID("result").hidden) return;
  for (const place of $$("#result [data-figure]")) {
    const what = place.dataset.figure;
    if (place.tagName === "DETAILS" && !place.open) continue;
    if (shown.has(what)) continue;
    shown.set(what, true);
    api.get("/api/figure", { coil: state.coilID, what, narrow: narrow() ? 1 : 0 })
      .then((answer) => { if (asked !== shown) return; drawFigure($(".figure-place", place), answer.svg); if (place.tagName !== "DETAILS") show(place, Boolean(answer.svg)); })
      .catch((error) => {
        if (asked !== shown) return;
        if (error.status !== 404) shown.delete(what);
        fill($(".figure-place", place));
        if (place.tagName !== "DETAILS") show(place, false);
      });
  }
  for (const [id, path, draw] of [["result-meter", "/api/crosscheck", drawCrosscheck], ["result-capacitance", "/api/capacitance", drawCapacitance], ["result-winding", "/api/winding", drawWinding]]) {
    if (!byID(id).open || shown.has(path)) continue;
    shown.set(path, true);
    const place = byID({ "result-meter": "crosscheck", "result-capacitance": "capacitance", "result-winding": "winding" }[id]);
    api.get(path, { coil: state.coilID }).then((answer) => { if (asked === shown) fill(place, draw(answer)); }).catch((error) => {
      if (asked !== shown) return;
      shown.delete(path);
      fill(place, el("p", { class: "none", dir: "auto" }, visible(error.message)));
    });
  }
}

const unitOf = (what) => ({ L: "H", C: "F", R: "Ω" }[what] ?? "");

function drawCrosscheck(answer) {
  const rows = (answer.meter ?? []).map((m) => el("tr", {},
    el("th", { scope: "row", class: "short" }, `${visible(m.what)}, ${m.at_hz ? `${plain(m.at_hz, "Hz")}, ` : ""}${visible(m.mode)}`),
    el("td", {}, quantity({ value: m.reading, U95: m.U95 }, unitOf(m.what))), el("td", {}, quantity(m.expected, unitOf(m.what))),
    el("td", {}, m.en == null ? "–" : m.en.toFixed(2).replace("-", "−")),
    el("td", { class: "text", dir: "auto" }, visible([m.verdict, ...(m.explanation?.notes ?? [])].filter(Boolean).join("; ")))));
  return rows.length ? table("Meter readings", ["meter", "reading", "the fit expects", "En", "<verdict"], rows, "± is U95. En from −1 to 1: reading and fit agree (ISO/IEC 17043).") : el("p", { class: "none" }, "No readings: add them in the Coil step.");
}

function drawCapacitance(answer) {
  const rows = (answer.lines ?? []).map((l) => el("tr", {}, el("th", { scope: "row", class: "long" }, visible(l.what)), el("td", {}, quantity(l.capacitance_f, "F")), el("td", { class: "text", dir: "auto" }, visible(l.source ?? ""))));
  rows.push(el("tr", { class: "sum" }, el("th", { scope: "row" }, "all"), el("td", {}, quantity(answer.total_f, "F")), el("td", { class: "text" }, "what the takes show")));
  return table("Capacitance", ["what", "capacitance", "<from"], rows);
}

// The winding's account is read by keys: what it is of comes with its unit.
function drawWinding(answer) {
  const facts = [];
  for (const [key, value] of Object.entries(answer)) {
    const what = visible(key.replace(/_(h|f|ohm|hz|m|mm|c|percent)$/, "").replaceAll("_", " "));
    const unit = { _h: "H", _f: "F", _ohm: "Ω", _hz: "Hz", _m: "m" }[(/_(h|f|ohm|hz|m)$/.exec(key) ?? [""])[0]] ?? "";
    let text = null;
    if (value && typeof value === "object" && "value" in value) text = value.value === null ? `not known: ${value.why ?? ""}` : quantity(value, unit);
    else if (typeof value === "number") text = plain(value, unit, 4);
    else if (typeof value === "string" && value) text = value;
    if (text) facts.push(el("div", {}, el("dt", {}, what), el("dd", { dir: "auto" }, visible(text))));
  }
  const words = [...(answer.findings ?? []), ...(answer.notes ?? []), ...(answer.warnings ?? [])].map((w) => typeof w === "string" ? w : w?.text).filter(Boolean);
  return [facts.length ? el("dl", { class: "facts" }, facts) : null, words.length ? list(words) : null];
}
