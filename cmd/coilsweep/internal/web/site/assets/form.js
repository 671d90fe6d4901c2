// Forms: values as texts, messages beside the field they are about, and what
// happens when somebody else changed the same thing.
import * as api from "./api.js";
import { $, $$, does, el, fill, oneAtATime, put, show } from "./dom.js";

let ids = 0;

export class Form {
  // node is the form; submit(values) does the work and may throw a Failure.
  // unsaved says under which name the tab keeps what is being edited, through a reload too.
  constructor(node, submit, { onInput, unsaved } = {}) {
    this.node = node;
    this.unsaved = unsaved;
    this.dirty = false;
    this.busy = false;
    this.theirs = null; // what came in while something was being edited
    node.addEventListener("input", (event) => {
      this.dirty = true;
      // What was said of the field's old text is not true of the new one.
      if (event.target.getAttribute?.("aria-invalid")) {
        this.clear();
        if (this.theirs) this.sayElsewhere();
      }
      this.#keep();
      onInput?.();
    });
    node.addEventListener("reset", (event) => {
      event.preventDefault();
      this.dirty = false;
      if (this.theirs) this.accept();
      else if (this.filled) this.#put(this.filled);
      this.#keep();
      this.clear();
      onInput?.();
    });
    if (submit) node.addEventListener("submit", (event) => {
      event.preventDefault();
      if (event.submitter?.type === "submit" || !event.submitter) this.run(() => submit(this.values()));
    });
  }

  get fields() { return $$("input[name], select[name], textarea[name]", this.node); }

  values() {
    const values = {};
    for (const field of this.fields) {
      if (field.type === "radio") { if (field.checked) values[field.name] = field.value; }
      else if (field.type === "checkbox") values[field.name] = field.checked;
      else values[field.name] = field.name === "text" ? field.value : field.value.trim();
    }
    return values;
  }

  // fill puts in what the program knows. What is being edited is left alone,
  // and the difference is said.
  fill(values, stamp) {
    if (this.dirty && this.filled) {
      if (stamp !== this.stamp) {
        this.theirs = { values, stamp };
        this.sayElsewhere();
      }
      return;
    }
    this.stamp = stamp;
    this.theirs = null;
    this.filled = values;
    this.#put(values);
    this.hideElsewhere();
    const edited = this.#kept();
    if (!edited) return;
    this.dirty = true;
    this.#put(edited.values);
    if (edited.stamp !== stamp) {
      this.theirs = { values, stamp };
      this.stamp = edited.stamp;
      this.sayElsewhere();
    }
  }

  get #slot() { return this.unsaved ? `coilsweep-unsaved ${this.unsaved()}` : ""; }

  #keep() {
    if (!this.#slot || !this.filled) return;
    try {
      if (!this.dirty) sessionStorage.removeItem(this.#slot);
      else sessionStorage.setItem(this.#slot, JSON.stringify({ stamp: this.stamp, values: this.changes() }));
    } catch { /* they last until the page is left */ }
  }

  #kept() {
    try { return this.#slot ? JSON.parse(sessionStorage.getItem(this.#slot)) : null; } catch { return null; }
  }

  #put(values) {
    for (const field of this.fields) {
      if (!(field.name in values)) continue;
      const value = values[field.name];
      if (field.type === "radio") field.checked = field.value === value;
      else if (field.type === "checkbox") field.checked = Boolean(value);
      else {
        const text = value ?? "";
        if (field.tagName === "SELECT" && ![...field.options].some((o) => o.value === String(text))) {
          field.append(el("option", { value: text }, text));
        }
        if (field.value !== String(text)) field.value = text;
      }
    }
  }

  // changes are the values that differ from what was filled in.
  changes() {
    const changed = {};
    for (const [k, v] of Object.entries(this.values())) {
      const before = this.filled?.[k] ?? (typeof v === "boolean" ? false : "");
      if (String(v) !== String(before)) changed[k] = v;
    }
    return changed;
  }

  accept() {
    const { values, stamp } = this.theirs;
    this.theirs = null;
    this.dirty = false;
    this.#keep();
    this.fill(values, stamp);
    this.clear();
    this.node.dispatchEvent(new Event("filled"));
  }

  sayElsewhere() {
    const place = $(".elsewhere", this.node);
    if (!place) return;
    fill(place, "This was changed elsewhere while you were editing. ",
      el("button", { type: "button", click: () => this.accept() }, "Show what is there now"), " ",
      el("button", { type: "button", click: () => this.keepMine() }, "Keep mine"));
    show(place, true);
  }

  keepMine() {
    this.stamp = this.theirs.stamp;
    this.filled = this.theirs.values;
    this.theirs = null;
    this.hideElsewhere();
  }

  // forget gives up what is being edited: another thing is shown.
  forget() {
    Object.assign(this, { dirty: false, filled: null, stamp: undefined, theirs: null });
    this.clear();
  }

  hideElsewhere() {
    const place = $(".elsewhere", this.node);
    if (place) show(place, false);
  }

  clear() {
    const wrong = $(".wrong", this.node);
    if (wrong) { show(wrong, false); fill(wrong); }
    for (const field of this.fields) {
      field.removeAttribute("aria-invalid");
      if (field.dataset.described !== undefined) {
        if (field.dataset.described) field.setAttribute("aria-describedby", field.dataset.described);
        else field.removeAttribute("aria-describedby");
        delete field.dataset.described;
      }
    }
    this.hideElsewhere();
  }

  // fail shows a failure beside its field.
  fail(error) {
    const wrong = $(".wrong", this.node), means = (f) => [f.name, ...(f.dataset.means ?? "").split(" ")];
    const field = error.field ? this.fields.find((f) => means(f).includes(error.field)) : null;
    const place = field?.closest(".field");
    if (wrong) {
      wrong.id ||= `wrong-${++ids}`;
      fill(wrong, error.message);
      show(wrong, true);
    }
    // Beside its field, or where it stands in the form.
    this.home ??= wrong ? { parent: wrong.parentNode, before: wrong.nextSibling } : null;
    if (place && wrong) place.append(wrong);
    else if (wrong && wrong.parentNode !== this.home.parent) this.home.parent.insertBefore(wrong, this.home.before);
    if (field && wrong) {
      field.setAttribute("aria-invalid", "true");
      field.dataset.described ??= field.getAttribute("aria-describedby") ?? "";
      field.setAttribute("aria-describedby", [wrong.id, field.dataset.described].filter(Boolean).join(" "));
      const folded = field.closest("details");
      if (folded) folded.open = true;
      field.focus();
      (place ?? field).scrollIntoView({ block: "nearest" });
    }
  }

  // run does work once at a time; a failure is shown here.
  async run(work) {
    if (this.busy) return undefined;
    this.busy = true;
    this.clear();
    this.node.setAttribute("aria-busy", "true");
    try {
      return await work();
    } catch (error) {
      if (error.changedElsewhere && $(".elsewhere", this.node) && !this.theirs) {
        error.message += " Undo your changes, or look at the file below.";
      }
      this.fail(error);
      return undefined;
    } finally {
      this.busy = false;
      this.node.removeAttribute("aria-busy");
    }
  }

  // kept says that what stands here is what the program has.
  kept() {
    this.dirty = false;
    this.filled = this.values();
    this.theirs = null;
    this.#keep();
    this.clear();
  }
}

// about is an error that stands beside its field.
export const about = (field, text) => Object.assign(new Error(text), { field });

// withValues are the options that say something, as texts.
export function withValues(options) {
  const told = Object.entries(options).filter(([, v]) => v !== "" && v !== null && v !== undefined && v !== false);
  return Object.fromEntries(told.map(([k, v]) => [k, String(v)]));
}

// act does what a button in a part of the page stands for; a failure is told
// beside it.
export async function act(button, work) {
  const place = button.closest("li, p, section, div");
  $(":scope > .wrong", place)?.remove();
  button.disabled = true;
  try { await work(); } catch (error) {
    place.append(el("p", { class: "wrong", role: "alert" }, error.message));
  } finally { button.disabled = false; }
}

const drafts = new Map();
// draft tells the program of a form as it stands, and shows the command line that
// does the same; hear is told what name the program proposes.
export function draft(form, coils, options, hear) {
  if (!drafts.has(form)) drafts.set(form, oneAtATime(async (body, told) => {
    try {
      const answer = await api.post("/api/draft", body);
      put(answer.html);
      told?.(answer.name ?? "", answer.part ?? "");
    } catch { /* the line stays as it was */ }
  }));
  return drafts.get(form)({ form, coils, options: withValues(options) }, hear);
}

does({
  copy: async (button) => {
    const code = $("code", button.closest(".line"));
    try {
      await navigator.clipboard.writeText(code.textContent);
      button.textContent = "Copied";
      setTimeout(() => { button.textContent = "Copy"; }, 1500);
    } catch { window.getSelection().selectAllChildren(code); }
  },
});
