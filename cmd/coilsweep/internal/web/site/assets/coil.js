// The coil: its folder, what is known of it, meter readings.
import * as api from "./api.js";
import { $, byID, el, fill, missing, name, show } from "./dom.js";
import { about, command, Form, withValues } from "./form.js";
import { visible } from "./format.js";
import { commandLine, proposeFolder } from "./names.js";
import { choose, on, refresh, state } from "./state.js";

let fresh, form, meter, file, wantsNew = false, folderByHand = false;

export function start(go) {
  fresh = new Form(byID("new-coil"), async (v) => {
    if (!v.name && !v.folder) throw about("name", "Give the coil a name: its folder is called after it.");
    const coil = v.folder || proposeFolder(v.name);
    const answer = await api.post("/api/coils", { coil, options: withValues({ name: v.name, dcr: v.dcr, wire: v.wire, notes: v.notes }) });
    wantsNew = folderByHand = false;
    fresh.dirty = false;
    for (const field of fresh.fields) field.value = "";
    await refresh.coils();
    choose(answer.coil ?? coil);
    go("takes");
  }, { onInput: propose });
  byID("n-folder").addEventListener("input", (event) => { folderByHand = event.target.value !== ""; });
  byID("coil-new").addEventListener("click", () => startNew(go));
  byID("new-coil-cancel").addEventListener("click", () => { wantsNew = false; draw(); });

  form = new Form(byID("coil-form"), async () => {
    await api.post(api.address("/api/coil/settings", { coil: state.coilID }), { sha256: form.stamp, values: form.changes() });
    form.kept();
    await refresh.coil();
  });
  meter = new Form(byID("meter-form"), async (v) => {
    const reading = withValues({ what: v.what, reading: v.reading, mode: v.mode });
    for (const k of ["at_hz", "celsius"]) if (v[k] !== "") reading[k] = number(v[k], k);
    await api.post(api.address("/api/coil/reading", { coil: state.coilID }), { sha256: state.coil.sha256, ...reading });
    byID("m-reading").value = "";
    meter.dirty = false;
    await refresh.coil();
  });
  file = new Form($("#coil-file form"), async ({ text }) => {
    await api.put(api.address("/api/coil", { coil: state.coilID }), { sha256: file.stamp, text });
    file.kept();
    await refresh.coil();
  });

  const choice = byID("coil-choice");
  choice.addEventListener("change", () => { wantsNew = false; choose(choice.value); });
  on(["coils", "coilID"], drawChoice);
  on(["coil", "coilID", "coils"], draw);
  on("coilID", () => { for (const f of [form, file, meter]) { f.dirty = false; f.filled = null; f.stamp = undefined; f.theirs = null; f.clear(); } });
}

// number reads what somebody typed; a comma is a decimal sign as well.
function number(text, field) {
  const value = Number(text.replace(",", ".").replace("−", "-"));
  if (Number.isFinite(value)) return value;
  const error = new Error(`“${visible(text)}” is not a number: write 1000, or 21.5.`);
  error.field = field;
  throw error;
}

export function startNew(go) {
  wantsNew = true;
  go("coil");
  draw();
  propose();
  byID("n-name").focus();
}

function propose() {
  const v = fresh.values();
  // Not while somebody empties the field to write into it.
  if (!folderByHand && document.activeElement !== byID("n-folder")) byID("n-folder").value = v.name ? proposeFolder(v.name) : "";
  command(fresh.node, commandLine("new", v.folder || proposeFolder(v.name), { name: v.name, dcr: v.dcr, wire: v.wire, notes: v.notes }));
}

function drawChoice() {
  const choice = byID("coil-choice"), coils = state.coils ?? [];
  const rows = coils.map((c) => {
    const label = visible(c.name || c.coil);
    return el("option", { value: c.coil }, c.name && c.name !== c.coil ? `${label} (${visible(c.coil)})` : label);
  });
  if (!coils.some((c) => c.coil === state.coilID)) rows.unshift(el("option", { value: "" }, coils.length ? "choose" : "none yet"));
  fill(choice, rows);
  choice.value = coils.some((c) => c.coil === state.coilID) ? state.coilID : "";
  choice.disabled = coils.length === 0;
}

function draw() {
  const coil = state.coil;
  const none = state.coils !== null && state.coils.length === 0;
  show(byID("new-coil"), wantsNew || none);
  show(byID("new-coil-cancel"), !none);
  show(byID("coil-there"), Boolean(coil) && !wantsNew);
  if (none) propose();
  for (const node of document.querySelectorAll(".of-coil")) fill(node, coil ? name(coil.name || coil.coil) : "");
  if (!coil) return;
  fill(byID("coil-name"), visible(coil.name || coil.coil));
  fill(byID("coil-folder"), visible(coil.coil));
  missing(byID("coil-missing"), coil.missing);
  const values = {};
  for (const field of form.fields) values[field.name] = coil.values?.[field.name] ?? coil[field.name] ?? "";
  form.fill(values, coil.sha256);
  if (values["winding.turns"] || values["winding.wire"]) byID("coil-winding").open ||= false;
  file.fill({ text: coil.text ?? "" }, coil.sha256);
  drawReadings(coil.meter ?? []);
}

function drawReadings(readings) {
  if (!readings.length) { fill(byID("meter-readings"), el("p", { class: "none" }, "None.")); return; }
  fill(byID("meter-readings"), el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Meter readings" }, el("table", {},
    el("thead", {}, el("tr", {}, ["what", "reading", "at", "mode", "temperature", ""].map((h) => el("th", { scope: "col" }, h)))),
    el("tbody", {}, readings.map((r) => el("tr", {},
      el("th", { scope: "row", class: "short" }, visible(r.what)),
      el("td", { dir: "auto" }, visible(r.reading)),
      el("td", {}, r.at_hz ? `${r.at_hz}\u00a0Hz` : "–"),
      el("td", {}, visible(r.mode || "–")),
      el("td", {}, r.celsius !== null && r.celsius !== undefined ? `${r.celsius}\u00a0°C` : "–"),
      el("td", { class: "text" }, r.use_in_fit ? "part of the fit" : "")))))));
}
