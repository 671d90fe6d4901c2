// The report, files to take away, and what has happened.
import * as api from "./api.js";
import { $, byID, el, fill, name, say, show } from "./dom.js";
import { command } from "./form.js";
import { bytes, since, typeset, visible } from "./format.js";
import { harness } from "./guitar.js";
import { commandLine } from "./names.js";
import { changed, on, state } from "./state.js";

let panel;

export function start() {
  panel = byID("report-write").closest(".panel");
  byID("report-write").addEventListener("click", write);
  on(["result", "coil", "coilID"], draw);
  on("step", () => { if (!byID("report").hidden || !byID("takes").hidden) fetchLinks(); });
  on("notes", drawNotes);
}

async function write() {
  const button = byID("report-write"), wrong = $(".wrong", panel);
  button.disabled = true;
  show(wrong, false);
  say(byID("report-link"), "Being written …");
  try {
    const body = byID("report-guitar").checked ? { harness: harness() } : {};
    const answer = await api.post(api.address("/api/report", { coil: state.coilID }), body);
    fill(byID("report-link"), el("a", { href: answer.link, target: "_blank", rel: "noopener" }, "Open the report"));
    await fetchLinks();
  } catch (error) {
    say(byID("report-link"), "");
    say(wrong, visible(error.message));
    show(wrong, true);
  } finally {
    draw();
  }
}

let linkedCoil;
function draw() {
  const ready = Boolean(state.result?.result);
  byID("report-write").disabled = !ready;
  show(byID("report-guitar-label"), state.result?.result?.inductance_h?.value != null);
  if (!ready) say(byID("report-link"), state.coil ? "A report needs a result: record a take first." : "Choose a coil first.");
  else if (!$("a", byID("report-link")) || linkedCoil !== state.coilID) say(byID("report-link"), "");
  if (linkedCoil !== state.coilID) { state.links = null; drawFiles(); }
  linkedCoil = state.coilID;
  command(panel, commandLine("report", state.coilID || "COIL"));
  fetchLinks();
}

async function fetchLinks() {
  if (byID("report").hidden && byID("takes").hidden) return;
  try {
    const asked = [api.get("/api/links")];
    if (state.coilID) asked.unshift(api.get("/api/links", { coil: state.coilID }));
    const files = (await Promise.all(asked)).flatMap((answer) => answer.files ?? []);
    // Once each: a stimulus may stand in both lists.
    state.links = { files: files.filter((f, i) => files.findIndex((g) => g.link === f.link) === i) };
    changed("links");
    drawFiles();
  } catch (error) {
    if (error.status !== 0) fill(byID("files"), el("p", { class: "none" }, visible(error.message)));
  }
}

const WHAT = {
  report: ["Report", "one page with pictures and numbers"], result: ["Result", "all numbers, in SI units, as JSON"], response: ["Response", "measured and fitted curves, as CSV"],
  archive: ["Archive", "everything for a publication, as ZIP, with README and checksums"], audio: ["Recording", "the take as recorded"], stimulus: ["Stimulus", "to play and record elsewhere"],
  comparison: ["Comparison", "page"], batch: ["Batch", "page"],
};

function drawFiles() {
  const files = state.links?.files ?? [];
  if (!files.length) { fill(byID("files"), el("p", { class: "none" }, "None yet.")); return; }
  fill(byID("files"), el("ul", { class: "files" }, files.map((f) => {
    const [what, words] = WHAT[f.what] ?? [f.what, ""];
    const page = /\.html?$/i.test(f.name);
    return el("li", {}, el("a", page ? { href: f.link, target: "_blank", rel: "noopener" } : { href: f.link, download: f.name }, name(f.name)),
      el("span", { class: "about" }, visible(what), ...(f.take ? [" of take ", name(f.take)] : []), el("small", {}, words ? `: ${words}` : "", f.made ? `; ${since(f.made)}` : "")),
      el("span", { class: "size" }, bytes(f.bytes)));
  })));
}

function drawNotes() {
  const notes = [...(state.notes ?? [])].reverse();
  fill(byID("notes"), notes.length ? el("ul", { class: "notes" }, notes.map((n) => el("li", { class: visible(n.grade ?? "") },
    el("small", {}, since(n.at)), " ", el("span", { dir: "auto" }, n.grade === "error" ? [el("b", { class: "flag" }, "Trouble"), " "] : null, typeset(n.text))))) : el("p", { class: "none" }, "Nothing yet."));
}
