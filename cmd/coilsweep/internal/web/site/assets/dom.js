// Small hands for the document, and the parts of the page that the program writes.

export const $ = (selector, root = document) => root.querySelector(selector);
export const $$ = (selector, root = document) => [...root.querySelectorAll(selector)];
export const byID = (id) => document.getElementById(id);

// el makes an element. Attributes: "class", "for", data-…; a function is a
// listener; true sets, false and null leave out. Children: nodes or text.
export function el(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [k, v] of Object.entries(attributes)) {
    if (typeof v === "function") node.addEventListener(k, v);
    else if (v === true) node.setAttribute(k, "");
    else if (v !== false && v !== null && v !== undefined) node.setAttribute(k, v);
  }
  return fill(node, ...children);
}

export function fill(node, ...children) {
  node.replaceChildren(...children.flat().filter((c) => c !== null && c !== undefined && c !== false));
  return node;
}

// say sets text only where it changed, so that nothing is read out twice.
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

export function show(node, shown) {
  if (node.hidden === Boolean(shown)) node.hidden = !shown;
}

// complain says what is wrong in the line of a place for that; empty: nothing is.
export function complain(place, text) {
  const wrong = $(".wrong", place);
  say(wrong, text);
  show(wrong, text);
}

// link opens a page beside this one.
export const link = (href, text) => el("a", { href, target: "_blank", rel: "noopener" }, text);

let spoken = 0;
// announce reads a sentence out to a screen reader.
export function announce(text) {
  // The same sentence twice is news twice.
  byID("announced").textContent = text + (spoken++ % 2 ? "\u00a0" : "");
}

// put shows markup of the program in the places that have its ids. A place that
// gets nothing is hidden, unless its module says when it is seen.
export function put(html = {}) {
  for (const [id, markup] of Object.entries(html)) {
    const place = byID(id);
    if (!place) continue;
    if (place.written !== markup) write(place, markup);
    if (!place.matches("select, [data-own]")) show(place, markup);
  }
}

// blank empties the places of an answer.
export function blank(answer) {
  put(Object.fromEntries(Object.keys(answer?.html ?? {}).map((id) => [id, ""])));
}

const after = [];
// written calls back with each place that was written.
export const written = (call) => after.push(call);

// write makes markup the content of a place.
export function write(place, markup) {
  const fresh = document.createElement("template"), focused = document.activeElement;
  fresh.innerHTML = place.written = markup;
  morph(place, fresh.content);
  for (const call of after) call(place);
  if (focused !== document.activeElement && focused.isConnected) focused.focus({ preventScroll: true });
}

const keyOf = (node) => node.dataset?.key || node.id || (node.localName === "option" ? `=${node.value}` : "");

// morph makes the content of a node that of another, and leaves alone what stays:
// what has the focus, is unfolded, chosen or typed. Nodes with a key are known by it,
// others by their place.
function morph(node, fresh) {
  const keyed = new Map([...node.children].map((child) => [keyOf(child), child]));
  let at = node.firstChild;
  for (const wanted of [...fresh.childNodes]) {
    const key = keyOf(wanted);
    let kept = key ? keyed.get(key) : at;
    if (!kept || kept.nodeName !== wanted.nodeName || keyOf(kept) !== key) kept = null;
    if (!kept) {
      node.insertBefore(wanted, at);
      continue;
    }
    if (kept !== at) node.insertBefore(kept, at);
    at = kept.nextSibling;
    if (kept.isEqualNode(wanted)) continue;
    if (kept.localName === "svg") kept.replaceWith(wanted);
    else if (kept.nodeType !== Node.ELEMENT_NODE) kept.data = wanted.data;
    else {
      for (const { name } of [...kept.attributes]) {
        if (name !== "open" && name !== "aria-pressed" && !wanted.hasAttribute(name)) kept.removeAttribute(name);
      }
      for (const { name, value } of wanted.attributes) {
        if (kept.getAttribute(name) !== value) kept.setAttribute(name, value);
      }
      morph(kept, wanted);
    }
  }
  while (at) {
    const next = at.nextSibling;
    at.remove();
    at = next;
  }
}

const deeds = {};
// does says what buttons with data-do do: does({ fit: (button) => … }).
export const does = (more) => Object.assign(deeds, more);
document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-do]");
  if (button) deeds[button.dataset.do]?.(button);
});

export const optionsOf = (button) => JSON.parse(button.dataset.options || "{}");

// oneAtATime has calls of work follow each other; of those that come meanwhile the
// last one counts.
export function oneAtATime(work) {
  let running = null, next = null;
  return (...args) => {
    next = args;
    return running ??= (async () => {
      try {
        while (next) {
          const now = next;
          next = null;
          await work(...now);
        }
      } finally { running = null; }
    })();
  };
}
