// Files that are edited here: what this tab changed last is taken back while nobody has changed
// the file since, so that nothing else that was written there is lost. A file that was made
// is removed again.
import * as api from "./api.js";
import { byID, does, show } from "./dom.js";
import { act } from "./form.js";

export class Edited {
  // button undoes; name() tells which file it is; here() is the file as it is now, its text and
  // its checksum, or nothing where there is none; address() takes another text for it; and
  // refresh has it fetched again.
  constructor(button, { name, here, address, refresh }) {
    Object.assign(this, { button, name, here, address, refresh, changes: new Map() });
    does({ [byID(button).dataset.do]: (pressed) => act(pressed, () => this.#undo()) });
  }

  // change does work that changes the file, and gives the program's answer.
  async change(work) {
    const name = this.name(), before = this.here()?.text ?? null;
    const { sha256 } = await work();
    this.changes.set(name, { before, since: sha256 || undefined });
    await this.refresh();
    this.draw();
  }

  get #last() {
    const change = this.changes.get(this.name()), file = this.here();
    return change && change.since === file?.sha256 && change.before !== (file?.text ?? null) ? change : null;
  }

  #undo() {
    const body = { sha256: this.here()?.sha256 ?? "", text: this.#last.before }; // null: no file
    return this.change(() => api.put(this.address(), body));
  }

  draw() { show(byID(this.button), this.#last); }
}
