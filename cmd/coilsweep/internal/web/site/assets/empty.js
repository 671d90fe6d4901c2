// What stands in a field while nothing is written there. It is one of two things, and says
// which, to the eye and to screen readers: an example of what may be written (data-example),
// or what holds until something is (data-empty).
import { $$, byID, el, say, written } from "./dom.js";

export function start() {
  markBelow(document);
  written(markBelow);
}

const markBelow = (place) => { for (const field of $$("[data-example], [data-empty]", place)) mark(field); };

function mark(field) {
  const { example: one, empty } = field.dataset;
  const text = one ? `e.g. ${one}` : empty ? `if empty: ${empty.replace(/^-(?=\d)/, "−")}` : "";
  if (field.placeholder !== text) field.placeholder = text;
  const id = `${field.id}-empty`, by = (field.getAttribute("aria-describedby") ?? "").split(" ").filter(Boolean);
  if (text && !byID(id)) field.after(el("span", { id, hidden: true }));
  if (byID(id)) say(byID(id), text);
  if (text && !by.includes(id)) field.setAttribute("aria-describedby", [...by, id].join(" "));
}

// example has a field show an example.
export function example(field, text) {
  field.dataset.example = text;
  mark(field);
}

// ifEmpty has a field show what holds while it is empty; nothing where that is not known.
export function ifEmpty(field, text) {
  field.dataset.empty = text ?? "";
  mark(field);
}
