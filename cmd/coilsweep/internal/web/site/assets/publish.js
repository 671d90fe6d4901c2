// The report, and files to take away.
import * as api from "./api.js";
import { $, announce, byID, el, fill, link, put, say, show } from "./dom.js";
import { act, draft, Form, withValues } from "./form.js";
import { harness } from "./guitar.js";
import { on, state } from "./state.js";

let figure;

export function start() {
  byID("report-write").addEventListener("click", () => write("report",
    byID("report-guitar").checked ? { harness: harness() } : {}));
  byID("certificate-write").addEventListener("click", () => write("certificate", { certificate: true }));
  figure = new Form(byID("figure-form"), print, { onInput: tell });
  on(["result", "coil", "coilID"], draw);
  on("step", fetchLinks);
}

// write has the report written, or the certificate, and links it.
async function write(what, body) {
  const place = byID(`${what}-link`);
  say(place, "Being written …");
  await act(byID(`${what}-write`), async () => {
    try {
      const answer = await api.post(api.address("/api/report", { coil: state.coilID }), body);
      fill(place, link(answer.link, `Open the ${what}`));
    } catch (error) {
      say(place, "");
      throw error;
    }
  });
  draw();
}

let linkedCoil;
function draw() {
  const ready = Boolean(state.result?.there), place = byID("report-link");
  byID("report-write").disabled = !ready;
  show(byID("report-guitar-label"), state.result?.known);
  if (!ready) say(place, state.coil ? "A report needs a result: record a take first." : "Choose a coil first.");
  for (const one of [place, byID("certificate-link"), byID("figure-link")]) {
    if (ready && (!$("a", one) || linkedCoil !== state.coilID)) say(one, "");
  }
  linkedCoil = state.coilID;
  for (const id of ["figure-form", "certificate"]) show(byID(id), ready);
  if (ready) tell();
  fetchLinks();
}

function tell() {
  const { format, ...options } = figure.values(), guitar = options.what === "predict" ? harness() : {};
  draft("plot", [state.coilID], { ...options, ...guitar, out: `${options.what}.${format}` });
}

async function print({ format, ...options }) {
  say(byID("figure-link"), "");
  const coil = state.coilID;
  const made = await api.post("/api/figure", { coil, options: withValues(options), format,
    ...(options.what === "predict" ? { harness: harness() } : {}) });
  if (coil === state.coilID) fill(byID("figure-link"), el("a", { href: made.link, download: made.name }, made.name));
}

async function fetchLinks() {
  if (byID("report").hidden && byID("takes").hidden) return;
  const coil = state.coilID;
  try {
    const answer = await api.get("/api/links", coil ? { coil } : {});
    if (coil === state.coilID) put(answer.html);
  } catch (error) {
    if (error.status !== 0) announce(error.message);
  }
}
