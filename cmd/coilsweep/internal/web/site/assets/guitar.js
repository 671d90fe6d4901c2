// The coil in a guitar: knobs to turn, curves that move at once.
import * as api from "./api.js";
import { $, $$, byID, fill, link, oneAtATime, put, say, show } from "./dom.js";
import { draft, Form, withValues } from "./form.js";
import { on, state } from "./state.js";

// Once the knobs rest the table is asked for as well.
const REST_MS = 350;
let form, stale = true, rest = 0, whole = null;
let paged = ""; // the guitar of the page that is linked, or being made; empty: none is

export function start() {
  form = new Form(byID("guitar-form"), () => predict(), { onInput: follow });
  byID("guitar-make").addEventListener("click", makePage);
  for (const svg of $$(".knob:not(.cable) svg")) $(".scale", svg).setAttribute("d", scale());
  for (const knob of $$(".knob", form.node)) turnable(knob);
  on(["result", "coils", "coilID"], draw);
  on("step", () => { if (!byID("guitar").hidden && stale) predict(); });
}

// A knob turns through 300 degrees, from 0 at the lower left.
const turn = (at) => -150 + 30 * at;

function scale() {
  let d = "";
  for (let n = 0; n <= 10; n++) {
    const a = (turn(n) - 90) * Math.PI / 180;
    const at = (r) => `${(r * Math.cos(a)).toFixed(1)} ${(r * Math.sin(a)).toFixed(1)}`;
    d += `M${at(39)}L${at(n % 5 === 0 ? 47 : 44)}`;
  }
  return d;
}

// turnable lets a hand turn a knob about its middle and draw the cable out, and a wheel do
// it in steps. The slider below has keys and screen readers, and the focus once it is touched.
function turnable(knob) {
  const svg = $("svg", knob), input = $("input", knob), cable = knob.classList.contains("cable");
  const PX_A_METRE = 20, WHEEL = 0.5;
  const to = (value) => {
    const before = input.value;
    input.value = value;
    if (input.value !== before) input.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const place = (event) => {
    if (cable) return event.clientX;
    const r = svg.getBoundingClientRect();
    return Math.atan2(event.clientY - r.top - r.height / 2, event.clientX - r.left - r.width / 2) * 180 / Math.PI;
  };
  let last = null, value = 0;
  svg.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || input.disabled) return;
    event.preventDefault();
    svg.setPointerCapture(event.pointerId);
    input.focus({ preventScroll: true });
    [last, value] = [place(event), Number(input.value)];
  });
  svg.addEventListener("pointermove", (event) => {
    if (last === null) return;
    const now = place(event), by = now - last;
    value += cable ? by / PX_A_METRE : ((by + 540) % 360 - 180) / 30;
    value = Math.min(Math.max(value, Number(input.min)), Number(input.max));
    last = now;
    to(value);
  });
  for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, () => { last = null; });
  svg.addEventListener("wheel", (event) => {
    if (input.disabled) return;
    event.preventDefault();
    to(Number(input.value) - Math.sign(event.deltaY) * WHEEL);
  }, { passive: false });
}

// harness is the guitar as options of the command.
export function harness() {
  const { second, target, solve, ...v } = form.values();
  if (!v.volume) for (const k of ["volume-at", "volume-taper", "bleed-c", "tone-at-output"]) delete v[k];
  if (!v["bleed-c"]) for (const k of ["bleed-parallel", "bleed-series"]) delete v[k];
  if (!v.tone) for (const k of ["tone-at", "tone-taper", "tone-open", "tone-at-output"]) delete v[k];
  if (Number(v["cable-length"]) === 0) for (const k of ["cable-length", "cable-per-metre"]) delete v[k];
  if (!second) for (const k of ["wiring", "phase", "coupling"]) delete v[k];
  return withValues(v);
}

const coils = () => [state.coilID, byID("g-second").value].filter(Boolean);

function options() {
  const { target, solve } = form.values();
  return { ...harness(), ...(target ? { target, solve } : {}) };
}

function follow() {
  const v = form.values();
  for (const knob of $$(".knob", form.node)) {
    const input = $("input", knob), at = Number(input.value), cable = knob.classList.contains("cable");
    const text = cable ? `${at.toFixed(1)}\u00a0m` : at.toFixed(1).replace(/\.0$/, "");
    say($("output", knob), text);
    input.setAttribute("aria-valuetext", cable ? `${at} metres` : text);
    if (cable) $(".cord", knob).setAttribute("d", `M6 0C${16 + 2 * at} 0 14 22 -10 22S-34 14 ${-34 + 6.4 * at} 36`);
    else $(".pointer", knob).setAttribute("transform", `rotate(${turn(at).toFixed(1)})`);
  }
  for (const node of $$("[data-two]", form.node)) show(node, v.second);
  for (const node of $$("[data-bleed]", form.node)) show(node, v["bleed-c"]);
  byID("g-volume-at").disabled = !v.volume;
  byID("g-tone-at").disabled = !v.tone;
  if (paged && paged !== asItIs()) unlink();
  predict(); // first: the curve is waited for
  draft("predict", coils(), options());
}

function draw() {
  const second = byID("g-second");
  for (const o of second.options) o.hidden = o.disabled = o.value !== "" && o.value === state.coilID;
  if (second.value === state.coilID) second.value = "";
  show(byID("guitar-there"), state.result?.known);
  if (state.result?.known) follow();
}

// asItIs tells one guitar from another: its coils with what is known of them, and all else.
const asItIs = () => JSON.stringify([coils(), options(), coils().map((id) => state.coils?.lines.get(id)?.row)]);

// makePage gives a link to a page of what is predicted. It is of the guitar as it is now,
// and goes once that is another.
async function makePage() {
  const place = byID("guitar-page");
  const mine = paged = asItIs();
  say(place, "Being made …");
  try {
    const answer = await api.post("/api/guitar", { coils: coils(), options: options(), page: true });
    if (paged === mine) fill(place, link(answer.link, "Open the page, to keep or print"));
  } catch (error) {
    if (paged !== mine) return;
    unlink();
    fail(error);
  }
}

function unlink() {
  paged = "";
  fill(byID("guitar-page"));
}

// predict asks for the guitar as it is now, one question after the other, so that no
// answer comes after that to a later one.
const predict = oneAtATime(() => {
  clearTimeout(rest);
  whole?.abort();
  stale = byID("guitar").hidden;
  return stale ? undefined : ask({}, (coil) => { rest = setTimeout(positions, REST_MS, coil); });
});

// positions asks for every position of the knobs as well, which takes longer, and is given
// up once a knob is turned.
function positions(coil) {
  if (coil !== state.coilID) return;
  whole = new AbortController();
  ask({ all: true }, () => {}, whole.signal);
}

async function ask(more, then, signal) {
  if (!state.result?.known) return;
  const coil = state.coilID, body = { coils: coils(), options: options(), ...more };
  const asked = () => JSON.stringify({ coils: coils(), options: options(), ...more }) === JSON.stringify(body);
  try {
    const answer = await api.post("/api/guitar", body, signal);
    if (coil !== state.coilID || signal?.aborted) return;
    form.clear();
    put(answer.html);
    for (const id of ["guitar-said", "guitar-table"]) byID(id).ariaBusy = String(!more.all);
    then(coil);
  } catch (error) {
    if (error.name !== "AbortError" && asked()) fail(error);
  }
}

// fail shows an error and leaves the focus where somebody types or turns.
function fail(error) {
  const active = document.activeElement;
  form.fail(error);
  active?.focus?.({ preventScroll: true });
}
