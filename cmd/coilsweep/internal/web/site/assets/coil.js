// The coil: its folder, what is known of it, meter readings.
import * as api from "./api.js";
import { $, $$, byID, does, el, fill, say, show } from "./dom.js";
import { draft, Form, withValues } from "./form.js";
import { choose, on, refresh, state } from "./state.js";

let fresh, form, meter, file, wantsNew = false, folderByHand = false, first = /^(#key=.*)?$/.test(window.location.hash);

export function start(go) {
  fresh = new Form(byID("new-coil"), async ({ folder, ...options }) => {
    const answer = await api.post("/api/coils", { coil: folderByHand ? folder : "", options: withValues(options) });
    wantsNew = folderByHand = fresh.dirty = false;
    for (const field of fresh.fields) field.value = "";
    await refresh.coils();
    choose(answer.coil);
    go("takes");
  }, { onInput: propose });
  byID("n-folder").addEventListener("input", (event) => { folderByHand = event.target.value !== ""; });
  does({
    "new-coil": () => startNew(go),
    choose: (button) => { choose(button.dataset.coil); go("coil"); },
  });
  byID("new-coil-cancel").addEventListener("click", () => { wantsNew = false; draw(); });

  form = new Form(byID("coil-form"), async () => {
    const changed = { sha256: form.stamp, values: form.changes() };
    await api.post(api.address("/api/coil/settings", { coil: state.coilID }), changed);
    form.kept();
    await refresh.coil();
  });
  meter = new Form(byID("meter-form"), async (values) => {
    await api.post(api.address("/api/coil/reading", { coil: state.coilID }), { sha256: state.coil.sha256, ...values });
    byID("m-reading").value = "";
    byID("m-reading").focus();
    meter.dirty = false;
    await refresh.coil();
  });
  file = new Form($("#coil-file form"), async ({ text }) => {
    await api.put(api.address("/api/coil", { coil: state.coilID }), { sha256: file.stamp, text });
    file.kept();
    await refresh.coil();
  });
  byID("coil-choice").addEventListener("change", (event) => { wantsNew = false; choose(event.target.value); });
  on(["coils", "coilID", "coil"], draw);
  // In an empty folder the simulated bench needs nothing but a name.
  on(["bench", "coils"], () => {
    if (!first || !state.bench || !state.coils) return;
    first = false;
    if (state.bench.kind === "virtual" && !state.coils.coils.length && !byID("bench").hidden) startNew(go);
  });
  on("coilID", () => { for (const f of [form, file, meter]) f.forget(); });
}

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
  const empty = Object.fromEntries(form.fields.map((field) => [field.name, ""]));
  form.fill({ ...empty, ...coil.values }, coil.sha256);
  file.fill({ text: coil.text }, coil.sha256);
}
