// ledger.js owns the checks beside the soles: an index in which every check shows both its values, and below it the
// one check that is open, one row of keys a shoe. It is built from the table of columns.

import { byId, draw, html, key, radios } from "./dom.js";
import { column, depthOf, more, zones } from "./columns.js";
import { CANT, SHOES, againOf, built, cantReason, done, get, isCant, leans, lines, mostWorn, needsAgain, set, tilted } from "./reading.js";
import { helpKey } from "./help.js";
import { edgeOf, partOf } from "./sole.js";
import { tiltRow, tiltWords } from "./tilt.js";
import { zoneWord } from "./soles.js";
import { capital, has, t, word } from "./words.js";

// Tread depth is asked for at the zone that is picked on the sole, so its ten columns are one line.
const DEPTH = "depth";

// open names of the lines in the index, by panel.
export const index = (bench) => (bench.panel === "more" ? [...more.map((c) => c.name), DEPTH] : lines(bench.reading).map((c) => c.name));

const kindOf = (name) => (name === DEPTH ? DEPTH : name === "tilt" ? "tilt" : column(name).kind);

// value says what was read: a word, a measure, "can't: wet", or nothing yet.
function value(name, v) {
  if (v === undefined) return html`<i>${t("unread")}</i>`;
  if (isCant(v)) return html`<span>${t("cant-short", { why: t(`cant.${cantReason(v)}`) })}</span>`;
  const c = column(name);
  return html`<span>${c.kind === "measure" ? t("measured", { v, unit: c.unit }) : word(String(v))}</span>`;
}

function values(bench, name) {
  const r = bench.reading, needed = column(name)?.needed;
  switch (kindOf(name)) {
    case "tilt": return SHOES.map((shoe) => tiltWords(r, shoe));
    case DEPTH: {
      const n = SHOES.flatMap((shoe) => zones.filter((z) => r[shoe][depthOf(z)] !== undefined)).length;
      return html`<span class="both">${n ? t("depth.zones", { n }) : t("not-measured")}</span>`;
    }
    case "side": {
      const v = r[name];
      if (v === undefined || isCant(v)) return html`<span class="both">${value(name, v)}</span>`;
      const again = r[againOf(name)];
      return html`<span class="both">${word(column(name).words[v + 2])}${needsAgain(r, name) ? `, ${t(again === undefined ? "again.open" : `again.${again}`)}` : ""}</span>`;
    }
  }
  return SHOES.map((shoe) => {
    const v = r[shoe][name];
    return v === undefined && !needed && bench.panel === "more" ? html`<span class="none">–</span>` : value(name, v);
  });
}

function drawIndex(bench) {
  const names = index(bench);
  draw(byId("index"), names.map((name) => {
    const open = name === bench.line;
    return html`<button type="button" class="line" data-k="line-${name}" data-act="line" data-v="${name}" aria-expanded="${open}" aria-controls="open"><b>${t(`check.${name}`)}</b>${values(bench, name)}</button>`;
  }));
}

// reasonsRow takes the place of a row's keys while it is asked why a check can't be read.
const cantRow = (name, shoe, v) => html`${radios({ name: `${name}-${shoe}-why`, act: "cant", label: t("cant-why"), value: isCant(v) ? cantReason(v) : null, columns: CANT.length + 1,
  options: [...CANT.map((why) => ({ v: why, text: t(`cant.${why}`) })), { v: "back", text: t("back"), quiet: true }].map((o) => ({ ...o, v: `${name},${shoe},${o.v}`, state: isCant(v) && cantReason(v) === o.v })) })}`;

// rowLead is short: it stands in the narrow room before the keys.
const rowLead = (shoe) => html`<span class="lead">${t(`shoe.${shoe}.lead`)}</span>`;

// pressedAt is the key that says on which zone the thumb was, going round the zones of the part.
function pressedAt(bench, name, shoe) {
  const at = bench.reading[shoe][`${name}_at`], v = get(bench.reading, shoe, name);
  return key({ k: `${name}-${shoe}-at`, act: "press-at", v: `${name},${shoe}`, quiet: true, off: v === undefined || isCant(v), text: t("press.at"), note: at ? t(`edge.${edgeOf(at)}`) : "–", label: t("press.at.long", { shoe: t(`shoe.${shoe}`), at: at ? t(`edge.${edgeOf(at)}`) : "–" }) });
}

function wordRow(bench, name, shoe) {
  const c = column(name), v = get(bench.reading, shoe, name), press = name.startsWith("press_");
  if (bench.asking === `${name},${shoe}`) return html`<div class="row">${rowLead(shoe)}${cantRow(name, shoe, v)}</div>`;
  const options = c.words.map((w) => ({ v: `${shoe},${w}`, text: word(w), state: v === w }));
  if (c.cant) options.push({ v: `${shoe},cant`, text: isCant(v) ? t("cant-short", { why: t(`cant.${cantReason(v)}`) }) : t("cant-read"), state: isCant(v), quiet: true });
  const keys = radios({ name, act: "read", label: t("of-shoe", { shoe: capital(t(`shoe.${shoe}`)), what: t(`check.${name}`) }), options, columns: options.length });
  return html`<div class="row${press ? " pressed" : ""}">${rowLead(shoe)}${keys}${press ? pressedAt(bench, name, shoe) : ""}</div>`;
}

function sideRows(bench, name) {
  const c = column(name), v = bench.reading[name], again = againOf(name), off = !needsAgain(bench.reading, name);
  if (bench.asking === `${name},pair`) return html`<div class="row wide">${cantRow(name, "pair", v)}</div>`;
  return html`<div class="row wide">${radios({ name, act: "read", label: t(`check.${name}`), columns: 5, options: c.words.map((w, i) => ({ v: `pair,${i - 2}`, text: word(w), state: v === i - 2 })) })}</div>
<div class="row again"><span class="lead">${t("again.lead")}</span>${radios({ name: again, act: "read", label: t("again.lead"), columns: 3, options: [
    ...column(again).words.toReversed().map((w) => ({ v: `pair,${w}`, text: t(`again.key.${w}`), state: bench.reading[again] === w, off })),
    { v: `pair,cant`, text: isCant(v) ? t("cant-short", { why: t(`cant.${cantReason(v)}`) }) : t("cant-read"), state: isCant(v), quiet: true },
  ] })}</div>`;
}

// numberField is a line to write a measure on, between two keys that step it.
function numberField({ name, shoe, label, v, unit, step }) {
  return html`<div class="number"><label class="field"><span>${label}</span><input data-k="n-${name}-${shoe}" data-measure="${name},${shoe}" inputmode="decimal" autocomplete="off" value="${isCant(v) ? "" : v}"></label><span class="unit">${unit}</span>${key({ k: `less-${name}-${shoe}`, act: "step", v: `${name},${shoe},${-step}`, text: `− ${step}`, label: t("step.less", { label, step }) })}${key({ k: `more-${name}-${shoe}`, act: "step", v: `${name},${shoe},${step}`, text: `+ ${step}`, label: t("step.more", { label, step }) })}</div>`;
}

// Steps of the keys beside a measure, in its unit: what a hand can tell apart.
const STEPS = { "°": 5, "Shore A": 1, "Asker C": 1, mm: 0.5, N: 5 };

function measureRows(bench, name) {
  const c = column(name);
  return SHOES.map((shoe) => html`<div class="row">${rowLead(shoe)}${numberField({ name, shoe, label: t(`check.${name}`), v: bench.reading[shoe][name], unit: c.unit, step: STEPS[c.unit] })}</div>`);
}

function depthRow(bench) {
  const at = bench.at;
  if (!at) return html`<p class="note">${t("depth.pick")}</p>`;
  if (built(bench.asNew, at.zone)) return html`<p class="note">${t("zone.built")}</p>`;
  const name = depthOf(at.zone), c = column(name);
  return html`<div class="row wide">${numberField({ name, shoe: at.shoe, label: capital(zoneWord(at.shoe, at.zone)), v: bench.reading[at.shoe][name], unit: c.unit, step: STEPS[c.unit] })}</div><p class="note">${t("depth.pick")}</p>`;
}

function drawOpen(bench) {
  const name = bench.line, r = bench.reading;
  if (!name) { draw(byId("open"), html`<p class="note rest-note">${t(bench.panel === "more" ? "sheet.more-hint" : !index(bench).every((n) => done(r, n)) ? "sheet.pick" : bench.result?.how === "now" ? "sheet.again" : "sheet.done")}</p>`); return; }
  const rows = {
    word: () => SHOES.map((shoe) => wordRow(bench, name, shoe)),
    side: () => sideRows(bench, name),
    measure: () => measureRows(bench, name),
    tilt: () => tilted(r).map((shoe) => tiltRow(bench, shoe)),
    [DEPTH]: () => depthRow(bench),
  }[kindOf(name)]();
  const hint = `how.${name}`;
  draw(byId("open"), html`<header><h2>${t(`check.${name}`)}${has(hint) ? html` <small>${t(hint)}</small>` : ""}</h2>${helpKey(bench, name)}</header><div data-rows>${rows}</div>`);
}

export function drawLedger(bench) {
  byId("heads").hidden = bench.panel !== "checks";
  byId("index").classList.toggle("more", bench.panel === "more");
  drawIndex(bench);
  drawOpen(bench);
}

// advance closes a line when nothing is left to tap on it, and opens the next unread one.
function advance(bench, name) {
  if (done(bench.reading, name)) leave(bench, name);
  else bench.focus = rowAfter(bench, name);
}

// leave closes a line and opens the next unread one.
function leave(bench, name) {
  const names = index(bench), at = names.indexOf(name);
  const later = [...names.slice(at + 1), ...(bench.panel === "more" ? [] : names.slice(0, at))];
  bench.line = later.find((n) => n !== DEPTH && !done(bench.reading, n)) ?? null;
  bench.focus = bench.line ? firstKey(bench, bench.line) : "hand";
}

// firstKey is the key that the thumb or the keyboard meets first on a line: the least worn word.
function firstKey(bench, name) {
  switch (kindOf(name)) {
    case "word": return `${name}-left,${column(name).words[0]}`;
    case "side": return `${name}-pair,0`;
    case "tilt": return `tilt-${tilted(bench.reading)[0]}-photo`;
  }
  return null;
}

// rowAfter is the same for what is still open on a line that is half read.
function rowAfter(bench, name) {
  switch (kindOf(name)) {
    case "word": {
      const shoe = SHOES.find((s) => bench.reading[s][name] === undefined);
      return shoe && `${name}-${shoe},${column(name).words[0]}`;
    }
    case "side": return needsAgain(bench.reading, name) ? `${againOf(name)}-pair,yes` : null;
  }
  return null;
}

// enter opens the first unread line and puts the focus there, which is where the soles lead to.
export function enter(bench) {
  bench.line = index(bench).find((n) => n !== DEPTH && !done(bench.reading, n)) ?? null;
  bench.focus = bench.line && firstKey(bench, bench.line);
}

function store(bench, shoe, name, v) {
  set(bench.reading, shoe, name, v);
  if (name === "stand" && !leans(bench.reading, shoe)) for (const c of ["tilt", "tilt_u", "tilt_by", "tilt_n", "tilt_yaw"]) set(bench.reading, shoe, c, undefined);
  if (column(name).kind === "side" && !needsAgain(bench.reading, name)) set(bench.reading, "pair", againOf(name), undefined);
  if (name.startsWith("press_") && !name.endsWith("_at")) {
    set(bench.reading, shoe, `${name}_at`, v === undefined || isCant(v) ? undefined : bench.reading[shoe][`${name}_at`] ?? mostWorn(bench.reading, bench.asNew, shoe, name.slice("press_".length)));
  }
}

const lineOf = (name) => (name.endsWith("_again") ? name.replace("_again", "_side") : name);

export const acts = {
  line(bench, name) {
    bench.line = bench.line === name ? null : name;
    bench.asking = null;
  },
  later: leave, // a line that waits for a photo or a level holds nobody up
  read(bench, v) {
    const [name, shoe, ...rest] = v.split(","), data = rest.join(","), line = lineOf(name);
    if (data === "cant") { bench.asking = `${line},${shoe}`; bench.focus = `${line}-${shoe}-why-${line},${shoe},wet`; return; }
    const value = column(name).kind === "side" ? Number(data) : data;
    store(bench, shoe, name, get(bench.reading, shoe, name) === value ? undefined : value);
    bench.asking = null;
    if (get(bench.reading, shoe, name) !== undefined) advance(bench, line);
  },
  cant(bench, v) {
    const [, name, shoe, why] = v.split(",");
    bench.asking = null;
    if (why === "back") return;
    store(bench, shoe, name, `cant:${why}`);
    advance(bench, name);
  },
  "press-at"(bench, v) {
    const [name, shoe] = v.split(","), part = name.slice("press_".length);
    const round = [undefined, ...zones.filter((z) => partOf(z) === part)];
    set(bench.reading, shoe, `${name}_at`, round[(round.indexOf(bench.reading[shoe][`${name}_at`]) + 1) % round.length]);
  },
  step(bench, v) {
    const [name, shoe, by] = v.split(",");
    write(bench, name, shoe, String((Number(get(bench.reading, shoe, name)) || 0) + Number(by)));
  },
};

// write stores a measure as typed and reports whether it may stand there: a number within its column's bounds, to
// its smallest step. Empty is unread.
export function write(bench, name, shoe, text) {
  const c = column(name), typed = text.trim().replace(",", ".").replace("−", "-");
  if (typed === "") { set(bench.reading, shoe, name, undefined); return true; }
  const n = Number(typed), rounded = Math.round(n / c.step) * c.step;
  if (!Number.isFinite(n) || rounded < (c.min ?? 0) || rounded > c.max) return false;
  set(bench.reading, shoe, name, Number(rounded.toFixed(4)));
  return true;
}

