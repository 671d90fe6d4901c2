// Level meters: rms and peak of every channel, the highest peak held, and
// words for where it lies. Drawn once a frame at most, by transforms alone.
import { byID, el, fill, say } from "./dom.js";
import { on, state, working } from "./state.js";

const FLOOR = -72; // dBFS at the left end
const HOLD_MS = 1500, FALL_DB_S = 24;
const CLIPS = -0.1, CLOSE = -3, LOW = -40, QUIET = -50;

// decibels is a level as text, with a true minus sign.
const decibels = (x) => Number.isFinite(x) ? `${x.toFixed(1).replace("-", "−")}\u00a0dBFS` : "–";

// share is where a level lies on the scale, 0 to 1.
export function share(dbfs) {
  if (dbfs === null || dbfs === undefined || !Number.isFinite(dbfs)) return 0;
  return Math.min(1, Math.max(0, (dbfs - FLOOR) / -FLOOR));
}

// levelWords say what a peak means; of a job that plays, its highest peak so far, of
// which little is known before the first sweep is over. The borders are typical: some dB
// of room at the top, and no need to be near it.
export function levelWords(peak, playing, swept = true) {
  if (peak === null || peak === undefined || !Number.isFinite(peak)) return "silence";
  if (peak >= CLIPS) return playing ? "clipped: stop now" : "clips: lower the gain";
  if (peak > CLOSE) return "close to clipping";
  if (playing && peak > LOW) return "good";
  if (playing) return swept ? "low: raise the gain" : "the first sweep comes in";
  return peak < QUIET ? "quiet, as it should be" : "something is heard";
}

// Hold keeps the highest peak for a while, then lets it fall.
export class Hold {
  constructor() { this.value = -Infinity; this.at = 0; }
  take(peak, now) {
    const level = Number.isFinite(peak) && peak !== null ? peak : -Infinity;
    const fallen = now - this.at > HOLD_MS ? this.value - FALL_DB_S * (now - this.at - HOLD_MS) / 1000 : this.value;
    if (level >= fallen) { this.value = level; this.at = now; return level; }
    return fallen;
  }
}

// move sets a transform only where it differs, to half a pixel or so: a meter
// that stands still costs the browser no frame.
function move(node, transform) {
  if (node.moved !== transform) node.style.transform = node.moved = transform;
}

class Channel {
  constructor(name, small) {
    this.hold = new Hold();
    this.clippedAt = -Infinity;
    this.rms = el("i", { class: "rms" });
    this.peak = el("i", { class: "peak" });
    this.tick = el("i", { class: "hold" });
    this.lamp = el("b", { class: "lamp" }, "clips");
    this.value = el("span", { class: "level" }, "–");
    this.root = el("div", {
      class: "channel", role: "meter", "aria-label": `Level, ${name}`, "aria-valuemin": FLOOR, "aria-valuemax": 0,
      "aria-valuenow": FLOOR, "aria-valuetext": "no signal yet",
    }, el("span", { class: "channel-name", "aria-hidden": "true" }, name),
    el("span", { class: "track", "aria-hidden": "true" }, this.peak, this.rms, el("i", { class: "near" }), this.tick),
    el("span", { class: "lamp-place", "aria-hidden": "true" }, this.lamp), small ? null : this.value);
    this.value.setAttribute("aria-hidden", "true");
  }
  draw(level, now) {
    const held = this.hold.take(level.peak, now);
    if (level.peak !== null && level.peak >= CLIPS) this.clippedAt = now;
    move(this.rms, `scaleX(${share(level.rms).toFixed(3)})`);
    move(this.peak, `scaleX(${share(level.peak).toFixed(3)})`);
    move(this.tick, `translateX(${(100 * share(held)).toFixed(1)}%)`);
    const lit = now - this.clippedAt < 3000;
    if (lit !== this.lit) this.lamp.classList.toggle("lit", this.lit = lit);
    this.held = held;
  }
  words(level, told) {
    const text = `${decibels(level.peak)}, ${told}`;
    this.root.setAttribute("aria-valuenow", Math.max(FLOOR, Math.round(level.peak ?? FLOOR)));
    this.root.setAttribute("aria-valuetext", text);
  }
}

class Meter {
  constructor(root, small) {
    this.root = root;
    this.small = small;
    this.channels = [];
  }
  shape(names) {
    if (this.names === names.join()) return;
    this.names = names.join();
    this.channels = names.map((name) => new Channel(name, this.small));
    const marks = { at60: "−60", at40: "−40", at20: "−20", at6: "−6", at0: "0 dBFS" };
    const scale = this.small ? null : el("div", { class: "meter-scale", "aria-hidden": "true" },
      Object.entries(marks).map(([at, mark]) => el("span", { class: at }, mark)));
    fill(this.root, this.channels.map((c) => c.root), scale);
  }
  get seen() { return this.root.offsetParent !== null; }
}

// highest are the peaks of the channels in the job that is under way.
let highest = [], job = null;
function hear() {
  if (state.engine.job !== job || !state.meters) highest = [];
  job = state.engine.job;
  (state.meters?.channels ?? []).forEach(({ peak }, i) => {
    highest[i] = Math.max(highest[i] ?? -Infinity, peak ?? -Infinity);
  });
}

// judged is what a level means: of the job so far, or while nothing plays as it is.
const judged = (i, level) => working()
  ? levelWords(highest[i], true, (state.progress?.repeat ?? 0) > 1) : levelWords(level, false);

const meters = [];
let asked = 0, textAt = 0, wordsAt = 0;

export function channelNames(levels) {
  const names = ["coil", "reference"];
  return levels.map((c, i) => c.name || names[i] || `channel ${i + 1}`);
}

// silent are the levels of as many channels as the bench has, before any is heard: that
// nothing moves once they are.
const silent = () => Array.from({ length: ["current", "loopback"].includes(state.bench?.settings.reference) ? 2 : 1 },
  () => ({ peak: null, rms: null }));

function frame(now) {
  asked = 0;
  const levels = state.meters?.channels ?? silent();
  const small = levels.slice(0, 1);
  const names = channelNames(levels);
  const writeText = now - textAt > 200, writeWords = now - wordsAt > 1000;
  for (const meter of meters) {
    if (!meter.seen) continue;
    const shown = meter.small ? small : levels;
    meter.shape(meter.small ? names.slice(0, 1) : names);
    shown.forEach((level, i) => {
      const channel = meter.channels[i];
      channel.draw(level, now);
      if (writeText) say(channel.value, decibels(channel.held));
      if (writeWords) channel.words(level, judged(i, level.peak));
    });
    meter.root.drawn = (meter.root.drawn ?? 0) + 1; // for who measures
  }
  const big = byID("stage-level");
  if (!state.meters) fill(big);
  if (writeText && big.offsetParent !== null && state.meters) {
    const held = meters.find((m) => !m.small && m.seen)?.channels[0]?.held ?? levels[0].peak;
    const number = decibels(held), words = judged(0, held);
    if (big.textContent !== `${number} ${words}`) fill(big, el("b", {}, number), " ", el("span", {}, words));
  }
  if (writeText) textAt = now;
  if (writeWords) wordsAt = now;
}

function ask() {
  if (!asked) asked = requestAnimationFrame(frame);
}

export function start() {
  for (const place of ["glance-meter", "bench-meters", "stage-meters"]) {
    meters.push(new Meter(byID(place), place === "glance-meter"));
  }
  on(["meters", "engine"], hear);
  on(["meters", "step", "bench"], ask);
  ask();
}
