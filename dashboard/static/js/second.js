// second.js owns the second reading of a pair, blind: how somebody else begins one, and what it says beside the first.
// Whether they agree is worked out, check by check, never typed.

import { newTicket } from "./begin.js";
import { column, more, sheet, zones } from "./columns.js";
import { html, key } from "./dom.js";
import { checkName } from "./findings.js";
import { uuidv7 } from "./ids.js";
import { handOn } from "./place.js";
import { SHOES, get, isCant, set } from "./reading.js";
import { tickets } from "./shelf.js";
import { capital, clock, t, word } from "./words.js";

// What the second reader is told of the pair: which it is, and nothing that was read.
const TOLD = ["store", "pair_ref", "brand", "model", "version", "size_label"];

// second begins a second reading of a ticket or a stored reading by staff, and gives the bench to somebody else, who
// signs in to it. It reports whether it could: without a line nobody can sign in.
export async function second({ id, reading, model, asNew }, staff, context) {
  const begun = (await tickets.all()).find((ticket) => ticket.of?.id === id && ticket.state === "open");
  const known = Object.fromEntries(TOLD.filter((name) => name in reading).map((name) => [name, reading[name]]));
  const ticket = begun ?? { ...newTicket(uuidv7(), "blind", context, { known }), model, asNew, of: { id, staff } };
  if (!begun) await tickets.put(ticket);
  return handOn(`/bench/${ticket.id}`);
}

// What two readers can say alike: words and grades that tell of wear. Degrees never fall on the same tenth.
const OWN = new Set(["insert", "flex", "torsion"]);
const alike = [...zones.map(column), ...sheet, ...more].filter(({ name, kind }) => kind !== "measure" && !OWN.has(name));

// compare holds two readings against each other, over the checks that both read: how many, how many they read alike,
// and where they differ, { name, shoe, mine, theirs }.
export function compare(mine, theirs) {
  let both = 0;
  const differ = [], read = (v) => v !== undefined && !isCant(v);
  for (const { name, pair } of alike) {
    for (const shoe of pair ? ["pair"] : SHOES) {
      const a = get(mine, shoe, name), b = get(theirs, shoe, name);
      if (!read(a) || !read(b)) continue;
      both++;
      if (a !== b) differ.push({ name, shoe, mine: a, theirs: b });
    }
  }
  return { both, same: both - differ.length, differ };
}

// bring looks whether somebody has read the ticket's pair a second time on this tablet.
export async function bring(bench) {
  const { ticket } = bench;
  const other = ticket.state === "open" && (await tickets.all()).find((x) => x.of?.id === ticket.id && x.state !== "open");
  if (!other) return;
  ticket.beside = { by: other.by, reading: other.reading };
  bench.changed();
}

// noteShown keeps who was shown a ticket on this tablet, and when first: its verdict is always in sight.
export function noteShown(ticket, { who }) {
  if (who && !ticket.of && ticket.state === "open") ticket.shown = { [who.code]: new Date().toISOString(), ...ticket.shown };
}

// bringSaw finds out whether who is at the bench was shown what the first reader found, on this tablet or by the
// server, and when: then it is somebody else's to read.
export async function bringSaw(bench) {
  const { ticket: { of, state }, context: { who } } = bench;
  if (!of || state !== "open" || !who) return;
  const answer = await fetch(`/api/v1/inspections/${of.id}/seen`).catch(() => null);
  const at = (await tickets.get(of.id))?.shown?.[who.code] ?? (answer?.ok ? (await answer.json()).seen_at : undefined);
  bench.saw = at && new Date(at) <= bench.readAt() ? clock(new Date(at)) : null;
  if (bench.saw) bench.say(t("blind.saw", { at: bench.saw }));
  bench.redraw();
}

// derive writes into the reading what the second one says: that it agrees, or on which checks it differs.
export function derive({ beside, reading }) {
  if (!beside) return;
  const { both, differ } = compare(reading, beside.reading), on = [...new Set(differ.map((d) => d.name))].filter((name) => column(name).check);
  set(reading, "pair", "second_reader", beside.by);
  set(reading, "pair", "second_says", both ? (differ.length ? "differs" : "agrees") : undefined);
  set(reading, "pair", "second_on", on.length ? on : undefined);
}

const value = (name, v) => (column(name).kind === "side" ? word(column(name).words[v + 2]) : word(String(v)));

// besideRows says what the second reading says beside the first.
export function besideRows({ beside, reading }) {
  const { both, same, differ } = compare(reading, beside.reading);
  return html`<p><b>${t("blind.agrees", { who: beside.by, same, both })}</b></p>
${differ.length ? html`<ul class="differ">${differ.map(({ name, shoe, mine, theirs }) => html`<li>${shoe === "pair" ? checkName(name) : t("of-shoe", { shoe: capital(t(`shoe.${shoe}`)), what: checkName(name).toLowerCase() })}: ${t("blind.differs", { mine: value(name, mine), theirs: value(name, theirs) })}</li>`)}</ul>` : ""}`;
}

// blindRows is the end of a second reading: there is nothing to give and nowhere to go.
export const blindRows = ({ ticket }) => html`<div><h2 class="end">${t("blind.head")}</h2><p>${t("blind.note", { who: ticket.of.staff })}</p></div>`;

export const secondKey = () => key({ k: "second-blind", act: "second-blind", text: t("blind.begin"), note: t("blind.begin.note") });

export const acts = {
  // second-blind gives the bench to a second reader.
  async "second-blind"(bench) {
    const { ticket, context } = bench;
    if (!await second(ticket, context.who?.code, context)) bench.say(t("blind.line"));
  },
};
