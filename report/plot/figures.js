"use strict";
// A cursor, values and zoom over frequency for figures whose numbers a page has: of a
// report, and of the bench page. The figures of a group share their frequencies.
const SVG = "http://www.w3.org/2000/svg";
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

class Figure {
  constructor(svg, group) {
    this.svg = svg;
    this.group = group;
    this.original = svg.innerHTML;
    [this.left, this.top, this.right, this.bottom] = svg.dataset.box.split(" ").map(Number);
    this.wholeY = axis(svg.dataset.y);
    this.y = this.wholeY;
    this.pointer();
  }
  px(f) { return this.left + at(this.group.view, f) * (this.right - this.left); }
  py(v) { return this.bottom - at(this.y, v) * (this.bottom - this.top); }
  numbers(node) { return node.dataset.c.split(" ").map((n) => this.group.columns[n]); }

  draw() {
    this.svg.innerHTML = this.original;
    this.y = this.wholeY;
    if (!this.group.isWhole) this.redraw();
    this.group.hide(this.svg);
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
    for (const node of $$(".mark[data-m]", this.svg)) this.point(node);
    for (const node of $$("text[data-m]", this.svg)) this.label(node);
    this.ends();
  }
  fitY() {
    const { view } = this.group;
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
    for (const [v, label] of ticks(this.group.view, this.right - this.left, 44)) {
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
    const [x, y, half] = this.numbers(node), { view } = this.group;
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
  // point moves a mark with its error bars, which are drawn as the program draws them.
  point(node) {
    const [x, y, wide, high] = node.dataset.m.split(" ").map(Number), at = [this.px(x), this.py(y)];
    let d = "";
    if (wide > 0) for (const end of [-1, 1]) d += `M${at}H${this.px(x + end * wide)}m0 -4v8`;
    if (high > 0) for (const end of [-1, 1]) d += `M${at}V${this.py(y + end * high)}m-4 0h8`;
    for (const bar of $$(".bar", node)) bar.remove();
    if (d) node.prepend(make("path", { class: "bar", d }));
    for (const point of $$(".point", node)) {
      point.setAttribute("transform", `translate(${at})${/ scale.*$/.exec(point.getAttribute("transform")) ?? ""}`);
    }
    for (const ring of $$(".ring", node)) { ring.setAttribute("cx", at[0]); ring.setAttribute("cy", at[1]); }
    node.style.display = this.inside(...at) ? "" : "none";
  }
  // label moves the name of a mark by as much as its mark.
  label(node) {
    const [x, y] = node.dataset.m.split(" ").map(Number), px = this.px(x), py = this.py(y);
    const left = Number(node.getAttribute("x")) + px - this.left - at(this.group.whole, x) * (this.right - this.left);
    const base = Number(node.getAttribute("y")) + py - this.bottom + at(this.wholeY, y) * (this.bottom - this.top);
    const wide = 0.64 * 12 * node.textContent.length;
    node.setAttribute("x", clamp(left, this.left + 4, Math.max(this.left + 4, this.right - wide)));
    node.setAttribute("y", clamp(base, this.top + 12, this.bottom - 4));
    node.style.display = this.inside(px, py) ? "" : "none";
  }
  inside(x, y) { return x >= this.left && x <= this.right && y >= this.top && y <= this.bottom; }
  // ends moves the labels to where the curves now end.
  ends() {
    const labels = $$(".ends > g", this.svg).map((g) => {
      const curve = this.svg.querySelector(`path[data-end="${g.dataset.end}"]`);
      const value = curve ? this.value(curve, this.group.view.hi) : null;
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
    const { cursor, view } = this.group;
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
      return from(this.group.view, clamp((x - this.left) / (this.right - this.left), 0, 1));
    };
    this.svg.addEventListener("pointermove", (event) => {
      const f = frequency(event);
      this.group.look(f);
      if (start === null) return;
      const [a, b] = [this.px(start), this.px(f)].sort((p, q) => p - q);
      drag = drag || make("rect", { class: "drag", y: this.top, height: this.bottom - this.top }, this.svg);
      drag.setAttribute("x", a);
      drag.setAttribute("width", b - a);
    });
    this.svg.addEventListener("pointerdown", (event) => {
      if (event.button === 0) start = frequency(event);
      this.group.look(frequency(event));
    });
    const end = (event) => {
      if (drag) drag.remove();
      if (start !== null && drag && event.type === "pointerup") {
        const [lo, hi] = [start, frequency(event)].sort((p, q) => p - q);
        if (this.px(hi) - this.px(lo) > 12) this.group.zoomTo(lo, hi);
      }
      start = drag = null;
    };
    this.svg.addEventListener("pointerup", end);
    this.svg.addEventListener("pointercancel", end);
    this.svg.addEventListener("pointerleave", end);
    this.svg.addEventListener("dblclick", () => this.group.all());
  }
}

const interpolate = (x, y, f) => {
  if (!x || !y || !x.length || f < x[0] || f > x[x.length - 1]) return null;
  let a = 0, b = x.length - 1;
  while (b - a > 1) { const m = (a + b) >> 1; if (x[m] <= f) a = m; else b = m; }
  if (y[a] == null || y[b] == null) return null;
  return y[a] + (y[b] - y[a]) * (x[b] === x[a] ? 0 : (f - x[a]) / (x[b] - x[a]));
};

// Figures are drawings that share their frequencies. told is called once the cursor has
// moved or another range is shown.
export class Figures {
  constructor(svgs, columns, told) {
    this.columns = columns;
    this.told = told;
    this.off = new Set();
    this.whole = axis(svgs[0].dataset.x);
    const crop = svgs[0].dataset.crop?.split(" ").map(Number);
    this.crop = crop ? { lo: crop[0], hi: crop[1] } : null;
    this.view = { ...this.whole };
    this.cursor = from(this.view, 0.75);
    this.figures = svgs.map((svg) => new Figure(svg, this));
  }
  get isWhole() { return ["kind", "lo", "hi"].every((k) => this.view[k] === this.whole[k]); }

  draw() {
    for (const f of this.figures) f.draw();
    this.told();
  }
  // look puts the cursor at a frequency.
  look(f) {
    this.cursor = f;
    for (const one of this.figures) if (one.line) one.mark();
    this.told();
  }
  // share is where the cursor is on the axis, from 0 to 1.
  get share() { return clamp(at(this.view, this.cursor), 0, 1); }
  set share(p) { this.look(from(this.view, p)); }

  zoomTo(lo, hi) {
    const { view, whole } = this;
    lo = Math.max(lo, whole.lo); hi = Math.min(hi, whole.hi);
    if (!(hi / lo > 1.02)) return;
    this.view = { kind: view.kind, lo, hi };
    for (const end of ["lo", "hi"]) {
      if (Math.abs(Math.log(this.view[end] / whole[end])) < 1e-6) this.view[end] = whole[end];
    }
    this.cursor = clamp(this.cursor, lo, hi);
    this.draw();
  }
  // zoom by a factor of the axis length about the cursor.
  zoom(factor) {
    const p = at(this.view, this.cursor);
    this.zoomTo(from(this.view, p - p * factor), from(this.view, p + (1 - p) * factor));
  }
  all() { this.zoomTo(this.whole.lo, this.whole.hi); }
  cropped() { if (this.crop) this.zoomTo(this.crop.lo, this.crop.hi); else this.all(); }
  linear(on) {
    this.view.kind = on ? "lin" : "log";
    this.draw();
  }
  // key does what a key asks for at the cursor's slider; false: nothing.
  key(key) {
    const does = { "+": () => this.zoom(0.5), "=": () => this.zoom(0.5), "-": () => this.zoom(2), 0: () => this.all() };
    does[key]?.();
    return key in does;
  }
  hide(root) {
    for (const node of $$("[data-group]", root)) node.classList.toggle("off", this.off.has(node.dataset.group));
  }
  // column is a column's value at the cursor; null: there is none.
  column(x, y) { return interpolate(this.columns[x], this.columns[y], this.cursor); }
}

export const hertz = (f) => f >= 1000 ? (f / 1000).toPrecision(4) + " kHz" : f.toPrecision(4) + " Hz";
export const decibel = (v) => v.toFixed(2).replace("-", "−") + " dB";
export const degrees = (v) => v.toFixed(1).replace("-", "−") + "°";
