// What the page knows. All of it comes from the program: its events say what
// changed, and what changed is fetched. So all tabs show the same.
import * as api from "./api.js";
import { announce } from "./dom.js";

export const state = {
  line: "opening", // open, lost, refused
  lineSaid: "",
  engine: { phase: "off", job: null },
  progress: null,
  meters: null,
  silence: null,
  sweep: null,
  ended: null,
  notes: [],
  bench: null,
  devices: null,
  coils: null,
  coilID: "", // the coil that this tab shows
  coil: null,
  result: null,
  check: null,
  calibrate: null,
  fixture: null,
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

function set(topic, value) {
  state[topic] = value;
  changed(topic);
}

export const working = () => Boolean(state.engine.job);

// One fetch of a kind at a time; one that is asked for meanwhile follows.
const fetching = new Map();
function refetch(topic, load) {
  const run = fetching.get(topic);
  if (run) {
    run.again = true;
    return run.done;
  }
  const entry = { again: false };
  entry.done = (async () => {
    do {
      entry.again = false;
      try {
        const value = await load();
        if (value !== undefined) set(topic, value);
      } catch (error) {
        if (error.status === 404) set(topic, null);
        else if (error.status !== 0 && !error.refused) announce(error.message);
      }
    } while (entry.again);
    fetching.delete(topic);
  })();
  fetching.set(topic, entry);
  return entry.done;
}

// ofThisCoil is nothing where another coil was chosen meanwhile.
async function ofThisCoil(path) {
  const asked = state.coilID;
  try {
    const answer = await api.get(path, { coil: asked });
    return asked === state.coilID ? answer : undefined;
  } catch (error) {
    if (asked !== state.coilID) return undefined;
    throw error;
  }
}

export const refresh = {
  bench: () => refetch("bench", () => api.get("/api/bench")),
  devices: () => refetch("devices", () => api.get("/api/devices").catch((error) => {
    if (error.status === 0 || error.refused) throw error;
    return { devices: [], error: error.message };
  })),
  coils: async () => {
    await refetch("coils", async () => (await api.get("/api/coils")).coils ?? []);
    const known = state.coils ?? [];
    if (!known.some((c) => c.coil === state.coilID)) choose(known.length ? known[0].coil : "");
  },
  coil: () => {
    if (!state.coilID) { set("coil", null); set("result", null); return Promise.resolve(); }
    return refetch("coil", () => ofThisCoil("/api/coil"));
  },
  result: () => state.coilID ? refetch("result", () => ofThisCoil("/api/result")) : Promise.resolve(),
  check: () => refetch("check", () => api.get("/api/check")),
  calibrate: () => refetch("calibrate", () => api.get("/api/calibrate")),
  fixture: () => refetch("fixture", () => api.get("/api/fixture")),
};

const SLOT = "coilsweep-coil";

export function choose(coilID) {
  if (coilID === state.coilID && (state.coil || !coilID)) return;
  state.coilID = coilID;
  state.coil = null;
  state.result = null;
  try {
    sessionStorage.setItem(SLOT, coilID);
    localStorage.setItem(SLOT, coilID);
  } catch { /* the tab forgets it when it is closed */ }
  changed("coilID");
  changed("coil");
  changed("result");
  refresh.coil();
  refresh.result();
}

function remembered() {
  try { return sessionStorage.getItem(SLOT) || localStorage.getItem(SLOT) || ""; } catch { return ""; }
}

function everything() {
  refresh.bench();
  refresh.devices();
  refresh.coils();
  refresh.coil();
  refresh.result();
  for (const job of ["check", "calibrate", "fixture"]) refresh[job]();
}

const seen = {};
function receive(topic, value) {
  switch (topic) {
    case "bench":
      refresh.bench();
      return;
    case "devices": case "check": case "calibrate": case "fixture":
      refresh[topic]();
      return;
    case "calibration":
      refresh.calibrate();
      return;
    case "coils":
      // Told after each change of a coil, of any: the topic "coil" may have
      // been overtaken by one of another.
      refresh.coils();
      refresh.coil();
      refresh.result();
      return;
    case "ended": {
      // The latest end is also sent to a page that has just been opened, or has
      // its line again: old news. Numbers begin anew with the program.
      value.key = `${value.id} ${value.at}`;
      const again = value.key === seen.ended;
      value.fresh = again ? Boolean(state.ended?.fresh) : seen.ended !== undefined;
      if (value.fresh && !again) announce(value.text ?? "");
      seen.ended = value.key;
      set("ended", value);
      return;
    }
    case "engine": {
      const before = state.engine;
      set("engine", value);
      if (before.phase === "working" && value.phase !== "working") { state.progress = null; changed("progress"); }
      return;
    }
    case "meters": case "silence": case "progress": case "sweep": case "notes":
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
    if (line === "lost") for (const topic of ["meters", "silence"]) set(topic, null);
    if (line === "open") {
      if (seen.ended === undefined) setTimeout(() => { seen.ended ??= null; }, 1000);
      everything();
    }
    if (line === "lost" && before === "open") announce("The line to the program is lost.");
    if (line === "refused") onRefused(null);
  };
  run();
  return run;
}
