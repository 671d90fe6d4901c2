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
  const dialog = byID("before-sound"), over = new AbortController();
  return new Promise((resolve) => {
    const end = (go) => {
      over.abort();
      if (go) {
        read = true;
        try { sessionStorage.setItem(SLOT, "yes"); } catch { /* this tab remembers it */ }
      }
      resolve(go);
    };
    // The answer counts when it is given: the dialog tells late that it has closed, when
    // somebody quick may have asked again already.
    dialog.addEventListener("submit", (event) => end(event.submitter.value === "go"), { signal: over.signal });
    dialog.addEventListener("close", () => { if (!dialog.open) end(false); }, { signal: over.signal });
    dialog.showModal();
  });
}
