// Proposals of names, and the command line that does what the page does.

// valueCode is a part's value as it may stand in a name: "470p 1%" is "470",
// "2.2n" is "2n2", "100k" is "100k".
export function valueCode(text, base) {
  const word = String(text).trim().replace(/^([\d.]+)\s+(?=[a-zA-Zµμ])/, "$1").split(/[\s,@;]+/)[0].replace(/(?:F|farad|ohm|Ω|R(?=$))$/i, "");
  const found = /^(\d+)(?:[.](\d+))?\s*([a-zA-Zµμ]?)(\d*)$/.exec(word);
  if (!found) return "";
  const [, whole, decimals = "", prefix, after] = found;
  const letter = prefix.replace(/[µμ]/, "u");
  const rest = (decimals + after).replace(/0+$/, "");
  if (rest) return whole + (letter || "r") + rest;
  return whole + (letter === base ? "" : letter);
}

// proposeTake names a take after what is clipped on: "bare", "c470", "r100k";
// a number behind it where the name is taken; nothing for a value that is none.
export function proposeTake(load, taken = []) {
  let stem = "bare";
  if (load.kind !== "bare") {
    const code = valueCode(load.value, load.kind === "c" ? "p" : "");
    if (!code) return "";
    stem = load.kind + code;
  }
  const used = new Set(taken.map((name) => name.toLowerCase()));
  if (!used.has(stem)) return stem;
  for (let n = 2; ; n++) if (!used.has(`${stem}-${n}`)) return `${stem}-${n}`;
}

// proposeFolder makes a folder's name of a coil's: letters, digits and -.
export function proposeFolder(name) {
  const plain = String(name).normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase()
    .replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 40).replace(/-+$/, "");
  return plain || "coil";
}

// shellWord quotes a word for a POSIX shell where it needs it.
export function shellWord(text) {
  const word = String(text);
  if (/^[A-Za-z0-9_@%+=:,./-]+$/.test(word)) return word;
  if (/^[^"$`\\!\n]*$/.test(word)) return `"${word}"`;
  return `'${word.replaceAll("'", "'\\''")}'`;
}

// commandLine is the line that does the same in a terminal.
export function commandLine(command, dirs, options = {}) {
  const words = ["coilsweep", command, ...[dirs].flat().map((d) => shellWord(d.startsWith("-") ? "./" + d : d))];
  for (const [name, value] of Object.entries(options)) {
    if (value === "" || value === null || value === undefined || value === false) continue;
    for (const one of [value].flat()) {
      if (one === true) words.push("--" + name);
      else words.push(String(one).startsWith("-") ? `--${name}=${shellWord(one)}` : `--${name} ${shellWord(one)}`);
    }
  }
  return words.join(" ");
}
