// My parts: the capacitors and resistors at hand, each valued once.
import * as api from "./api.js";
import { byID } from "./dom.js";
import { Form } from "./form.js";
import { on, refresh, state } from "./state.js";

export function start() {
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
