// The list of coils, of which the program tells what has changed, and wherever one is chosen.
import { $, byID, el, fill, write } from "./dom.js";
import { sortable } from "./sort.js";
import { on, state } from "./state.js";

export function start() { on("coils", draw); }

const rows = new Map();

function draw() {
  if (!state.coils) return;
  const { coils: ids, lines } = state.coils, all = ids.map((id) => lines.get(id));
  choices(byID("coil-choice"), all.length ? [] : [["", "none yet"]], all);
  choices(byID("g-second"), [["", "none"]], all.filter((line) => line.known));
  choices(byID("sweep-behind"), [["", "the take before"], ["none", "nothing"]], all.filter((line) => line.measured));
  const table = $("#many-coils table");
  if (!table) return;
  for (const id of rows.keys()) if (!ids.includes(id)) rows.delete(id);
  for (const line of all) {
    if (!rows.has(line.coil)) rows.set(line.coil, el("tr", { "data-key": line.coil }));
    const row = rows.get(line.coil);
    if (row.written !== line.row) write(row, line.row);
  }
  sortable(table, ids.map((id) => rows.get(id)));
}

// choices are coils to choose from, after what else may be chosen: [value, label] each.
export function choices(select, others, lines) {
  const wanted = [...others, ...lines.map(({ coil, label }) => [coil, label])];
  const key = JSON.stringify(wanted);
  if (select.told === key) return;
  const { value } = select;
  fill(select, wanted.map(([coil, label]) => el("option", { value: coil }, label)));
  select.told = key;
  select.value = wanted.some(([coil]) => coil === value) ? value : wanted[0][0];
}
