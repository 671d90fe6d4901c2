// The result: which of its parts are seen, and fetched once they are.
import * as api from "./api.js";
import { $$, byID, does, show, write } from "./dom.js";
import { act, draft, Form, withValues } from "./form.js";
import { on, state } from "./state.js";

let form;

export function start() {
  const tell = () => draft("fit", [state.coilID].filter(Boolean), form.values());
  form = new Form(byID("fit-form"), async (options) => {
    await api.post("/api/fit", { coil: state.coilID, options: withValues(options) });
    form.kept();
  }, { onInput: tell });
  on("coilID", () => form.forget());
  on("result", () => {
    if (state.result?.there) form.fill(state.result.options ?? {}, JSON.stringify(state.result.options));
    tell();
  });
  does({ fit: (button) => act(button, () => api.post("/api/fit", { coil: state.coilID, options: {} })) });
  on(["result", "coilID"], draw);
  on("step", parts);
  for (const folded of $$("#result details")) folded.addEventListener("toggle", parts);
}

let drawn = "", fetched = new Set();
function draw() {
  const r = state.result;
  show(byID("result-there"), r?.there);
  show(byID("no-coil"), !r);
  byID("result-there").classList.toggle("old", r?.state !== "fresh");
  for (const id of ["circuit", "shares"]) show(byID(`result-${id}`).closest("details"), r?.html[`result-${id}`]);
  const key = r?.there ? state.coilID + r.html["result-head"] + r.html["result-takes"] : "";
  if (key !== drawn) { drawn = key; fetched = new Set(); }
  parts();
}

// parts fetches figures and tables that are to be seen, each once a result. An answer
// that comes when another result is shown is of no more use.
function parts() {
  const asked = fetched;
  if (!state.result?.there || byID("result").hidden) return;
  for (const place of $$("#result [data-part]")) {
    const what = place.dataset.part, panel = place.closest(".panel"), folded = panel.localName === "details";
    if (folded && !panel.open || asked.has(what)) continue;
    asked.add(what);
    const told = (markup, shown) => {
      if (asked !== fetched) return;
      write(place, markup);
      show(panel, folded || shown);
    };
    api.get("/api/part", { coil: state.coilID, what }).then(({ html }) => told(html, html), (error) => {
      asked.delete(what);
      told("", false);
      if (folded) place.textContent = error.message;
    });
  }
}
