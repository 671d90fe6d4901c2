// What belongs to this bench: its address for a tablet, and my parts, the capacitors and resistors at hand, each valued once.
import * as api from "./api.js";
import { byID, complain, put } from "./dom.js";
import { Form } from "./form.js";
import { on, refresh, state } from "./state.js";

export function start() {
  byID("tablet").addEventListener("toggle", async () => {
    const tablet = byID("tablet");
    if (!tablet.open) { put({ "tablet-code": "" }); return; } // the key is not left about
    try {
      put((await api.get("/api/tablet")).html);
      complain(tablet, "");
    } catch (error) { complain(tablet, error.message); }
  });
  const form = new Form(byID("my-parts"), async ({ capacitors, resistors }) => {
    await api.put("/api/parts", { sha256: form.stamp ?? "", capacitors, resistors, coil: state.coilID });
    form.forget();
    await refresh.parts();
  });
  on("parts", () => {
    const { sha256, capacitors, resistors } = state.parts ?? {};
    if (state.parts) form.fill({ capacitors, resistors }, sha256);
  });
}
