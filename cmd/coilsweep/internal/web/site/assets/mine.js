// What belongs to this bench: its address for a tablet, and my parts, the capacitors and resistors at hand, each valued once.
import * as api from "./api.js";
import { byID, complain, put } from "./dom.js";
import { Form } from "./form.js";
import { on, refresh, state } from "./state.js";
import { Edited } from "./undo.js";

export function start() {
  byID("tablet").addEventListener("toggle", async () => {
    const tablet = byID("tablet");
    if (!tablet.open) { put({ "tablet-code": "" }); return; } // the key is not left about
    try {
      put((await api.get("/api/tablet")).html);
      complain(tablet, "");
    } catch (error) { complain(tablet, error.message); }
  });
  const address = (path) => api.address(path, state.coilID ? { coil: state.coilID } : {});
  const edited = new Edited("parts-undo", { name: () => "parts", refresh: refresh.parts,
    here: () => state.parts?.sha256 ? state.parts : null, address: () => address("/api/parts") });
  const form = new Form(byID("my-parts"), ({ capacitors, resistors }) => edited.change(async () => {
    const answer = await api.post(address("/api/parts/settings"), { sha256: form.stamp ?? "", capacitors, resistors });
    form.forget();
    return answer;
  }));
  on("parts", () => {
    const { sha256, capacitors, resistors } = state.parts ?? {};
    if (state.parts) form.fill({ capacitors, resistors }, sha256);
    edited.draw();
  });
}
