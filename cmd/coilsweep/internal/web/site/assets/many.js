// Several coils: compare them, or the statistics of a production run.
import * as api from "./api.js";
import { $, $$, byID, draw as drawFigure, el, fill, list, name, narrow, show } from "./dom.js";
import { about, command, Form, withValues } from "./form.js";
import { brief, plain, quantity, visible } from "./format.js";
import { commandLine } from "./names.js";
import { table } from "./result.js";
import { choose, on, state } from "./state.js";

let form;
const chosen = new Set();
const UNIT = { ohm: "Ω" };

export function start() {
  form = new Form(byID("many-form"), compare, { onInput: follow });
  byID("many-run").addEventListener("click", () => form.run(batch, { against: "against" }));
  byID("many-all").addEventListener("click", () => { for (const c of listed()) if (measured(c)) chosen.add(c.coil); draw(); });
  byID("many-none").addEventListener("click", () => { chosen.clear(); draw(); });
  byID("many-find").addEventListener("input", draw);
  on(["coils", "coilID"], draw);
}

const measured = (c) => (c.takes ?? 0) > 0;

function listed() {
  const find = byID("many-find").value.trim().toLowerCase();
  return (state.coils ?? []).filter((c) => !find || `${c.name} ${c.coil}`.toLowerCase().includes(find));
}

const picked = () => (state.coils ?? []).map((c) => c.coil).filter((id) => chosen.has(id));

const WORDS = { fresh: "fresh", stale: "stale", none: "no result", working: "working", failed: "failed" };

function draw() {
  const all = state.coils ?? [];
  for (const id of chosen) if (!all.some((c) => c.coil === id)) chosen.delete(id);
  if (!all.length) { fill(byID("many-coils"), el("p", { class: "none" }, "There are no coils yet.")); follow(); return; }
  const focus = document.activeElement?.dataset?.coil;
  const coils = listed(), star = (c) => c.resonance_of?.startsWith("take ") ? "*" : "";
  fill(byID("many-coils"), table("Coils", ["coil", "takes", "<result", "resonance", "Q", "L", "C", "R"], coils.map((c) => {
    const box = el("input", { type: "checkbox", "data-coil": c.coil, "aria-label": visible(c.name || c.coil), change: (event) => { chosen[event.target.checked ? "add" : "delete"](c.coil); follow(); } });
    box.checked = chosen.has(c.coil);
    box.disabled = !measured(c);
    return el("tr", {},
      el("th", { scope: "row", class: "long" }, el("label", { class: "pick" }, box, el("span", {}, name(c.name || c.coil), c.name && c.name !== c.coil ? el("small", {}, " ", name(c.coil)) : null))),
      el("td", {}, c.takes ?? 0),
      el("td", { class: "text" }, WORDS[c.state] ?? "–", c.flags?.length ? el("span", { class: "flag" }, ` ${visible(c.flags.join(", "))}`) : null),
      el("td", {}, brief(c.resonance_hz, "Hz") + star(c)), el("td", {}, brief(c.q, "") + star(c)), el("td", {}, brief(c.inductance_h, "H")), el("td", {}, brief(c.capacitance_f, "F")), el("td", {}, brief(c.resistance_ohm, "Ω")));
  })), coils.some(star) ? el("p", { class: "hint" }, "* with its fixture, from the take with the least load: the coil alone is not known. Others are the coil alone.") : null);
  if (focus) $$("[data-coil]", byID("many-coils")).find((b) => b.dataset.coil === focus)?.focus();
  follow();
}

function select(node, rows) {
  const before = node.value;
  fill(node, rows);
  node.value = [...node.options].some((o) => o.value === before) ? before : rows[0].value;
}

function follow() {
  const coils = picked(), of = (id) => (state.coils ?? []).find((c) => c.coil === id);
  const rows = () => coils.map((id) => el("option", { value: id }, visible(of(id)?.name || id)));
  select(byID("many-against"), [el("option", { value: "" }, "the first"), ...rows()]);
  select(byID("many-reference"), [el("option", { value: "" }, "no limits"), ...rows()]);
  byID("many-compare").textContent = coils.length ? `Compare ${coils.length}` : "Compare";
  const v = form.values();
  command(form.node, commandLine("compare", coils.length ? coils : ["COIL", "COIL"], { against: v.against, "same-bench": v["same-bench"], sort: v.sort === "given" ? "" : v.sort }));
}

async function compare(v) {
  const coils = picked();
  if (coils.length < 2) throw new Error("Choose two coils or more.");
  answerWaits();
  try {
    drawComparison(await api.post("/api/compare", { coils, against: v.against || coils[0], same_bench: Boolean(v["same-bench"]), sort: v.sort }));
  } catch (error) { fill(byID("many-answer")); throw error; }
}

async function batch() {
  const coils = picked(), v = form.values();
  if (coils.length < 2) throw new Error("Choose two coils or more.");
  if (v.tolerance && !v.reference) throw about("reference", "Choose the coil that the limits lie about, or empty the tolerance.");
  if (v.reference && !v.tolerance) throw about("tolerance", "How far from that coil may the others be? A share of each value: 5%, q=15%");
  if (v.chart && coils.length < 5) throw about("chart", "A control chart needs five coils or more.");
  answerWaits();
  const body = withValues({ reference: v.reference, guard: v.guard, chart: v.chart, by_folder: v["by-folder"] });
  if (v.tolerance) body.tolerance = v.tolerance.split(",").map((t) => t.trim()).filter(Boolean);
  try {
    drawBatch(await api.post("/api/batch", { coils, ...body }), coils, v);
  } catch (error) { fill(byID("many-answer")); throw error; }
}

function answerWaits() {
  fill(byID("many-answer"), el("p", { class: "panel work" }, "Being worked out …"));
}

function finish(...content) {
  const place = byID("many-answer");
  fill(place, ...content);
  place.focus({ preventScroll: true });
  place.scrollIntoView({ block: "start" });
}

const page = (link) => link ? el("p", {}, el("a", { href: link, target: "_blank", rel: "noopener" }, "The whole page, to keep or print")) : null;

function figures(answer) {
  const all = (answer.figures ?? []).map((f) => {
    const place = el("div");
    drawFigure(place, narrow() && f.narrow ? f.narrow : f.svg);
    const small = Number($("svg", place)?.getAttribute("viewBox")?.split(/\s+/)[2]) <= 480 && !narrow();
    return { small, node: el("figure", { class: small ? "" : "panel" }, f.title ? el("figcaption", {}, visible(f.title)) : null, place) };
  });
  const charts = all.filter((f) => f.small).map((f) => f.node);
  return [...all.filter((f) => !f.small).map((f) => f.node), charts.length ? el("div", { class: "panel small-figures" }, charts) : null];
}

// A difference is marked where it exceeds its U95.
export const exceeds = (difference) => Math.abs(difference?.en ?? 0) > 1;

function drawComparison(answer) {
  const c = answer.comparison ?? {}, properties = c.properties ?? [];
  const unit = (p) => UNIT[p.unit] ?? p.unit ?? "";
  const rows = (c.coils ?? []).flatMap((one) => {
    const reference = one.folder === c.reference;
    const values = el("tr", { class: reference ? "chosen" : "" },
      el("th", { scope: "row", class: "long" }, el("button", { type: "button", class: "as-link", click: () => choose(one.folder) }, name(one.coil || one.folder)), reference ? el("small", {}, " the reference") : null),
      properties.map((p) => el("td", {}, quantity(one.values?.[p.key], unit(p)))));
    if (reference) return [values];
    return [values, el("tr", { class: "differences" }, el("th", { scope: "row" }, el("small", {}, "difference")), properties.map((p) => {
      const d = one.differences?.[p.key];
      return el("td", {}, el("small", {}, exceeds(d) ? "▲ " : "", d?.delta?.value != null ? quantity(d.delta, unit(p)) : "–"));
    }))];
  });
  finish(el("section", { class: "panel", "aria-labelledby": "many-h" }, el("h2", { id: "many-h" }, "Comparison"),
    el("div", { class: "said" }, (answer.sentences ?? []).map((s) => el("p", { dir: "auto" }, visible(s)))),
    table("Table of the comparison", ["coil", ...properties.map((p) => p.name)], rows, "Each value with U95. ▲ marks a difference that exceeds its U95."),
    c.remarks?.length ? el("div", { class: "advice" }, el("h3", {}, "Mind"), list(c.remarks)) : null,
    page(answer.link)), ...figures(answer));
}

function drawBatch(answer, coils, v) {
  const b = answer.batch ?? {}, properties = b.properties ?? [];
  const unit = (p) => UNIT[p.unit] ?? p.unit ?? "";
  const spread = properties.filter((p) => p.mean != null).map((p) => el("tr", {},
    el("th", { scope: "row" }, visible(p.name)), el("td", {}, p.n ?? "–"), el("td", {}, plain(p.mean, unit(p), 4)), el("td", {}, p.sd != null ? plain(p.sd, unit(p), 2) : "–"),
    el("td", {}, p.mean && p.sd != null && unit(p) !== "dB" ? `${(100 * p.sd / Math.abs(p.mean)).toPrecision(2)}\u00a0%` : "–"),
    el("td", {}, p.measurement_u != null ? plain(p.measurement_u, unit(p), 2) : "–")));
  const verdicts = (b.coils ?? []).some((c) => c.verdict);
  const rows = (b.coils ?? []).map((one) => el("tr", {},
    el("th", { scope: "row", class: "long" }, name(one.coil || one.folders?.[0] || "")),
    verdicts ? el("td", { class: "text" }, /^fail/i.test(one.verdict) ? el("b", { class: "flag" }, visible(one.verdict)) : visible(one.verdict || "–")) : null,
    properties.map((p) => el("td", {}, brief(one.values?.[p.key], unit(p)))),
    el("td", { class: "text", dir: "auto" }, visible((one.findings ?? []).map((f) => typeof f === "string" ? f : f.text ?? "").filter(Boolean).join("; ")))));
  const line = commandLine("batch", coils, { reference: v.reference, tolerance: v.tolerance ? v.tolerance.split(",").map((t) => t.trim()) : "", guard: v.guard, chart: v.chart, "by-folder": v["by-folder"] });
  finish(el("section", { class: "panel", "aria-labelledby": "many-h" }, el("h2", { id: "many-h" }, "Batch"),
    el("div", { class: "said" }, (answer.sentences ?? []).map((s) => el("p", { dir: "auto" }, visible(s)))),
    table("Spread of the run", ["quantity", "coils", "mean", "spread s", "of the mean", "u of a measurement"], spread),
    table("Coils of the run", ["coil", ...(verdicts ? ["<verdict"] : []), ...properties.map((p) => p.name), "<what stands out"], rows),
    page(answer.link), el("details", { class: "line" }, el("summary", {}, "Same on the command line"), el("code", {}, line))), ...figures(answer));
}
