// Production: a serial number, one take, a verdict, and the next.
import * as api from "./api.js";
import { byID, el, fill, say } from "./dom.js";
import { Form, withValues } from "./form.js";
import { mayStart } from "./sound.js";
import { on, state, working } from "./state.js";

let form, under = null; // the coil that is being measured

export function start() {
  form = new Form(byID("lot-form"), measure);
  on(["coils"], () => {
    const node = byID("l-reference"), before = node.value, coils = state.coils?.coils ?? [];
    fill(node, el("option", { value: "" }, "limits.toml of the lot"), coils.map((id) => el("option", { value: id }, id)));
    node.value = coils.includes(before) ? before : "";
  });
  on(["ended"], judge);
}

const missing = (field, text) => Object.assign(new Error(text), { field });

async function measure({ reference, tolerance, lot, serial, redo }) {
  if (!reference && !lot) throw missing("reference", "Choose the coil that the others are judged by, or name a lot that has a limits.toml.");
  if (reference && !tolerance) throw missing("tolerance", "How far from it may a coil be? Write resonance_hz=3%, or 5% for all.");
  if (!lot) throw missing("lot", "Name the lot: its coils lie in a folder of that name.");
  const name = serial.replace(/[^A-Za-z0-9._-]/g, "-").replace(/^[.-]+|[.-]+$/g, "");
  if (!name) throw missing("serial", "Type or scan the serial number.");
  if (under || working()) throw new Error("A take is under way: wait for its end.");
  if (!(await mayStart())) return;
  const coil = `${lot}/${name}`, judged = { reference, tolerance: tolerance.split(",").map((one) => one.trim()).filter(Boolean) };
  await api.post("/api/judge", { lot, ...judged }); // whether there is something to judge by, before a coil is measured
  under = { coil, serial, ...judged };
  try {
    if (!(state.coils?.coils ?? []).includes(coil)) {
      await api.post("/api/coils", { coil, options: { name: serial, serial, lot } });
    }
    await api.post("/api/takes", { coil, options: withValues({ take: "bare", redo: redo ? "true" : "" }) });
  } catch (error) {
    under = null;
    throw error.exists ? missing("serial", `${serial} is measured already.`) : error;
  }
  say(byID("lot-verdict"), `${serial} is being measured …`);
}

async function judge(ended) {
  if (!under || ended?.coil !== under.coil || ended.kind !== "take" || !ended.fresh) return;
  const { coil, serial, reference, tolerance } = under;
  under = null;
  let said = `${serial}  not usable: ${ended.text}`, verdict = "fail";
  if (["done", "doubtful"].includes(ended.outcome)) {
    try {
      const answer = await api.post("/api/judge", { coil, reference, tolerance });
      [said, verdict] = [`${serial}  ${answer.line}`, answer.verdict];
    } catch (error) { said = `${serial}  not judged: ${error.message}`; }
  }
  say(byID("lot-verdict"), said);
  byID("lot-verdict").dataset.verdict = verdict;
  byID("lot-done").prepend(el("li", {}, said));
  const field = byID("l-serial");
  field.value = "";
  field.focus();
}
