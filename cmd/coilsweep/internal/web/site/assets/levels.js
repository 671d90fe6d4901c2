// A take at two levels: does the response depend on how loud it is?
import * as api from "./api.js";
import { does, optionsOf } from "./dom.js";
import { act } from "./form.js";
import { mayStart } from "./sound.js";
import { state } from "./state.js";

export function start() {
  does({ levels: (button) => act(button, async () => {
    if (!(await mayStart())) return;
    const options = { ...optionsOf(button), take: button.dataset.take, redo: "true", levels: "lower" };
    await api.post("/api/takes", { coil: state.coilID, options });
  }) });
}
