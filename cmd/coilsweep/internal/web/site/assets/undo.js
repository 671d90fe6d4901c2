// The last change of a file that this tab made, to be taken back while nobody has changed
// the file since: what else was written there meanwhile is not lost.
const changes = new Map();

// changing does work that changes a file, which is then as file() says: its text, and its
// checksum, or nothing where there is none.
export async function changing(name, file, work) {
  const before = file()?.text ?? "";
  await work();
  changes.set(name, { before, since: file()?.sha256 });
}

// before is what stood in a file that is now as told; undefined: nothing is to be taken back.
export function before(name, file) {
  const change = changes.get(name);
  return change && change.since === file?.sha256 && change.before !== file.text ? change.before : undefined;
}
