// begin.js owns how a ticket begins: empty, or with what is known of the pair from its slip.

import { asNewOf } from "./columns.js";
import { pairRef, uuidv7 } from "./ids.js";
import { tickets } from "./shelf.js";

// newTicket is a ticket on which nothing has been read yet. known is what is known of the pair before, model its
// record in the catalogue.
export function newTicket(id, kind, context, { known, model } = {}) {
  const reading = { kind, store: context.store?.code, pair_ref: pairRef(), left: {}, right: {}, ...known };
  return {
    id, state: "open", started: new Date().toISOString(), reading, known: Boolean(known),
    ...ofModel(model),
  };
}

// ofModel is what a ticket keeps of a record of the catalogue, or of none.
const ofModel = (record) => ({ model: record ? { id: record.model_id, category: record.category } : null, asNew: record ? asNewOf(record) : null });

// start puts a new ticket onto the shelf and goes to it.
export async function start(kind, context, pair) {
  const ticket = newTicket(uuidv7(), kind, context, pair);
  await tickets.put(ticket);
  location.assign(`/bench/${ticket.id}`);
}

// modelOf returns a model of the catalogue, or null where there is none or nobody can be asked.
async function modelOf(id) {
  const answer = id && await fetch(`/api/v1/shoe-models/${id}`);
  return answer?.ok ? answer.json() : null;
}

// modelNamed returns the catalogue's record of a reading's shoe, or null where it has none.
export async function modelNamed({ brand, model, version }) {
  if (!brand && !model) return null;
  const answer = await fetch(`/api/v1/shoe-models?${new URLSearchParams({ q: [brand, model, version].filter(Boolean).join(" ") })}`);
  if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).title ?? answer.statusText);
  return (await answer.json()).items.find((m) => m.brand === brand && m.model === model && (m.version ?? "") === (version ?? "")) ?? null;
}

// What of a stored reading is said anew when it is corrected.
const ANEW = ["inspection_id", "staff", "device", "advised", "given", "rules", "flags", "received_at", "amend_reason"];

// stored fetches a stored reading that stands, { id, reading, model, asNew } as a ticket has them, or says why not:
// "none" for one that is nobody's to touch, "line" where nobody could be asked.
export async function stored(id) {
  try {
    const answer = await fetch(`/api/v1/inspections/${id}`);
    if (answer.status >= 500) return { why: "line" };
    const old = answer.ok ? await answer.json() : { voided_at: true };
    if (old.voided_at) return { why: "none" };
    const record = await modelNamed(old);
    return { id, reading: { left: {}, right: {}, ...old }, ...ofModel(record) };
  } catch {
    return { why: "line" };
  }
}

// amend begins to correct a stored reading: a ticket that holds what was read and will take its place. It returns the
// ticket's id, the one that was begun before where there is one, or { why } as stored does.
export async function amend(id, context) {
  const begun = (await tickets.all()).find((ticket) => ticket.amends === id && ticket.state === "open");
  if (begun) return { id: begun.id };
  const { why, reading: old, model, asNew } = await stored(id);
  if (why) return { why };
  const known = { ...old, supersedes: id };
  for (const name of ANEW) delete known[name];
  const ticket = newTicket(uuidv7(), old.kind, context, { known });
  await tickets.put({ ...ticket, model, asNew, amends: id, given: old.given === old.advised ? undefined : old.given, judged: { rules: old.rules, verdict: old.advised } });
  return { id: ticket.id };
}

// openPairs lists the pairs of a runner that may come back, of one model where it is known: what a fitter chooses
// from, never what is matched in silence. Without a line there are none.
export async function openPairs(runner, model) {
  try {
    const answer = await fetch(`/api/v1/pairs?${new URLSearchParams({ runner, open: "true", ...(model ? { model } : {}) })}`);
    return answer.ok ? (await answer.json()).items : [];
  } catch {
    return [];
  }
}

// isAfter reports whether an instant lies after another.
export const isAfter = (a, b) => new Date(a) > new Date(b);

// newest is the last of a pair's readings that stands: neither void, nor amended, nor blind.
const newest = (all) => all.find((r) => !r.voided_at && r.kind !== "blind" && !all.some((o) => o.supersedes === r.inspection_id && !o.voided_at));

// knownPair asks what is known of a pair by the reference on its slip: { known, model } to begin a ticket with and the last reading that stands, or { why }:
// "none" for a reference nobody knows, "line" where nobody could be asked, in which case the reference still stands.
export async function knownPair(ref) {
  try {
    const answer = await fetch(`/api/v1/pairs/${ref}`);
    if (answer.status === 404) return { why: "none" };
    if (!answer.ok) return { why: "line" };
    const pair = await answer.json(), known = { pair_ref: pair.pair_ref }, last = pair.inspections[0] ?? {};
    for (const name of ["brand", "model", "version", "size_label", "runner", "batch", "bought_on"]) {
      if (pair[name] ?? last[name]) known[name] = pair[name] ?? last[name];
    }
    return { known, model: await modelOf(pair.model_id), last: newest(pair.inspections) };
  } catch {
    return { why: "line" };
  }
}
