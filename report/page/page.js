"use strict";
// The page is complete without this script. It adds a cursor with the values
// of all curves, switches for curves and layers, and zoom over frequency.
(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const columns = JSON.parse(document.getElementById("columns").textContent);
  const $$ = (selector, root = document) => [...root.querySelectorAll(selector)];
  const clamp = (v, lo, hi) => Math.min(Math.max(v, lo), hi);
  const make = (name, attributes, parent) => {
    const node = document.createElementNS(SVG, name);
    for (const k in attributes) node.setAttribute(k, attributes[k]);
    return parent ? parent.appendChild(node) : node;
  };

  // Axes: the same rules as in the program that made the page.
  const axis = (text) => { const [kind, lo, hi] = text.split(" "); return { kind, lo: +lo, hi: +hi }; };
  const at = (a, v) => a.kind === "log" ? Math.log(v / a.lo) / Math.log(a.hi / a.lo) : (v - a.lo) / (a.hi - a.lo);
  const from = (a, p) => a.kind === "log" ? a.lo * Math.pow(a.hi / a.lo, p) : a.lo + p * (a.hi - a.lo);
  const niceAbove = (x) => {
    const e = Math.pow(10, Math.floor(Math.log10(x)));
    return ([1, 2, 5].find((m) => m * e >= x * (1 - 1e-9)) || 10) * e;
  };
  const number = (v, decimals, thousands) => {
    let k = "";
    if (v === 0) return "0";
    if (thousands) { v /= 1000; decimals += 3; k = "k"; }
    let text = v.toFixed(clamp(decimals, 0, 9));
    if (k && text.includes(".")) text = text.replace(/\.?0+$/, "");
    return text.replace("-", "−") + k;
  };
  const ticks = (a, length, spacing) => {
    const out = [];
    if (a.kind === "log") {
      const labels = length / Math.log10(a.hi / a.lo) * Math.log10(2) < spacing ? [1] : [1, 2, 5];
      for (let e = Math.floor(Math.log10(a.lo)); Math.pow(10, e) <= a.hi; e++) {
        for (let m = 1; m < 10; m++) {
          const v = m * Math.pow(10, e);
          if (v < a.lo * (1 - 1e-9) || v > a.hi * (1 + 1e-9)) continue;
          out.push([v, labels.includes(m) ? number(v, Math.max(0, -e), v >= 1e3) : ""]);
        }
      }
      if (out.filter((t) => t[1]).length >= (labels.length > 1 ? 3 : 2)) return out;
      out.length = 0;
    }
    const most = Math.max(2, Math.floor(length / spacing));
    let step = niceAbove((a.hi - a.lo) / most);
    if (a.kind === "deg") step = [1, 5, 15, 45, 90, 180, 360, 720].find((s) => (a.hi - a.lo) / s <= most) || 1440;
    const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const thousands = Math.max(Math.abs(a.lo), a.hi) >= (a.kind === "log" ? 1e3 : 1e4);
    for (let n = Math.ceil(a.lo / step - 1e-9) + 0; n * step <= a.hi + 1e-9 * step; n++) {
      out.push([n * step, number(n * step, decimals, thousands)]);
    }
    return out;
  };

  const whole = axis(document.querySelector("svg.figure[data-zoom]").dataset.x);
  let view = { ...whole };
  let cursor = NaN;

  class Figure {
    constructor(svg) {
      this.svg = svg;
      this.original = svg.innerHTML;
      [this.left, this.top, this.right, this.bottom] = svg.dataset.box.split(" ").map(Number);
      this.wholeY = axis(svg.dataset.y);
      this.y = this.wholeY;
      this.pointer();
    }
    px(f) { return this.left + at(view, f) * (this.right - this.left); }
    py(v) { return this.bottom - at(this.y, v) * (this.bottom - this.top); }
    numbers(node) { return node.dataset.c.split(" ").map((n) => columns[n]); }

    draw() {
      this.svg.innerHTML = this.original;
      this.y = this.wholeY;
      if (view.kind !== whole.kind || view.lo !== whole.lo || view.hi !== whole.hi) this.redraw();
      hide(this.svg);
      this.line = make("path", { class: "cursor-line" }, this.svg);
      this.dots = make("g", {}, this.svg);
      this.mark();
    }
    redraw() {
      this.fitY();
      this.grid();
      for (const node of $$("[data-c]", this.svg)) {
        if (node.classList.contains("markers")) this.markers(node);
        else node.setAttribute("d", node.classList.contains("band") ? this.band(node) : this.polyline(node));
      }
      this.ends();
    }
    fitY() {
      let lo = Infinity, hi = -Infinity;
      for (const node of $$(".curve[data-c], .trace[data-c], .floor[data-c]", this.svg)) {
        const [x, y] = this.numbers(node);
        x.forEach((f, i) => {
          if (f >= view.lo && f <= view.hi && y[i] != null) { lo = Math.min(lo, y[i]); hi = Math.max(hi, y[i]); }
        });
      }
      if (!(hi > lo)) return;
      const w = this.wholeY;
      lo = Math.max(lo, w.lo); hi = Math.min(hi, w.hi);
      const air = 0.05 * (hi - lo) + 1e-3 * (w.hi - w.lo);
      this.y = { kind: w.kind, lo: lo - air, hi: hi + air };
    }
    grid() {
      const gx = this.svg.querySelector(".grid-x"), gy = this.svg.querySelector(".grid-y");
      gx.textContent = gy.textContent = "";
      for (const [v, label] of ticks(view, this.right - this.left, 44)) {
        const x = this.px(v);
        make("path", { d: `M${x} ${this.top}V${this.bottom}`, ...(label ? {} : { class: "minor" }) }, gx);
        if (label) make("text", { x, y: this.bottom + 16, "text-anchor": "middle" }, gx).textContent = label;
      }
      for (const [v, label] of ticks(this.y, this.bottom - this.top, 34)) {
        const y = this.py(v);
        make("path", { d: `M${this.left} ${y}H${this.right}` }, gy);
        make("text", { x: this.left - 7, y: y + 4, "text-anchor": "end" }, gy).textContent = label;
      }
    }
    // points in view, with one more on either side; a gap is null.
    points(node, sign = 0) {
      const [x, y, half] = this.numbers(node);
      const out = [];
      for (let i = 0; i < x.length; i++) {
        if (x[Math.min(i + 1, x.length - 1)] < view.lo || x[Math.max(i - 1, 0)] > view.hi) continue;
        const v = y[i], h = sign ? half[i] : 0;
        out.push(v == null || h == null ? null : [this.px(x[i]), this.py(v + sign * h)]);
      }
      return out;
    }
    polyline(node) {
      let pen = false, d = "";
      for (const p of this.points(node)) {
        if (p) d += (pen ? "L" : "M") + p[0].toFixed(1) + " " + p[1].toFixed(1);
        pen = p !== null;
      }
      return d;
    }
    band(node) {
      const upper = this.points(node, 1).filter(Boolean), lower = this.points(node, -1).filter(Boolean).reverse();
      const round = upper.concat(lower).map((p) => p[0].toFixed(1) + " " + p[1].toFixed(1));
      return upper.length ? "M" + round.join("L") + "Z" : "";
    }
    markers(node) {
      const shape = node.firstElementChild && node.firstElementChild.getAttribute("d");
      if (!shape) return;
      node.textContent = "";
      let next = this.left + 72 * (0.3 + Number(/\bs(\d)/.exec(node.getAttribute("class"))[1]) / 8);
      for (const p of this.points(node)) {
        if (!p || p[0] < next) continue;
        make("path", { d: shape, transform: `translate(${p[0].toFixed(1)} ${p[1].toFixed(1)})` }, node);
        while (next <= p[0]) next += 72;
      }
    }
    // ends moves the labels to where the curves now end.
    ends() {
      const labels = $$(".ends > g", this.svg).map((g) => {
        const curve = this.svg.querySelector(`path[data-end="${g.dataset.end}"]`);
        const value = curve ? this.value(curve, view.hi) : null;
        const end = clamp(value === null ? this.bottom : this.py(value), this.top, this.bottom);
        return { g, end, y: end };
      }).sort((a, b) => a.end - b.end);
      for (let i = 1; i < labels.length; i++) labels[i].y = Math.max(labels[i].y, labels[i - 1].y + 15);
      let limit = this.bottom - 2;
      for (let i = labels.length - 1; i >= 0; i--, limit -= 15) labels[i].y = Math.min(labels[i].y, limit);
      for (const { g, end, y } of labels) {
        g.querySelector(".lead").setAttribute("d", `M${this.right + 1} ${end}L${this.right + 9} ${y}`);
        g.querySelector(".point").setAttribute("transform", `translate(${this.right + 14} ${y})`);
        g.querySelector("text").setAttribute("y", y + 4);
      }
    }
    value(node, f) {
      const [x, y] = this.numbers(node);
      return interpolate(x, y, f);
    }
    mark() {
      this.dots.textContent = "";
      this.line.setAttribute("d", "");
      if (!(cursor >= view.lo && cursor <= view.hi)) return;
      const x = this.px(cursor);
      this.line.setAttribute("d", `M${x} ${this.top}V${this.bottom}`);
      for (const node of $$(".curve[data-c]", this.svg)) {
        const v = this.value(node, cursor);
        if (v === null || node.classList.contains("off")) continue;
        const y = this.py(v);
        const style = /s\d/.exec(node.getAttribute("class"))[0];
        if (y < this.top || y > this.bottom) continue;
        make("circle", { class: "cursor-dot " + style, cx: x, cy: y, r: 3.5 }, this.dots);
      }
    }
    pointer() {
      let start = null, drag = null;
      const frequency = (event) => {
        const rect = this.svg.getBoundingClientRect();
        const x = (event.clientX - rect.left) * this.svg.viewBox.baseVal.width / rect.width;
        return from(view, clamp((x - this.left) / (this.right - this.left), 0, 1));
      };
      this.svg.addEventListener("pointermove", (event) => {
        const f = frequency(event);
        setCursor(f);
        if (start === null) return;
        const [a, b] = [this.px(start), this.px(f)].sort((p, q) => p - q);
        drag = drag || make("rect", { class: "drag", y: this.top, height: this.bottom - this.top }, this.svg);
        drag.setAttribute("x", a);
        drag.setAttribute("width", b - a);
      });
      this.svg.addEventListener("pointerdown", (event) => {
        if (event.button === 0) start = frequency(event);
        setCursor(frequency(event));
      });
      const end = (event) => {
        if (drag) drag.remove();
        if (start !== null && drag && event.type === "pointerup") {
          const [lo, hi] = [start, frequency(event)].sort((p, q) => p - q);
          if (this.px(hi) - this.px(lo) > 12) zoomTo(lo, hi);
        }
        start = drag = null;
      };
      this.svg.addEventListener("pointerup", end);
      this.svg.addEventListener("pointercancel", end);
      this.svg.addEventListener("pointerleave", end);
      this.svg.addEventListener("dblclick", () => zoomTo(whole.lo, whole.hi));
    }
  }

  const interpolate = (x, y, f) => {
    if (!x || !y || !x.length || f < x[0] || f > x[x.length - 1]) return null;
    let a = 0, b = x.length - 1;
    while (b - a > 1) { const m = (a + b) >> 1; if (x[m] <= f) a = m; else b = m; }
    if (y[a] == null || y[b] == null) return null;
    return y[a] + (y[b] - y[a]) * (x[b] === x[a] ? 0 : (f - x[a]) / (x[b] - x[a]));
  };

  const off = new Set(), layers = new Set();
  const hide = (root) => {
    for (const node of $$("[data-group]", root)) node.classList.toggle("off", off.has(node.dataset.group));
  };

  const figures = $$("svg.figure[data-zoom]").map((svg) => new Figure(svg));
  const slider = document.getElementById("cursor"), out = document.getElementById("cursor-at");
  const hertz = (f) => f >= 1000 ? (f / 1000).toPrecision(4) + " kHz" : f.toPrecision(4) + " Hz";

  function setCursor(f) {
    cursor = f;
    slider.value = 1000 * clamp(at(view, f), 0, 1);
    show();
  }
  function show() {
    out.textContent = hertz(cursor);
    slider.setAttribute("aria-valuetext", hertz(cursor));
    for (const row of $$("#cursor-values tbody tr")) {
      const x = columns[row.dataset.c];
      for (const cell of $$("td", row)) {
        const n = Number(cell.dataset.c), v = n < 0 ? null : interpolate(x, columns[n], cursor);
        const unit = cell.dataset.unit, small = unit.startsWith("±");
        const decimals = unit === "°" ? 1 : 2, suffix = unit === "°" ? "°" : " dB";
        const text = () => small ? "± " + v.toPrecision(2) + " dB" : v.toFixed(decimals).replace("-", "−") + suffix;
        cell.textContent = v === null ? "–" : text();
      }
    }
    for (const f of figures) if (f.line) f.mark();
  }
  function zoomTo(lo, hi) {
    lo = Math.max(lo, whole.lo); hi = Math.min(hi, whole.hi);
    if (!(hi / lo > 1.02)) return;
    view = { kind: view.kind, lo, hi };
    if (Math.abs(Math.log(view.lo / whole.lo)) < 1e-6) view.lo = whole.lo;
    if (Math.abs(Math.log(view.hi / whole.hi)) < 1e-6) view.hi = whole.hi;
    cursor = clamp(cursor, view.lo, view.hi);
    for (const f of figures) f.draw();
    setCursor(cursor);
  }
  // zoom by a factor of the axis length about the cursor.
  function zoom(factor) {
    const p = at(view, cursor);
    zoomTo(from(view, p - p * factor), from(view, p + (1 - p) * factor));
  }

  const controls = document.querySelector(".controls");
  controls.hidden = document.querySelector(".cursor").hidden = false;
  controls.addEventListener("submit", (event) => event.preventDefault());
  controls.addEventListener("change", ({ target }) => {
    if (target.dataset.show) {
      off[target.checked ? "delete" : "add"](target.dataset.show);
      hide(document);
      show();
    } else if (target.dataset.layer) {
      document.getElementById("response").classList.toggle("no-" + target.dataset.layer, !target.checked);
    } else if (target.dataset.do === "linear") {
      view.kind = target.checked ? "lin" : "log";
      for (const f of figures) f.draw();
      setCursor(cursor);
    }
  });
  const act = { in: () => zoom(0.5), out: () => zoom(2), all: () => zoomTo(whole.lo, whole.hi) };
  controls.addEventListener("click", ({ target }) => { if (target.tagName === "BUTTON") act[target.dataset.do](); });
  slider.addEventListener("input", () => { cursor = from(view, slider.value / 1000); show(); });
  slider.addEventListener("keydown", (event) => {
    const what = { "+": "in", "=": "in", "-": "out", "0": "all" }[event.key];
    if (what) { act[what](); event.preventDefault(); }
  });

  // Paper shows the whole range, whatever the screen shows.
  let kept = null;
  window.addEventListener("beforeprint", () => {
    kept = { view, cursor };
    view = { ...whole };
    cursor = NaN;
    for (const f of figures) f.draw();
  });
  window.addEventListener("afterprint", () => {
    if (!kept) return;
    ({ view, cursor } = kept);
    for (const f of figures) f.draw();
  });

  for (const f of figures) f.draw();
  setCursor(from(view, 0.75));
})();
