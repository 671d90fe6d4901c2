// Tables whose heads sort. A column has one unit, so that its numbers can be compared as
// they stand; what is not known comes last.
import { $, $$, el, fill } from "./dom.js";

// sortable makes the heads of a table buttons, and keeps the order that was chosen. rows
// are those of its body as the program has them.
export function sortable(table, rows = [...$("tbody", table).rows]) {
  for (const head of $$('thead th[scope="col"]', table)) {
    if (!$("button", head)) fill(head, el("button", { type: "button", class: "sort", click: () => by(table, head) }, [...head.childNodes]));
  }
  table.inOrder = rows;
  arrange(table);
}

function by(table, head) {
  const was = head.getAttribute("aria-sort");
  for (const other of $$("th[aria-sort]", table)) other.removeAttribute("aria-sort");
  if (was !== "descending") head.setAttribute("aria-sort", was ? "descending" : "ascending");
  arrange(table); // the third time: as the program has them
}

function arrange(table) {
  const head = $("th[aria-sort]", table), body = $("tbody", table);
  const wanted = head ? sorted(table.inOrder, head.cellIndex, head.ariaSort === "descending") : table.inOrder;
  if (body.rows.length !== wanted.length || wanted.some((row, i) => row !== body.rows[i])) fill(body, wanted);
}

const order = new Intl.Collator(undefined, { numeric: true });

// sorted are rows by what stands in a column; equals stay as they are.
export function sorted(rows, column, descending) {
  const texts = new Map(rows.map((row) => [row, row.cells[column].textContent.trim().replace("−", "-")]));
  const all = [...texts.values()], unknown = (text) => text === "" || text.startsWith("–");
  const numbers = !rows[0]?.cells[column].matches(".text") && all.every((text) => unknown(text) || !Number.isNaN(parseFloat(text)));
  const compare = (a, b) => numbers ? parseFloat(a) - parseFloat(b) : order.compare(a, b);
  return [...rows].sort((one, other) => {
    const [a, b] = [texts.get(one), texts.get(other)];
    return unknown(a) - unknown(b) || (unknown(a) ? 0 : (descending ? -1 : 1) * compare(a, b));
  });
}
