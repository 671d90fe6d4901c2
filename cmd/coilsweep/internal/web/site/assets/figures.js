// Figures have the cursor and the zoom of the reports, and begin with what there is to see.
import { $, $$, does, el, fill, say, show, written } from "./dom.js";
import { decibel, degrees, Figures, hertz } from "./plot.js";

const groupOf = (node) => node.closest("[data-columns]").figures;

export function start() {
  written((place) => { for (const node of $$("[data-columns]", place)) ready(node); });
  does({
    closer: (button) => groupOf(button).zoom(0.5),
    wider: (button) => groupOf(button).zoom(2),
    whole: (button) => { const group = groupOf(button); group[group.isWhole ? "cropped" : "all"](); },
  });
  document.addEventListener("input", ({ target }) => {
    if (target.matches(".looking input")) groupOf(target).share = target.value / 1000;
  });
  document.addEventListener("keydown", (event) => {
    if (event.target.matches?.(".looking input") && groupOf(event.target).key(event.key)) event.preventDefault();
  });
}

// ready makes figures that have just been written what those were that stood there
// before: the range and the cursor stay.
function ready(node) {
  const svgs = $$("svg.figure[data-zoom]", node), before = node.figures;
  if (!svgs.length || before?.figures[0].svg === svgs[0]) return;
  const group = new Figures(svgs, JSON.parse(node.dataset.columns), () => told(node));
  node.figures = group;
  if (before) {
    group.cursor = before.cursor;
    if (before.isWhole) group.draw();
    else group.zoomTo(before.view.lo, before.view.hi);
  } else {
    group.cursor = highest(group, svgs[0]);
    group.cropped();
  }
}

function highest(group, svg) {
  const [x, y] = $(".curve[data-c], .trace[data-c]", svg).dataset.c.split(" ").map((n) => group.columns[n]);
  return x[y.reduce((best, v, i) => v !== null && (y[best] === null || v > y[best]) ? i : best, 0)];
}

function told(node) {
  const group = node.figures, slider = $(".looking input", node), where = hertz(group.cursor);
  slider.value = 1000 * group.share;
  slider.setAttribute("aria-valuetext", where);
  say($(".looking output", node), where);
  const whole = $("[data-do=whole]", node);
  say(whole, group.isWhole ? "Crop" : "Show all");
  show(whole, !group.isWhole || group.crop);
  values(node, group);
}

// values are those of all curves that have a name, or of the only one.
function values(node, group) {
  const svgs = $$(":not(.n) > svg.figure[data-zoom]", node), rows = new Map();
  for (const [column, svg] of svgs.entries()) {
    const degree = svg.dataset.y.startsWith("deg");
    for (const curve of $$(".curve[data-c]", svg)) {
      const name = $(`.ends g[data-end="${curve.dataset.end}"] text`, svg)?.textContent ?? "";
      if (!rows.has(name)) rows.set(name, svgs.map(() => "–"));
      const v = group.column(...curve.dataset.c.split(" "));
      if (v !== null) rows.get(name)[column] = degree ? degrees(v) : decibel(v);
    }
  }
  // Figures with the same axis have captions that tell them apart.
  const heads = svgs.map((svg) => $("figcaption", svg.closest(".figures figure") ?? svg)?.textContent ??
    $("text.axis:not([text-anchor])", svg).textContent.split(",")[0]);
  fill($(".looking tbody", node), [...rows].map(([name, cells]) =>
    el("tr", {}, el("th", { scope: "row" }, name || "curve"), cells.map((text) => el("td", {}, text)))));
  fill($(".looking thead tr", node), el("th", { scope: "col" }, "at the cursor"),
    heads.map((head) => el("th", { scope: "col" }, head)));
}
