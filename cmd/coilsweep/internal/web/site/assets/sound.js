// Before the first sound of a real bench the cautions are shown once.
import { byID } from "./dom.js";
import { state } from "./state.js";

const SLOT = "coilsweep-cautions-read";
let read = false;

function wasRead() {
  try { return read || sessionStorage.getItem(SLOT) === "yes"; } catch { return read; }
}

// mayStart is true at once where no sound is made or the cautions were read.
export function mayStart() {
  if (state.bench?.kind === "virtual" || wasRead()) return Promise.resolve(true);
  const dialog = byID("before-sound");
  return new Promise((resolve) => {
    dialog.returnValue = "";
    dialog.addEventListener("close", () => {
      const go = dialog.returnValue === "go";
      if (go) {
        read = true;
        try { sessionStorage.setItem(SLOT, "yes"); } catch { /* this tab remembers it */ }
      }
      resolve(go);
    }, { once: true });
    dialog.showModal();
  });
}
