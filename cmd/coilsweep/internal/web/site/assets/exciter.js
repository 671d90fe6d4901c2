// The design of an exciter from bobbin and wire.
import * as api from "./api.js";
import { byID, put } from "./dom.js";
import { draft, Form, withValues } from "./form.js";

export function start() {
  const panel = byID("exciter"), form = new Form(byID("exciter-form"), async (options) => {
    put({ "exciter-answer": "" });
    put((await api.post("/api/exciter", { options: withValues(options) })).html);
  }, { onInput: () => draft("exciter", [], form.values()) });
  panel.addEventListener("toggle", async () => {
    if (panel.open && !form.fields.length) put((await api.get("/api/exciter")).html);
  });
}
