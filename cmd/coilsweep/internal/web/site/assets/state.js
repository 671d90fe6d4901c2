// What the page knows. All of it comes from the program: its events say what
// changed, and what changed is fetched. So all tabs show the same.
import * as api from "./api.js";
import { announce, blank, oneAtATime, put } from "./dom.js";

export const state = {
  line: "opening", // open, lost, refused
  lineSaid: "",
  closing: false, // the program said that it ends
  engine: { phase: "off", job: null },
  progress: null,
  meters: null,
  sweep: null,
  live: null,
  ended: null,
  bench: null,
  parts: null, // at hand
  coils: null, // their ids, and the lines of the list by them
  coilID: "", // the coil that this tab shows
  coil: null,
  result: null,
};

const watchers = new Map();

// on calls back when one of the topics changed.
export function on(topics, call) {
  for (const topic of [topics].flat()) {
    if (!watchers.has(topic)) watchers.set(topic, new Set());
    watchers.get(topic).add(call);
  }
}

export function changed(topic) {
  for (const call of watchers.get(topic) ?? []) {
    try { call(state[topic], topic); } catch (error) { console.error(error); }
  }
}

// set keeps an answer or an event, and shows what it brings.
function set(topic, value) {
  put(value?.html);
  state[topic] = value;
  changed(topic);
}

export const working = () => Boolean(state.engine.job);

// fetching is a fetch of a topic, one at a time. What comes of another coil than the
// one that is chosen now is of no use.
const fetching = (topic, path, ofCoil, since = () => ({}), merged = (answer) => answer) => oneAtATime(async () => {
  const coil = state.coilID;
  if (ofCoil === "needed" && !coil) return;
  const late = () => ofCoil && coil !== state.coilID;
  try {
    const answer = await api.get(path, ofCoil && coil ? { coil } : since());
    if (!late()) set(topic, merged(answer));
  } catch (error) {
    if (late()) return;
    if (error.status === 404) set(topic, null);
    else if (error.status !== 0 && !error.refused) announce(error.message);
  }
});

// Of the list the program tells what has changed since it was fetched last.
const coils = fetching("coils", "/api/coils", "", () => state.coils ? { since: state.coils.revision } : {}, (answer) => {
  const lines = new Map(answer.whole ? [] : state.coils.lines);
  for (const line of answer.lines) lines.set(line.coil, line);
  return { ...answer, coils: answer.coils ?? state.coils.coils, lines };
});
export const refresh = {
  bench: fetching("bench", "/api/bench"),
  devices: fetching("devices", "/api/devices"),
  parts: fetching("parts", "/api/parts"),
  trials: fetching("trials", "/api/trials"),
  next: fetching("next", "/api/next", "wanted"),
  coil: fetching("coil", "/api/coil", "needed"),
  result: fetching("result", "/api/result", "needed"),
  coils: async () => {
    await coils();
    const known = state.coils?.coils ?? [];
    if (!known.includes(state.coilID)) choose(known[0] ?? "");
  },
};

const SLOT = "coilsweep-coil";

export function choose(coilID) {
  if (coilID === state.coilID && (state.coil || !coilID)) return;
  blank(state.coil);
  blank(state.result);
  Object.assign(state, { coilID, coil: null, result: null });
  try {
    sessionStorage.setItem(SLOT, coilID);
    localStorage.setItem(SLOT, coilID);
  } catch { /* the tab forgets it when it is closed */ }
  for (const topic of ["coilID", "coil", "result"]) changed(topic);
  for (const topic of ["coil", "result", "next"]) refresh[topic]();
}

function remembered() {
  try { return sessionStorage.getItem(SLOT) || localStorage.getItem(SLOT) || ""; } catch { return ""; }
}

const everything = () => Object.values(refresh).forEach((fetch) => fetch());

const seen = {};
function receive(topic, value) {
  switch (topic) {
    case "bench":
      refresh.bench();
      refresh.next();
      return;
    case "trials": case "parts":
      refresh[topic]();
      return;
    case "coils":
      // Told after each change of a coil, of any: the topic "coil" may have
      // been overtaken by one of another.
      for (const one of ["coils", "coil", "result", "next"]) refresh[one]();
      return;
    case "ended": {
      // The latest end is also sent to a page that has just been opened, or is
      // connected again: old news. Numbers begin anew with the program.
      value.key = `${value.id} ${value.at}`;
      const again = value.key === seen.ended;
      value.fresh = again ? Boolean(state.ended?.fresh) : seen.ended !== undefined;
      if (value.fresh && !again) announce(value.text);
      seen.ended = value.key;
      set("ended", value);
      return;
    }
    case "closing":
      state.closing = true;
      return;
    case "engine": {
      const before = state.engine;
      // Levels of a device that is not open any more say nothing.
      if (!["listening", "working"].includes(value.phase)) set("meters", null);
      set("engine", value);
      if (before.phase !== value.phase || before.job !== value.job) refresh.next();
      if (before.phase === "working" && value.phase !== "working") set("progress", null);
      return;
    }
    case "meters": case "silence": case "progress": case "sweep": case "live": case "notes": case "many":
      set(topic, value);
  }
}

export function start(onRefused) {
  state.coilID = remembered();
  api.onRefused(onRefused);
  let running = false;
  const run = async () => {
    if (running) { everything(); return; }
    running = true;
    await api.listen(receive, follow);
    running = false;
  };
  const follow = (line, said = "") => {
    const before = state.line;
    state.lineSaid = said;
    set("line", line);
    // Levels of a moment ago say nothing of now.
    if (line === "lost") {
      set("meters", null);
      put({ "bench-silence": "", "silence-words": "" });
    }
    if (line === "open") {
      state.closing = false;
      if (seen.ended === undefined) setTimeout(() => { seen.ended ??= null; }, 1000);
      everything();
    }
    if (line === "lost" && before === "open") announce(state.closing ? "coilsweep was ended." : "The connection to coilsweep is lost.");
    if (line === "refused") onRefused(null);
  };
  run();
  return run;
}
