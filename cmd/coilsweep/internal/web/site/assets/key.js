// The key of this start of the program: it comes with the address that the
// program printed, in the fragment, which no browser sends anywhere.

const SLOT = "coilsweep-key";

const stores = () => {
  const all = [];
  // A browser may forbid either.
  try { all.push(window.sessionStorage); } catch { /* not there */ }
  try { all.push(window.localStorage); } catch { /* not there */ }
  return all;
};

// fromAddress reads a key out of a whole address, a fragment or a bare key.
export function fromAddress(text) {
  const trimmed = String(text).trim();
  const found = /(?:^|[#&])key=([^&\s]+)/.exec(trimmed.replace(/^[^#]*(?=#)/, ""));
  if (found) {
    try { return decodeURIComponent(found[1]); } catch { return found[1]; }
  }
  return /[\s/#?=]/.test(trimmed) ? "" : trimmed;
}

export function remember(key) {
  for (const store of stores()) {
    try { store.setItem(SLOT, key); } catch { /* full or forbidden: the tab keeps it */ }
  }
  current = key;
}

// take moves a key from the address into the stores, so that it stands no
// longer in what is shown and kept in the history.
export function take() {
  const hash = window.location.hash;
  if (/[#&]key=/.test(hash)) {
    const key = fromAddress(hash);
    window.history.replaceState(null, "", window.location.pathname);
    if (key) remember(key);
  }
  return get();
}

let current = "";

export function get() {
  if (current) return current;
  for (const store of stores()) {
    try {
      const key = store.getItem(SLOT);
      if (key) return (current = key);
    } catch { /* not there */ }
  }
  return "";
}

// onOther calls back when another tab was given a new key.
export function onOther(call) {
  window.addEventListener("storage", (event) => {
    if (event.key === SLOT && event.newValue && event.newValue !== current) {
      remember(event.newValue);
      call();
    }
  });
}
