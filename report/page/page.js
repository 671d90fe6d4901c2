// The page is complete without this script. It adds a cursor with the values
// of all curves, switches for curves and layers, and zoom over frequency.
(() => {
  const columns = JSON.parse(document.getElementById("columns").textContent);
  const slider = document.getElementById("cursor"), out = document.getElementById("cursor-at");
  const figures = new Figures($$("svg.figure[data-zoom]"), columns, () => {
    slider.value = 1000 * figures.share;
    show();
  });

  function show() {
    const at = Number.isNaN(figures.cursor) ? "" : hertz(figures.cursor);
    out.textContent = at;
    slider.setAttribute("aria-valuetext", at);
    for (const row of $$("#cursor-values tbody tr")) {
      for (const cell of $$("td", row)) {
        const n = Number(cell.dataset.c), v = n < 0 ? null : figures.column(row.dataset.c, n), { unit } = cell.dataset;
        const text = () => unit.startsWith("±") ? "± " + v.toPrecision(2) + " dB" : unit === "°" ? degrees(v) : decibel(v);
        cell.textContent = v === null ? "–" : text();
      }
    }
  }

  const controls = document.querySelector(".controls");
  controls.hidden = document.querySelector(".cursor").hidden = false;
  controls.addEventListener("submit", (event) => event.preventDefault());
  controls.addEventListener("change", ({ target }) => {
    if (target.dataset.show) {
      figures.off[target.checked ? "delete" : "add"](target.dataset.show);
      figures.hide(document);
      figures.look(figures.cursor);
    } else if (target.dataset.layer) {
      document.getElementById("response").classList.toggle("no-" + target.dataset.layer, !target.checked);
    } else if (target.dataset.do === "linear") figures.linear(target.checked);
  });
  const act = { in: () => figures.zoom(0.5), out: () => figures.zoom(2), all: () => figures.all() };
  controls.addEventListener("click", ({ target }) => { if (target.tagName === "BUTTON") act[target.dataset.do](); });
  slider.addEventListener("input", () => { figures.share = slider.value / 1000; });
  slider.addEventListener("keydown", (event) => { if (figures.key(event.key)) event.preventDefault(); });

  // Paper shows the whole range, whatever the screen shows.
  let kept = null;
  window.addEventListener("beforeprint", () => {
    kept = { view: figures.view, cursor: figures.cursor };
    Object.assign(figures, { view: { ...figures.whole }, cursor: NaN });
    figures.draw();
  });
  window.addEventListener("afterprint", () => {
    if (!kept) return;
    Object.assign(figures, kept);
    figures.draw();
  });

  figures.draw();
})();
