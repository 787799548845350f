// soles.js owns the two big soles and the wear gauge between them: the sole is the form. Tap a zone, tap a grade, and
// the next unread zone is waiting.

import { byId, draw, html, key } from "./dom.js";
import { column } from "./columns.js";
import { CANT, built, cantReason, get, isCant, nextZone, openMidfoot, set } from "./reading.js";
import { OUTLINE, POINT, SHAPE, WIDTH, ZONES, edgeOf, neighbour, partOf, zoneId } from "./sole.js";
import { capital, t } from "./words.js";

const isGrade = (v) => typeof v === "number";

// zoneWord says a zone: right toe, inner.
export const zoneWord = (shoe, zone) => t("zone", { shoe: t(`shoe.${shoe}`), part: t(`part.${partOf(zone)}`), edge: t(`edge.${edgeOf(zone)}`) });

const hasEdge = (r, shoe, zone) => Boolean(r[shoe].edge?.includes(zone));

function state(bench, shoe, zone) {
  const v = bench.reading[shoe][zone];
  if (built(bench.asNew, zone)) return { v, mark: "a", say: t("zone.built") };
  if (isCant(v)) return { v, mark: "c", say: t("zone.cant", { why: t(`cant.${cantReason(v)}`) }) };
  if (!isGrade(v)) return { v, mark: "x", say: t("zone.unread") };
  return { v, mark: v, say: `${v} ${t(`grade.${v}`)}${hasEdge(bench.reading, shoe, zone) ? `, ${t("edge")}` : ""}` };
}

// The drawing is stretched to the room there is; text is squeezed back by the same measure.
const squeeze = { left: 1, right: 1 };

// fitSoles measures the room. It is for when that has changed: to ask in the middle of drawing has the whole page laid
// out each time.
export function fitSoles() {
  for (const shoe of Object.keys(squeeze)) {
    const svg = byId(`sole-${shoe}`), { width, height } = svg.getBoundingClientRect(), box = svg.viewBox.baseVal;
    if (width && height) squeeze[shoe] = Math.round((height / box.height) / (width / box.width) * 1000) / 1000;
  }
}

function zoneMarkup(bench, shoe, zone, k) {
  const { v, mark, say } = state(bench, shoe, zone), d = SHAPE[shoe][zone], [x, y] = POINT[shoe][zone];
  const active = bench.at?.shoe === shoe && bench.at?.zone === zone, edge = hasEdge(bench.reading, shoe, zone);
  // When all zones are read and none is picked, the first is still the way in for the keyboard.
  const door = active || (!bench.at && shoe === "left" && zone === ZONES.find((z) => !built(bench.asNew, z)));
  const depth = bench.reading[shoe][`${zone}_mm`], worn = isGrade(v) && v > 0;
  const under = [edge && t("edge"), isGrade(depth) && t("mm", { n: depth })].filter(Boolean);
  return html`<g class="spot" id="${zoneId(shoe, zone)}" data-zone="${zoneId(shoe, zone)}" data-k="z-${shoe}-${zone}" data-act="zone" data-v="${shoe},${zone}" role="button" tabindex="${door ? 0 : -1}" aria-pressed="${active}"${mark === "a" ? html` aria-disabled="true"` : ""} aria-label="${capital(zoneWord(shoe, zone))}: ${say}">
<path class="zone g${mark}" d="${d}"/>${mark === "a" ? html`<path class="built" d="${d}"/>` : ""}${mark === "c" ? html`<path class="cant" d="M${x - 13} ${y - 13}l26 26m0 -26l-26 26"/>` : ""}${worn ? html`<path class="hatch" fill="url(#hatch${v})" d="${d}"/>` : ""}
<path class="ring under" d="${d}"/><path class="ring over" d="${d}"/>
<g transform="translate(${x} ${y}) scale(${k} 1)">${worn ? html`<circle class="disc g${v}" r="13"/>` : ""}${worn && under.length ? html`<rect class="disc g${v}" x="-24" y="9" width="48" height="${18 * under.length}" rx="3"/>` : ""}
${mark === "a" ? html`<text class="built-word g-text" y="-4">${t("zone.built.1")}<tspan x="0" dy="17">${t("zone.built.2")}</tspan></text>` : ""}${isGrade(v) ? html`<text class="digit on${v}" y="7">${v}</text>` : ""}${under.map((word, i) => html`<text class="under${isGrade(v) ? ` on${v}` : ""}" y="${24 + 17 * i}">${word}</text>`)}</g></g>`;
}

function drawShoe(bench, shoe) {
  const svg = byId(`sole-${shoe}`), k = squeeze[shoe];
  const X = (x) => (shoe === "left" ? x : WIDTH - x), way = shoe === "left" ? 1 : -1;
  const order = [...ZONES].sort((a, b) => (bench.at?.shoe === shoe ? (a === bench.at.zone) - (b === bench.at.zone) : 0));
  draw(svg, html`<path class="rim" d="${OUTLINE[shoe]}"/>${ZONES.map((z) => html`<path class="halo" data-act="zone" data-v="${shoe},${z}" d="${SHAPE[shoe][z]}"/>`)}${order.map((z) => zoneMarkup(bench, shoe, z, k))}
<g transform="translate(${X(38)} 292) scale(${k} 1)"><text class="edge-label">${t("inner-edge.1")}<tspan x="0" dy="16">${t("inner-edge.2")}</tspan></text></g>
<path d="M${X(75)} 285h${15 * way}M${X(75)} 299h${15 * way}" class="notch"/>
<path d="M${X(60)} 292L${X(72)} 292m${-5 * way} -4l${5 * way} 4l${-5 * way} 4" class="arrow"/>`);
}

const GRADES = column("heel_medial").words;

function drawGauge(bench) {
  const { at, reading } = bench, v = at ? get(reading, at.shoe, at.zone) : undefined;
  draw(byId("zone-name"), at ? capital(zoneWord(at.shoe, at.zone)) : t("zones.read"));
  byId("zone-how").setAttribute("aria-expanded", bench.help === "zones");
  draw(byId("steps"), bench.zoneAsking
    ? CANT.map((why) => html`<button class="step" type="button" data-k="zc-${why}" data-act="zone-cant" data-v="${why}" aria-pressed="${v === `cant:${why}`}">${t(`cant.${why}`)}</button>`)
    : GRADES.map((_, g) => html`<button class="step g${g}" type="button" data-k="g-${g}" data-act="grade" data-v="${g}" aria-pressed="${v === g}">${g > 0 ? html`<svg aria-hidden="true"><rect class="hatch" width="100%" height="100%" fill="url(#hatch${g})"/></svg>` : ""}<b>${g}</b><span>${t(`grade.${g}`)}</span></button>`));
  const shoe = at?.shoe ?? "right", open = openMidfoot(reading, bench.asNew, shoe).length;
  draw(byId("gauge-keys"), html`<div class="pairkeys">${key({ k: "edge", act: "edge", text: t("edge-note"), state: at ? hasEdge(reading, at.shoe, at.zone) : false, off: !at || isCant(v) })}${key({ k: "cantzone", act: "zone-ask", text: capital(t("cant-read")), state: Boolean(bench.zoneAsking) || isCant(v), quiet: true, off: !at })}</div>${key({ k: "fill", act: "fill", text: t(open ? "fill" : "fill.done", { Shoe: capital(t(`shoe.${shoe}`)) }), off: !open })}`);
}

export function drawSoles(bench) {
  drawShoe(bench, "left");
  drawShoe(bench, "right");
  drawGauge(bench);
}

// step goes on to the next unread zone, or leaves the soles when there is none.
function step(bench) {
  const next = nextZone(bench.reading, bench.asNew, bench.at);
  if (next) bench.at = next;
  else bench.leaveSoles();
}

export const acts = {
  zone(bench, v) {
    const [shoe, zone] = v.split(",");
    if (built(bench.asNew, zone)) return;
    bench.at = { shoe, zone };
    bench.zoneAsking = false;
  },
  grade(bench, v) {
    if (!bench.at) return;
    set(bench.reading, bench.at.shoe, bench.at.zone, Number(v));
    bench.zoneAsking = false;
    step(bench);
  },
  "zone-ask"(bench) { bench.zoneAsking = !bench.zoneAsking; },
  "zone-cant"(bench, why) {
    set(bench.reading, bench.at.shoe, bench.at.zone, `cant:${why}`);
    setEdge(bench.reading, bench.at, false);
    bench.zoneAsking = false;
    step(bench);
  },
  edge(bench) { if (bench.at) setEdge(bench.reading, bench.at, !hasEdge(bench.reading, bench.at.shoe, bench.at.zone)); },
  fill(bench) {
    const shoe = bench.at?.shoe ?? "right";
    for (const zone of openMidfoot(bench.reading, bench.asNew, shoe)) {
      set(bench.reading, shoe, zone, 0);
      bench.ticket.filled = [...new Set([...(bench.ticket.filled ?? []), `${shoe} ${zone}`])];
    }
    if (bench.at && get(bench.reading, bench.at.shoe, bench.at.zone) !== undefined) step(bench);
  },
};

function setEdge(r, { shoe, zone }, on) {
  const rest = (r[shoe].edge ?? []).filter((z) => z !== zone);
  const edge = ZONES.filter((z) => rest.includes(z) || (on && z === zone));
  set(r, shoe, "edge", edge.length ? edge : undefined);
}

// zoneKey answers the keyboard on the soles: 0–4 grade, e edge, arrows move. It reports whether it did.
export function zoneKey(bench, event) {
  if (/^[0-4]$/.test(event.key)) acts.grade(bench, event.key);
  else if (event.key === "e") acts.edge(bench);
  else if (event.key.startsWith("Arrow") && bench.at) {
    let next = bench.at;
    do next = neighbour(next.shoe, next.zone, event.key); while (next && built(bench.asNew, next.zone));
    if (!next) return false;
    bench.at = next;
    bench.zoneAsking = false;
    bench.focusZone = true;
  } else return false;
  return true;
}
