// Keys: the space bar starts and stops a take, Escape stops what sounds.
import { byID } from "./dom.js";
import { stop, toggle } from "./takes.js";
import { working } from "./state.js";

// Elements that use the space bar themselves keep it. A link does not, nor does a radio
// that is chosen already.
const OWN = "input:not([type=radio]:checked), select, textarea, button, summary, [contenteditable], [role=button], "
  + "audio, video";

export const hasOwnUse = (node) => Boolean(node?.closest?.(OWN));

export function start() {
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || byID("before-sound").open) return;
    if (event.key === "Escape" && working()) {
      event.preventDefault();
      stop();
      return;
    }
    if (event.key !== " " || byID("takes").hidden || byID("live").open || hasOwnUse(event.target)) return;
    event.preventDefault(); // the page would scroll
    if (!event.repeat) toggle();
  });
}
