// What each step knows in a word, and what is to be done next. Pure: from the
// state alone, so that it can be checked.
import { plural } from "./format.js";

const count = (items) => (items ?? []).length;

export const usable = (coil) => (coil?.takes ?? []).filter((t) => t.fit_for_use !== false);

// stepWords gives {word, mark} of each step; mark is ready, open, wait, work
// or alarm.
export function stepWords(s) {
  const coils = s.coils ?? [];
  const out = {};
  const benchMissing = count(s.bench?.missing);
  if (s.engine?.phase === "lost") out.bench = { word: "device lost", mark: "alarm" };
  else if (!s.bench) out.bench = { word: "…", mark: "wait" };
  else if (benchMissing) out.bench = { word: `${benchMissing} missing`, mark: "open" };
  else out.bench = { word: "ready", mark: "ready" };

  const coilMissing = count(s.coil?.missing);
  if (!s.coil) out.coil = { word: coils.length ? "choose one" : "start one", mark: "open" };
  else if (coilMissing) out.coil = { word: `${coilMissing} missing`, mark: "open" };
  else out.coil = { word: "ready", mark: "ready" };

  const takes = s.coil?.takes ?? [], good = usable(s.coil);
  if (s.engine?.phase === "working" && s.engine.kind === "take") out.takes = { word: "recording", mark: "work" };
  else if (!s.coil) out.takes = { word: "needs a coil", mark: "wait" };
  else if (!takes.length) out.takes = { word: "none yet", mark: "open" };
  else if (good.length < takes.length) out.takes = { word: `${good.length} of ${takes.length} fit`, mark: good.length ? "ready" : "alarm" };
  else out.takes = { word: plural(takes.length, "take"), mark: "ready" };

  const r = s.result;
  const known = r?.result && r.result.inductance_h?.value != null;
  if (!r || r.state === "none") out.result = { word: s.coil && !good.length ? "needs a take" : "none yet", mark: "wait" };
  else if (r.state === "working") out.result = { word: "working", mark: "work" };
  else if (r.state === "failed") out.result = { word: "failed", mark: "alarm" };
  else if (r.state === "stale") out.result = { word: "stale", mark: "open" };
  else if (!known) out.result = { word: "L unknown", mark: "open" };
  else out.result = { word: "ready", mark: "ready" };

  out.guitar = known ? { word: "ready", mark: "ready" } : { word: r?.result ? "needs L and C" : "needs a result", mark: "wait" };
  const measured = coils.filter((c) => c.state === "fresh" || c.state === "stale").length;
  out.compare = measured >= 2 ? { word: plural(measured, "coil"), mark: "ready" } : { word: "needs 2 coils", mark: "wait" };
  out.report = r?.result ? { word: "ready", mark: "ready" } : { word: "needs a result", mark: "wait" };
  return out;
}

// next is what to do now: {text, step, label, options?}. options fill the
// form of the takes.
export function next(s) {
  if (!s.bench) return null;
  const coils = s.coils ?? [];
  if (s.engine?.phase === "lost") {
    return { text: `The sound device is lost. Plug it in again: it is looked for every two seconds.`, step: "bench", label: "Bench", alarm: true };
  }
  if (s.engine?.phase === "working") return { text: `${sentence(s.engine.job || "Working")}. Leave coil, exciter and gain alone.`, step: "", label: "", work: true };
  if (!s.bench.file && !s.bench.simulated) {
    return { text: "Say what plays and records: choose your sound card, or learn the work on the simulated bench.", step: "bench", label: "Set up the bench" };
  }
  if (s.bench.error) return { text: "bench.toml cannot be read: correct it in its text.", step: "bench", label: "Bench", alarm: true };
  if (s.bench.simulated && !s.bench.file && s.bench.simulated_settings) {
    return { text: "Take over what is known of the simulated bench: its cable, its input, its second channel.", step: "bench", label: "Take it over", takeOver: true };
  }
  if (!s.coil) {
    return coils.length
      ? { text: "Choose a coil above, or start a folder for a new one.", step: "coil", label: "New coil" }
      : { text: "Start a folder for the coil: a name is enough.", step: "coil", label: "New coil" };
  }
  const takes = s.coil.takes ?? [], good = usable(s.coil);
  if (!takes.length) return { text: "Record the first take, with nothing clipped on the coil.", step: "takes", label: "First take", options: {} };
  if (!good.length) {
    const last = latest(takes);
    return { text: `No take is fit for use yet. ${last.advice?.[0] ?? "Lower the level or the gain, and record again."}`, step: "takes", label: "Record again", options: optionsOf(last), redo: last.name };
  }
  const last = latest(takes);
  if (last.fit_for_use === false) return { text: `Take ${last.name} is not fit for use. ${last.advice?.[0] ?? "Lower the level or the gain, and record it again."}`, step: "takes", label: "Do it again", options: optionsOf(last), redo: last.name };
  if (s.result?.state === "working") return { text: "The fit is being worked out.", step: "result", label: "Result", work: true };
  if (s.result?.state === "failed") return { text: `The fit failed: ${s.result.why ?? "see the result"}`, step: "result", label: "Result", alarm: true };
  const advice = (s.result?.advice ?? [])[0];
  const take = advice && { step: "takes", label: advice.options ? "Prepare this take" : "Takes", options: advice.options };
  const known = s.result?.result?.inductance_h?.value != null;
  if (advice && !known) return { text: sentence(advice.text), ...take };
  const report = { step: "report", label: "Report" };
  const gap = (s.coil.missing ?? [])[0];
  if (gap) return { text: `Still missing: ${gap.what}. ${gap.how ? sentence(gap.how) : ""}`, step: "coil", label: "Coil", also: known ? report : null };
  if (s.result?.state === "stale") return { text: `The numbers are out of date: ${(s.result.stale ?? []).join("; ")}`, step: "result", label: "Fit again", fit: true };
  if (known && advice) return { text: `The numbers stand. Sharper still: ${advice.text}`, ...report, also: take };
  if (s.result?.result) return { text: "The numbers stand. See what the coil does in a guitar, or write the report.", ...report, also: { step: "guitar", label: "Guitar" } };
  return { text: "Look at the result.", step: "result", label: "Result" };
}

export function optionsOf(take) {
  const options = {};
  if (take.added_c) options["added-c"] = take.added_c;
  if (take.added_r) options["added-r"] = take.added_r;
  return options;
}

// latest is the take that was started last.
export const latest = (takes) => takes.reduce((a, b) => (Date.parse(b.started) || 0) >= (Date.parse(a.started) || 0) ? b : a);

function sentence(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}
