// Numbers and names as text, by the rules of the reports: two digits of U95,
// the value to the same place, a true minus sign.

const PREFIXES = { "-15": "f", "-12": "p", "-9": "n", "-6": "µ", "-3": "m", 0: "", 3: "k", 6: "M", 9: "G" };

// exponentOf is the decimal exponent of x after rounding to so many digits.
function exponentOf(x, digits) {
  return x === 0 ? 0 : Number(x.toExponential(digits - 1).split("e")[1]);
}

function powerOf(exponent) {
  return Math.max(-15, Math.min(9, 3 * Math.floor(exponent / 3)));
}

function fixed(x, power, decimals) {
  const scaled = Number(x + "e" + -power) || x / 10 ** power;
  if (decimals >= 0) return scaled.toFixed(Math.min(decimals, 20));
  const unit = 10 ** -decimals;
  return (Math.round(scaled / unit) * unit).toFixed(0);
}

const withMinus = (text) => text.replaceAll("-", "−");

// With a space that does not break between number and unit.
const suffixed = (number, suffix) => suffix ? number + "\u00a0" + suffix : number;

// Ratios and decibels carry no SI prefix.
const prefixed = (unit) => unit !== "" && unit !== "dB" && unit !== "°C";

// digitsDownTo is how many digits x needs to reach the second one of its
// uncertainty.
function digitsDownTo(x, u) {
  if (x === 0 || !(u > 0)) return 4;
  const last = Math.floor(Math.log10(u)) - 1;
  return Math.min(7, Math.max(2, Math.floor(Math.log10(Math.abs(x))) - last + 1));
}

// uneven tells of a quantity whose interval is not even about its value.
export const uneven = (q) => Boolean(q.low || q.high);

// parts of a known quantity: {value, spread, unit}; spread is "" without U95.
export function quantityParts(q, unit) {
  const x = q.value, u95 = q.U95;
  if (uneven(q)) {
    const digits = digitsDownTo(x, (q.high - q.low) / 2);
    return { value: plain(x, unit, digits), spread: `${plain(q.low, unit, digits)} … ${plain(q.high, unit, digits)}`, unit: "" };
  }
  if (!(u95 > 0) || !Number.isFinite(u95)) {
    return { value: plain(x, unit, 4), spread: "", unit: "" };
  }
  const place = exponentOf(u95, 2) - 1;
  let power = 0;
  if (prefixed(unit)) {
    let e = exponentOf(u95, 2);
    if (x !== 0) e = Math.max(e, exponentOf(x, Math.min(17, Math.max(1, exponentOf(x, 17) - place + 1))));
    power = powerOf(e);
  }
  const decimals = power - place;
  return {
    value: withMinus(fixed(x, power, decimals)),
    spread: fixed(u95, power, decimals),
    unit: (PREFIXES[power] ?? "") + unit,
  };
}

// quantity is "2.412 ± 0.024 H", or "?" where it cannot be known.
export function quantity(q, unit) {
  if (!q || q.value === null || q.value === undefined) return "?";
  const p = quantityParts(q, unit);
  if (!p.spread) return p.value;
  if (uneven(q)) return `${p.value} (${p.spread})`;
  return suffixed(`${p.value} ± ${p.spread}`, p.unit);
}

// brief is a quantity at a glance: three digits, fewer where U95 holds fewer.
export function brief(q, unit) {
  if (!q || q.value === null || q.value === undefined) return "?";
  if (unit === "dB") return decibels(q.value);
  return plain(q.value, unit, q.U95 > 0 ? Math.min(3, digitsDownTo(q.value, q.U95)) : 3);
}

// plain is x alone to so many significant digits, with SI prefix.
export function plain(x, unit, digits = 3) {
  if (x === null || x === undefined || Number.isNaN(x)) return "?";
  if (!Number.isFinite(x)) return x < 0 ? "−∞" : "∞";
  if (x === 0) return suffixed("0", unit);
  const e = exponentOf(x, digits);
  const power = prefixed(unit) ? powerOf(e) : 0;
  return suffixed(withMinus(fixed(x, power, digits - 1 - (e - power))), (PREFIXES[power] ?? "") + unit);
}

export function decibels(x, unit = "dB") {
  if (x === null || x === undefined || !Number.isFinite(x)) return "–";
  return withMinus(x.toFixed(1)) + "\u00a0" + unit;
}

// visible makes outside text harmless on one line: control and
// direction-changing characters become a replacement character.
export function visible(text) {
  return String(text ?? "")
    .replace(/[\t\n]/g, " ")
    .replace(/[\u0000-\u001f\u007f-\u009f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff]/g, "\ufffd");
}

// typeset is a sentence of the program with true minus signs.
export function typeset(text) {
  return visible(text).replace(/(^|[\s(±])-(?=\d)/g, "$1−");
}

// since is how long ago something was, for somebody who looks up from the bench.
export function since(date, now = Date.now()) {
  const at = Date.parse(date);
  if (Number.isNaN(at)) return "";
  const s = Math.max(0, (now - at) / 1000);
  if (s < 60) return "just now";
  if (s < 3600) return `${Math.floor(s / 60)} min ago`;
  const d = new Date(at), today = new Date(now);
  const clock = `${String(d.getHours()).padStart(2, "0")}:${String(d.getMinutes()).padStart(2, "0")}`;
  const day = `${d.getFullYear()}-${String(d.getMonth() + 1).padStart(2, "0")}-${String(d.getDate()).padStart(2, "0")}`;
  return d.toDateString() === today.toDateString() ? clock : `${day} ${clock}`;
}

export function bytes(n) {
  if (!(n >= 0)) return "";
  if (n < 1000) return n + "\u00a0B";
  return plain(n, "B", 3);
}

export function plural(n, one, many = one + "s") {
  return `${n}\u00a0${n === 1 ? one : many}`;
}
