// reading.js owns a reading as it is typed: the very JSON that is judged and stored. Absent means unread; "can't
// read" is an answer. It is pure: nothing here touches the page or the line.

import { column, needed, sheet, zones } from "./columns.js";
import { partOf } from "./sole.js";

export const SHOES = ["left", "right"];

export const isCant = (v) => typeof v === "string" && (v === "x" || v.startsWith("cant:"));
export const cantReason = (v) => (v === "x" ? "other" : v.slice("cant:".length));
export const CANT = ["wet", "dirty", "repaired", "other"];

// get and set read and write a column; shoe is left, right or pair. Setting undefined makes it unread again.
export const get = (r, shoe, name) => (shoe === "pair" ? r[name] : r[shoe][name]);
export function set(r, shoe, name, value) {
  const place = shoe === "pair" ? r : r[shoe];
  if (value === undefined || value === "") delete place[name];
  else place[name] = value;
}

const shoesOf = (name) => (column(name).pair ? ["pair"] : SHOES);

// built reports whether a model was made without rubber or pattern at a zone: nothing to grade there.
export const built = (asNew, zone) => Boolean(asNew?.built?.includes(zone));

// wanted lists every needed reading with its value, without the zones that are as built.
export function wanted(r, asNew) {
  return needed.flatMap((c) => shoesOf(c.name)
    .filter(() => !(c.kind === "grade" && built(asNew, c.name)))
    .map((shoe) => ({ shoe, name: c.name, value: get(r, shoe, c.name) })));
}

// leans reports whether a shoe's stand calls for a measured tilt; tilted whether its line is on the sheet.
const calls = new Set(["doubtful", "leans in", "leans out"]);
export const leans = (r, shoe) => calls.has(r[shoe].stand);
export const tilted = (r) => SHOES.filter((shoe) => leans(r, shoe) || r[shoe].tilt !== undefined);

// lines are the checks on the sheet: tilt only where a shoe calls for it.
export const lines = (r) => sheet.filter((c) => c.name !== "tilt" || tilted(r).length > 0);

// again names the column that holds the second try of a comparison, with shoes and hands swapped.
export const againOf = (name) => name.replace("_side", "_again");
export const needsAgain = (r, name) => Math.abs(r[name]) === 2;

// done reports whether nothing is left to tap on a line.
export function done(r, name) {
  if (name === "tilt") return tilted(r).every((shoe) => r[shoe].tilt !== undefined);
  if (column(name).kind === "side") return r[name] !== undefined && (!needsAgain(r, name) || r[againOf(name)] !== undefined);
  return shoesOf(name).every((shoe) => get(r, shoe, name) !== undefined);
}

// order is the way of the thumb over the soles: heel to toe on the left shoe, then on the right.
const order = SHOES.flatMap((shoe) => zones.map((zone) => ({ shoe, zone })));

// nextZone returns the next unread zone after one, going round, or null when all are read.
export function nextZone(r, asNew, from) {
  const at = from ? order.findIndex((o) => o.shoe === from.shoe && o.zone === from.zone) : -1;
  const round = [...order.slice(at + 1), ...order.slice(0, at + 1)];
  return round.find((o) => !built(asNew, o.zone) && r[o.shoe][o.zone] === undefined) ?? null;
}

// openMidfoot lists the midfoot zones of a shoe that nobody has read.
export const openMidfoot = (r, asNew, shoe) =>
  zones.filter((z) => partOf(z) === "mid" && !built(asNew, z) && r[shoe][z] === undefined);

// wearRead reports whether anything of the wear has been read, which is what comes before or after gait.
export const wearRead = (r) => SHOES.some((shoe) => Object.keys(r[shoe]).length > 0) || r.flex_side !== undefined || r.torsion_side !== undefined;

// wholeKM is the distance of a reading in whole km, as the engine reckons it; undefined where it is unknown.
export function wholeKM({ km, km_unit }) {
  if (km === undefined) return undefined;
  const tenths = Math.round(km * 10), perUnit = km_unit === "mi" ? 1_609_344 : 1_000_000;
  return Math.floor((tenths * perUnit + 5_000_000) / 10_000_000);
}

// mostWorn names the zone of a part that is worn more than every other, where there is one: where the thumb goes.
export function mostWorn(r, asNew, shoe, part) {
  const graded = zones.filter((z) => partOf(z) === part && !built(asNew, z) && typeof r[shoe][z] === "number");
  const top = Math.max(...graded.map((z) => r[shoe][z]));
  const worst = graded.filter((z) => r[shoe][z] === top);
  return worst.length === 1 ? worst[0] : undefined;
}
