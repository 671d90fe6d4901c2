// Several coils: which are chosen, to be compared or to be looked at as a batch.
import * as api from "./api.js";
import { $$, byID, el, fill, put, show } from "./dom.js";
import { draft, Form, withValues } from "./form.js";
import { harness } from "./guitar.js";
import { on } from "./state.js";

let form;
const boxes = () => $$("#many-coils input");
const picked = () => boxes().filter((box) => box.checked);
const ids = () => picked().map((box) => box.value);

export function start() {
  form = new Form(byID("many-form"), compare, { onInput: follow });
  byID("many-run").addEventListener("click", () => form.run(() => batch(form.values())));
  byID("many-labels").addEventListener("click", () => form.run(() => ask("/api/labels", { coils: ids() })));
  const check = (wanted) => {
    for (const box of boxes()) box.checked = wanted(box) && !box.disabled;
    follow();
  };
  byID("many-all").addEventListener("click", () => check((box) => box.checked || !box.closest("tr").hidden));
  byID("many-none").addEventListener("click", () => check(() => false));
  on(["coils"], follow);
}

function select(node, first, rows) {
  const before = node.value;
  fill(node, el("option", { value: "" }, first), rows.map((box) => el("option", { value: box.value }, box.ariaLabel)));
  node.value = rows.some((box) => box.value === before) ? before : "";
}

function follow() {
  const find = byID("many-find").value.trim().toLowerCase(), chosen = picked();
  for (const box of boxes()) show(box.closest("tr"), `${box.ariaLabel} ${box.value}`.toLowerCase().includes(find));
  select(byID("many-against"), "the first", chosen);
  select(byID("many-reference"), "no limits", chosen);
  byID("many-compare").textContent = chosen.length ? `Compare ${chosen.length}` : "Compare";
  const { against, sort, "same-bench": same } = form.values();
  draft("compare", ids(), { against, "same-bench": same, sort: sort === "given" ? "" : sort });
}

// ask shows what the program says of the coils.
async function ask(path, body) {
  const place = byID("many-answer");
  put({ "many-answer": '<p class="panel work">Being worked out …</p>' });
  try {
    put((await api.post(path, body)).html);
  } catch (error) {
    put({ "many-answer": "" });
    throw error;
  }
  place.focus({ preventScroll: true });
  place.scrollIntoView({ block: "start" });
}

const compare = ({ against, sort, "same-bench": same, hear }) => {
  const { wiring, phase, coupling, ...oneCoil } = harness();
  return ask("/api/compare", { coils: ids(), against: against || (ids()[0] ?? ""), same_bench: same, sort,
    ...(hear ? { harness: oneCoil } : {}) });
};

const batch = ({ reference, tolerance, guard, chart, state, "by-folder": by, "same-bench": same }) =>
  ask("/api/batch", { coils: ids(), ...withValues({ reference, tolerance, guard, chart, state }), by_folder: by,
    same_bench: same });
