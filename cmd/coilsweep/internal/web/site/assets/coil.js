// The coil: its folder, what is known of it, meter readings.
import * as api from "./api.js";
import { $, $$, byID, does, el, fill, say, show } from "./dom.js";
import { act, draft, Form, withValues } from "./form.js";
import { choose, on, refresh, state } from "./state.js";
import { Edited } from "./undo.js";

let edited, fresh, form, meter, file, wantsNew = false, folderByHand = false, first = /^(#key=.*)?$/.test(window.location.hash);

export function start(go) {
  edited = new Edited("coil-undo", { name: () => state.coilID, here: () => state.coil, refresh: refresh.coil,
    address: () => api.address("/api/coil", { coil: state.coilID }) });
  fresh = new Form(byID("new-coil"), async ({ folder, ...options }) => {
    const answer = await api.post("/api/coils", { coil: folderByHand ? folder : "", options: withValues(options) });
    wantsNew = folderByHand = false;
    for (const field of fresh.fields) field.value = "";
    fresh.kept();
    await refresh.coils();
    choose(answer.coil);
    go("takes");
  }, { onInput: propose, unsaved: () => "new coil" });
  fresh.fill({ name: "", folder: "", dcr: "", wire: "", notes: "" }, "");
  byID("n-folder").addEventListener("input", (event) => { folderByHand = event.target.value !== ""; });
  does({
    "new-coil": () => startNew(go),
    "no-reading": (button) => act(button, () => change("/api/coil/reading/remove",
      { sha256: state.coil.sha256, index: Number(button.dataset.index) })),
    choose: (button) => { choose(button.dataset.coil); go("coil"); },
  });
  byID("new-coil-cancel").addEventListener("click", () => { wantsNew = false; draw(); });

  form = new Form(byID("coil-form"), async () => {
    const changed = { sha256: form.stamp, values: form.changes() };
    await change("/api/coil/settings", changed, form);
  }, { unsaved: () => `coil ${state.coilID}` });
  meter = new Form(byID("meter-form"), async (values) => {
    await change("/api/coil/reading", { sha256: state.coil.sha256, ...values });
    byID("m-reading").value = "";
    byID("m-reading").focus();
    meter.kept();
  }, { unsaved: () => `reading ${state.coilID}` });
  const later = new Form(byID("state-form"), async ({ state: name }) => {
    const answer = await api.post("/api/coil/state", { coil: state.coilID, state: name });
    byID("s-state").value = "";
    later.kept();
    await refresh.coils();
    choose(answer.coil);
    go("coil");
  }, { unsaved: () => `state ${state.coilID}` });
  file = new Form($("#coil-file form"), async ({ text }) => {
    await change("/api/coil", { sha256: file.stamp, text }, file, "put");
  }, { unsaved: () => `file ${state.coilID}` });
  byID("coil-choice").addEventListener("change", (event) => { wantsNew = false; choose(event.target.value); });
  on(["coils", "coilID", "coil"], draw);
  // In an empty folder the simulated bench needs nothing but a name.
  on(["bench", "coils"], () => {
    if (!first || !state.bench || !state.coils) return;
    first = false;
    if (state.bench.kind === "virtual" && !state.coils.coils.length && !window.location.hash) startNew(go);
  });
  on("coilID", () => { for (const f of [form, file, meter]) f.forget(); });
}

const change = (path, body, kept, method = "post") => edited.change(async () => {
  const answer = await api[method](api.address(path, { coil: state.coilID }), body);
  kept?.kept();
  return answer;
});

function startNew(go) {
  wantsNew = true;
  draw();
  go("coil", byID("n-name"));
}

function propose() {
  const { folder, ...options } = fresh.values();
  draft("new", folderByHand ? [folder] : [], options, (name) => {
    // Not while somebody empties the field to write into it.
    if (!folderByHand && document.activeElement !== byID("n-folder")) byID("n-folder").value = name;
  });
}

function draw() {
  const { coil, coils } = state, none = coils?.coils.length === 0, choice = byID("coil-choice");
  choice.value = state.coilID;
  choice.disabled = none;
  show(byID("new-coil"), wantsNew || none);
  show(byID("new-coil-cancel"), !none);
  show(byID("coil-there"), coil && !wantsNew);
  if (wantsNew || none) propose();
  for (const node of $$(".of-coil")) fill(node, coil ? el("bdi", {}, coil.name) : "");
  if (!coil) return;
  say(byID("coil-name"), coil.name);
  edited.draw();
  const empty = Object.fromEntries(form.fields.map((field) => [field.name, ""]));
  form.fill({ ...empty, ...coil.values }, coil.sha256);
  file.fill({ text: coil.text }, coil.sha256);
  if (!meter.filled) meter.fill({ reading: "", at_hz: "", celsius: "" }, "");
}
