// Several coils: which are chosen, to be compared or to be looked at as a batch.
import * as api from "./api.js";
import { $, $$, byID, does, put, say, show } from "./dom.js";
import { choices } from "./coils.js";
import { draft, Form, withValues } from "./form.js";
import { harness } from "./guitar.js";
import { sortable } from "./sort.js";
import { on, state } from "./state.js";

let form;
const boxes = () => $$("#many-coils input");
const picked = () => boxes().filter((box) => box.checked);
const ids = () => picked().map((box) => box.value);

export function start() {
  form = new Form(byID("many-form"), compare, { onInput: follow });
  byID("many-run").addEventListener("click", () => form.run(() => batch(form.values())));
  byID("many-labels").addEventListener("click", () => form.run(() => ask("/api/labels", { coils: ids() })));
  byID("many-stop").addEventListener("click", () => asking?.stop.abort());
  const check = (wanted) => {
    for (const box of boxes()) box.checked = wanted(box) && !box.disabled;
    follow();
  };
  byID("many-all").addEventListener("click", () => check((box) => box.checked || !box.closest("tr").hidden));
  byID("many-none").addEventListener("click", () => check(() => false));
  does({ pair: (button) => form.run(() => pair(button.dataset.pair, form.values())) });
  on(["coils"], follow);
  on("many", progress);
}

function follow() {
  const find = byID("many-find").value.trim().toLowerCase(), chosen = picked();
  for (const box of boxes()) show(box.closest("tr"), state.coils?.lines.get(box.value)?.sought.includes(find));
  const asked = new URLSearchParams({ ...(find ? { match: find } : {}), ...(commaHere ? { comma: "" } : {}) });
  if (state.coils) byID("many-csv").href = `${state.coils.csv}${asked.size ? `?${asked}` : ""}`;
  say(byID("many-csv"), find ? "The coils shown, as CSV" : "The list, as CSV");
  const lines = chosen.map((box) => ({ coil: box.value, label: box.ariaLabel }));
  choices(byID("many-against"), [["", "the first"]], lines);
  choices(byID("many-reference"), [["", "limits.toml beside them, if there is one"]], lines);
  say(byID("many-compare"), chosen.length ? `Compare (${chosen.length})` : "Compare");
  const all = [...(state.coils?.lines.values() ?? [])], [one, ...others] = chosen.map((box) => state.coils?.lines.get(box.value)?.pair);
  byID("many-pair").dataset.pair = one ?? "";
  show(byID("many-pair"), one && others.length && others.every((other) => other === one));
  show(byID("many-partial"), all.some((line) => line.pair));
  const { against, sort, "same-bench": same } = form.values();
  draft("compare", ids(), { against, "same-bench": same, sort: sort === "given" ? "" : sort });
}

// asking is what is being worked out: how it is stopped, and the ticket by which the program
// tells how far it is.
let asking = null;

function progress(at) {
  if (at?.ticket !== asking?.ticket) return;
  const bar = byID("many-progress");
  [bar.max, bar.value] = [at.of, at.done];
  say(byID("many-far"), `${at.done} of ${at.of} coils`);
}

// Tables are for the spreadsheet of whoever looks at the page.
const commaHere = (1.5).toLocaleString().includes(",");

// ask shows what the program says of the coils.
async function ask(path, body) {
  const place = byID("many-answer"), mine = { stop: new AbortController(), ticket: `${Date.now()} ${Math.random()}` };
  const running = (is) => { for (const id of ["many-stop", "many-progress", "many-far"]) show(byID(id), is); };
  asking = mine;
  byID("many-progress").removeAttribute("value");
  say(byID("many-far"), "");
  running(true);
  put({ "many-answer": '<p class="panel work">Being worked out …</p>' });
  try {
    put((await api.post(path, { ...body, ticket: mine.ticket, ...(path === "/api/labels" ? {} : { CSV: { DecimalComma: commaHere } }) }, mine.stop.signal)).html);
    for (const table of $$("table", place)) if ($("tbody th:is(.short, .long)", table)) sortable(table); // rows are coils
  } catch (error) {
    put({ "many-answer": error.name === "AbortError" ? '<p class="panel">Stopped.</p>' : "" });
    if (error.name !== "AbortError") throw error;
  } finally {
    asking = null;
    running(false);
  }
  place.focus({ preventScroll: true });
  place.scrollIntoView({ block: "start" });
}

// pair works out the coils of a pair together, in the guitar for one of them.
const pair = (folder, { "partial-r": r, "partial-c": c }) =>
  ask("/api/pair", { pair: folder, options: { ...alone(), ...withValues({ "partial-r": r, "partial-c": c }) } });

// alone is the guitar without what is said of a second coil in it.
function alone() {
  const { wiring, phase, coupling, ...oneCoil } = harness();
  return oneCoil;
}

const compare = ({ against, sort, "same-bench": same, hear }) =>
  ask("/api/compare", { coils: ids(), against: against || (ids()[0] ?? ""), same_bench: same, sort,
    ...(hear ? { harness: alone() } : {}) });

const batch = ({ reference, tolerance, guard, chart, state, "by-folder": by, "same-bench": same }) =>
  ask("/api/batch", { coils: ids(), ...withValues({ reference, tolerance, guard, chart, state }), by_folder: by,
    same_bench: same });
