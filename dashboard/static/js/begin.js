// begin.js owns how a ticket begins: empty, or with what is known of the pair from its slip.

import { pairRef, uuidv7 } from "./ids.js";
import { tickets } from "./shelf.js";

// newTicket is a ticket on which nothing has been read yet. known is what is known of the pair before.
export function newTicket(id, kind, context, known = {}) {
  const reading = { kind, store: context.store?.code, pair_ref: pairRef(), left: {}, right: {}, ...known };
  return { id, state: "open", started: new Date().toISOString(), model: null, asNew: null, reading };
}

// start puts a new ticket onto the shelf and goes to it.
export async function start(kind, context, known) {
  const ticket = newTicket(uuidv7(), kind, context, known);
  await tickets.put(ticket);
  location.assign(`/bench/${ticket.id}`);
}

// knownPair asks what is known of a pair by the reference on its slip: { known } to begin a ticket with, or { why }:
// "none" for a reference nobody knows, "line" where nobody could be asked, in which case the reference still stands.
export async function knownPair(ref) {
  try {
    const answer = await fetch(`/api/v1/pairs/${ref}`);
    if (answer.status === 404) return { why: "none" };
    if (!answer.ok) return { why: "line" };
    const pair = await answer.json(), known = { pair_ref: ref };
    for (const name of ["brand", "model", "version", "size_label", "runner", "batch", "bought_on"]) {
      if (pair[name]) known[name] = pair[name];
    }
    return { known };
  } catch {
    return { why: "line" };
  }
}
