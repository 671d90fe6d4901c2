// Small hands for the document. Text always goes in as text.
import { visible } from "./format.js";

export const $ = (selector, root = document) => root.querySelector(selector);
export const $$ = (selector, root = document) => [...root.querySelectorAll(selector)];
export const byID = (id) => document.getElementById(id);

// el makes an element. Attributes: "class", "for", data-…; a function is a
// listener; true sets, false and null leave out. Children: nodes or text.
export function el(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [k, v] of Object.entries(attributes)) {
    if (typeof v === "function") node.addEventListener(k, v);
    else if (v === true) node.setAttribute(k, "");
    else if (v !== false && v !== null && v !== undefined) node.setAttribute(k, v);
  }
  node.append(...children.flat().filter((c) => c !== null && c !== undefined && c !== false));
  return node;
}

// name shows a name that somebody gave: isolated from the direction of the
// text around it, without characters that turn or hide text.
export function name(text) {
  return el("bdi", {}, visible(text));
}

export function fill(node, ...children) {
  node.replaceChildren(...children.flat().filter((c) => c !== null && c !== undefined && c !== false));
  return node;
}

// say sets text only where it changed, so that nothing is read out twice.
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

export function show(node, shown) {
  if (node.hidden === shown) node.hidden = !shown;
}

export function list(items, attributes = {}) {
  return el("ul", attributes, items.map((item) => el("li", { dir: "auto" }, item instanceof Node ? item : visible(item))));
}

// figures parses drawings of the program, one or several behind each other.
// What could run or fetch is taken out, though the page's policy forbids it as
// well; ids become unique, since a drawing may be shown in two places.
let drawings = 0;
const small = (svg) => Number(svg.getAttribute("width")) <= 480;
export function figures(svgText) {
  if (!svgText) return [];
  const text = svgText.replace(/<svg(?![^>]*\sxmlns=)/g, '<svg xmlns="http://www.w3.org/2000/svg"');
  const root = new DOMParser().parseFromString(`<drawings>${text}</drawings>`, "application/xml").documentElement;
  if (root.nodeName !== "drawings") return [];
  return [...root.children].filter((node) => node.localName === "svg").map((svg) => {
    const mark = `d${++drawings}-`;
    for (const node of [svg, ...svg.querySelectorAll("*")]) {
      if (/^(script|foreignObject|style|a|use|image|animate.*|set)$/i.test(node.localName)) {
        node.remove();
        continue;
      }
      for (const { name: attribute, value } of [...node.attributes]) {
        if (/^on|^style$|href$/i.test(attribute)) node.removeAttribute(attribute);
        else if (attribute === "id") node.id = mark + value;
        else if (/^aria-(labelledby|describedby)$/.test(attribute)) node.setAttribute(attribute, value.split(/\s+/).map((id) => mark + id).join(" "));
        else if (value.includes("url(#")) node.setAttribute(attribute, value.replaceAll("url(#", `url(#${mark}`));
      }
    }
    // Shown in the one width that fits: the classes for both are not needed.
    svg.classList.remove("w", "n");
    const drawing = document.importNode(svg, true);
    // A little larger than drawn, so that text keeps its size.
    if (small(svg)) drawing.style.maxWidth = `${1.1 * Number(svg.getAttribute("width"))}px`;
    return drawing;
  });
}

// fitting is the drawing for the width that a place has.
export const fitting = (place, wide, slim) => slim && place.clientWidth < 560 ? slim : wide;

export const narrow = () => window.matchMedia("(max-width: 640px)").matches;

// draw puts drawings into a place, or nothing.
export function draw(place, svgText) {
  const all = figures(svgText);
  place.classList.toggle("several", all.length > 1 && all.every(small));
  fill(place, all);
  show(place, all.length > 0);
}

// missing lists what is missing, why it matters and how to get it.
export function missing(place, items = []) {
  show(place, items.length > 0);
  fill(place, el("h3", {}, "Still missing"), el("dl", { class: "missing" }, items.map((item) => el("div", {},
    el("dt", {}, visible(item.what)),
    item.why ? el("dd", {}, visible(item.why)) : null,
    item.how ? el("dd", { class: "how" }, visible(item.how)) : null))));
}

let spoken = 0;
// announce reads a sentence out to a screen reader.
export function announce(text) {
  const place = byID("announced");
  // The same sentence twice is news twice.
  place.textContent = visible(text) + (spoken++ % 2 ? "\u00a0" : "");
}
