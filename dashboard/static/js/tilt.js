// tilt.js owns the heel counter's tilt: four points on a photo from behind, placed by taps and keys, never dragged;
// or a value by level or by eye, with its uncertainty. Plus leans in (to the inner edge), minus out.

import { byId, draw, html, key } from "./dom.js";
import { attach, dropMeasured } from "./photo.js";
import { isCant, leans, set } from "./reading.js";
import { capital, t } from "./words.js";

const RAD = Math.PI / 180;

// What a tilt goes by, as in the engine. House values where no source stands.
const METHOD = { photo: 1, level: 0.5, eye: 2 }; // degrees, one standard deviation
const TAP = 2; // pixels of the photo, one standard deviation
const LOOSE_YAW = 5; // degrees that the camera is turned by where nobody estimated it
const TYPICAL_LEAN = 10; // degrees, of a model whose forward lean is not known
const SHORTEST = 40; // pixels: a line shorter than this says nothing
const STEEPEST = 45; // degrees: a counter line further off is not a counter line
const Z95 = 1.96; // normal quantile

// fromPoints measures the tilt on a photo of one shoe from behind, as the engine's TiltPhoto.Measure does. counter is
// the line from the collar's midpoint to where the counter meets the midsole, table the line of the table's edge, each
// two points [x, y] in pixels of the photo, y downwards. lean is the model's forward lean, yaw how far the camera was
// turned to the inner side, in degrees, undefined where not known. It returns { v, u, tap, turn } in degrees, v and u
// to the hundredth, or { refused } with the reason.
//
//	u² = 2 s²/b² + 2 s²/c² + method² + turn²
export function fromPoints({ shoe, counter, table, lean, yaw }) {
  const [[cx, cy], [mx, my]] = counter, [[ax, ay], [bx, by]] = table;
  const [tx, ty, ux, uy] = [bx - ax, by - ay, cx - mx, cy - my], b = Math.hypot(tx, ty), c = Math.hypot(ux, uy);
  if (b < SHORTEST || c < SHORTEST) return { refused: "short" };
  // From behind, in is to the right on a left shoe and to the left on a right one.
  const apparent = Math.atan((tx * ux + ty * uy) / (ty * ux - tx * uy)) * (shoe === "right" ? -1 : 1);
  let tilt = apparent, turn = (lean ?? TYPICAL_LEAN) * RAD * Math.max(LOOSE_YAW, Math.abs(yaw ?? 0));
  if (yaw !== undefined && lean !== undefined) {
    tilt = Math.atan((Math.tan(apparent) - Math.tan(lean * RAD) * Math.sin(yaw * RAD)) / Math.cos(yaw * RAD));
    turn = 0;
  }
  if (Math.abs(apparent) > STEEPEST * RAD || Math.abs(tilt) > STEEPEST * RAD) return { refused: "steep" };
  const tap = Math.sqrt(2 * (TAP / b) ** 2 + 2 * (TAP / c) ** 2) / RAD;
  return { v: round(tilt / RAD), u: round(Math.hypot(tap, METHOD.photo, turn)), tap, turn };
}

// round rounds to hundredths, halves away from zero.
const round = (n) => Math.sign(n) * Math.round(Math.abs(n) * 100) / 100;

// mean puts several photos of one counter together, as the engine's MeanTilt does: their mean, with the uncertainty
// of independent photos or the standard error of their spread, whichever is larger.
export function mean(photos) {
  const n = photos.length, v = photos.reduce((sum, p) => sum + p.v, 0) / n;
  const own = Math.sqrt(photos.reduce((sum, p) => sum + p.u ** 2, 0)) / n;
  const spread = n > 1 ? Math.sqrt(photos.reduce((sum, p) => sum + (p.v - v) ** 2, 0) / (n - 1)) : 0;
  return { v: round(v), u: round(Math.max(own, spread / Math.sqrt(n))), n };
}

// degrees says a tilt: 5.5° in.
const degrees = (v) => t(v < 0 ? "tilt.out" : "tilt.in", { n: Math.abs(v).toFixed(1) });

// tiltWords is a shoe's value on the index of checks.
export function tiltWords(r, shoe) {
  const { tilt, tilt_u: u } = r[shoe];
  if (isCant(tilt)) return html`<span>${t("cant-read")}</span>`;
  if (tilt !== undefined) return html`<span>${degrees(tilt)}${u === undefined ? "" : ` ± ${(Z95 * u).toFixed(1)}°`}</span>`;
  return leans(r, shoe) ? html`<i>${t("tilt.measure")}</i>` : html`<span class="none">${t("tilt.not-needed")}</span>`;
}

const STEP = 0.5; // degrees a key moves a value or a line by

// tiltRow is a shoe's row on the open line: how to measure, or the value with its uncertainty.
export function tiltRow(bench, shoe) {
  const { tilt, tilt_by: by, tilt_u: u } = bench.reading[shoe], lead = html`<span class="lead">${t(`shoe.${shoe}.lead`)}</span>`;
  const k = (name, more) => key({ k: `tilt-${shoe}-${name}`, act: `tilt-${name}`, v: shoe, ...more });
  if (tilt === undefined || by === "photo") {
    return html`<div class="row">${lead}<div class="opts tilt-ways" data-arrows>${k("photo", { text: tilt === undefined ? t("tilt.photo") : t("tilt.photo.done", { n: bench.reading[shoe].tilt_n ?? 1 }), note: tilt === undefined ? "" : `${degrees(tilt)} ± ${(Z95 * u).toFixed(1)}°`, state: tilt === undefined ? undefined : true })}${tilt === undefined ? html`${k("level", { text: t("tilt.level") })}${k("eye", { text: t("tilt.eye") })}${key({ k: `tilt-${shoe}-later`, act: "later", v: "tilt", text: t("tilt.later"), quiet: true })}` : k("back", { text: t("tilt.take-back") })}</div></div>`;
  }
  return html`<div class="row">${lead}<div class="opts tilt-value" data-arrows>${k("less", { text: t("tilt.lean-out"), note: `${STEP}°` })}<label class="field"><span>${t(`tilt.by.${by}`)}</span><input data-k="tilt-${shoe}-v" data-measure="tilt,${shoe}" inputmode="text" autocomplete="off" value="${tilt}"></label>${k("more", { text: t("tilt.lean-in"), note: `${STEP}°` })}<label class="field"><span>${t("tilt.u")}</span><input data-k="tilt-${shoe}-u" data-measure="tilt_u,${shoe}" inputmode="decimal" autocomplete="off" value="${u}"></label>${k("back", { text: t("tilt.take-back") })}</div></div>`;
}

function write(r, shoe, { v, u, by, n }) {
  set(r, shoe, "tilt", v);
  set(r, shoe, "tilt_u", u);
  set(r, shoe, "tilt_by", by);
  set(r, shoe, "tilt_n", n);
}

const byHand = (by) => (bench, shoe) => write(bench.reading, shoe, { v: bench.reading[shoe].stand === "leans out" ? -2 : 2, u: METHOD[by], by, n: 1 });

const nudge = (by) => (bench, shoe) => set(bench.reading, shoe, "tilt", Math.max(-STEEPEST, Math.min(STEEPEST, round((bench.reading[shoe].tilt ?? 0) + by))));

// view is the photo on the screen with its points: { shoe, file, url, width, height, on, point, counter, table, yaw }.
let view = null;

export const acts = {
  "tilt-photo"(bench, shoe) { openView(bench, shoe); },
  "tilt-level": byHand("level"),
  "tilt-eye": byHand("eye"),
  "tilt-less": nudge(-STEP),
  "tilt-more": nudge(STEP),
  async "tilt-back"(bench, shoe) {
    write(bench.reading, shoe, {});
    if (bench.ticket.tilts) delete bench.ticket.tilts[shoe];
    await dropMeasured(bench, shoe);
  },
  "view-leave"(bench) { close(bench); },
  async "view-use"(bench) {
    const measured = measure(bench);
    if (measured.refused) return;
    const { shoe, file, width: w, height: h, counter, table } = view, photos = [...(bench.ticket.tilts?.[shoe] ?? []), { v: measured.v, u: measured.u }];
    bench.ticket.tilts = { ...bench.ticket.tilts, [shoe]: photos };
    write(bench.reading, shoe, { ...mean(photos), by: "photo" });
    set(bench.reading, shoe, "tilt_yaw", view.yaw);
    close(bench);
    const points = [...table.toSorted((a, b) => a[0] - b[0]), ...counter].flatMap(([x, y]) => [x / w, y / h]);
    await attach(bench, file, { shoe, view: "back", points });
  },
  "view-line"(_, name) { Object.assign(view, { on: name, point: 0 }); },
  "view-point"() { view.point = 1 - view.point; },
  "view-move"(_, v) {
    const [dx, dy] = v.split(",").map((n) => n * view.width / 560); // a key moves as far on every photo
    for (const p of view[view.on]) { p[0] += dx; p[1] += dy; }
  },
  "view-turn"(_, v) {
    const [from, to] = view[view.on], by = Number(v) * STEP * RAD, [dx, dy] = [from[0] - to[0], from[1] - to[1]];
    from[0] = to[0] + dx * Math.cos(by) - dy * Math.sin(by);
    from[1] = to[1] + dx * Math.sin(by) + dy * Math.cos(by);
    view.point = 0;
  },
};

export const viewing = () => view !== null;

function close(bench) {
  URL.revokeObjectURL(view.url);
  const { shoe } = view;
  view = null;
  byId("measure").hidden = true;
  bench.focus = `tilt-${shoe}-photo`;
}

const measure = (bench) => fromPoints({ ...view, lean: bench.asNew?.lean, yaw: view.yaw });

function openView(bench, shoe) {
  const pick = byId("tilt-file");
  pick.value = "";
  pick.onchange = () => {
    const file = pick.files[0];
    if (!file) return;
    const url = URL.createObjectURL(file), image = new Image();
    image.onload = () => {
      const { naturalWidth: w, naturalHeight: h } = image;
      view = { shoe, file, url, width: w, height: h, on: "counter", point: 0, yaw: undefined, counter: [[w / 2, h * .25], [w / 2, h * .62]], table: [[w * .04, h * .8], [w * .96, h * .8]] };
      byId("measure").hidden = false;
      bench.redraw();
      byId("measure").querySelector("[data-act=view-line]").focus({ preventScroll: true });
    };
    image.onerror = () => { URL.revokeObjectURL(url); bench.say(t("tilt.no-photo")); };
    image.src = url;
  };
  pick.click();
}

// tap puts the nearer end of the picked line where the photo was touched.
export function tap(event) {
  const svg = byId("tilt-photo"), at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const ends = view[view.on], far = (p) => Math.hypot(p[0] - at.x, p[1] - at.y);
  view.point = far(ends[0]) <= far(ends[1]) ? 0 : 1;
  ends[view.point] = [Math.max(0, Math.min(view.width, at.x)), Math.max(0, Math.min(view.height, at.y))];
}

// turned reads the camera's turn as typed; it reports whether it may stand there.
export function turned(text) {
  const n = text.trim() === "" ? undefined : Number(text.replace(",", ".").replace("−", "-"));
  if (Number.isNaN(n) || Math.abs(n) > STEEPEST) return false;
  view.yaw = n;
  return true;
}

const POINTS = { counter: ["collar", "midsole"], table: ["table-left", "table-right"] };

export function drawView(bench) {
  if (!view) return;
  const { shoe, url, width: w, height: h, on, point, counter, table } = view, px = w / 560; // one drawn pixel
  const inLeft = shoe === "right", m = measure(bench);
  draw(byId("tilt-title"), t("tilt.view", { Shoe: capital(t(`shoe.${shoe}`)) }));

  const way = ([from, to]) => `M${from.join(" ")}L${to.join(" ")}`;
  const line = (p, name) => html`<path class="under" d="${way(p)}" stroke-width="${6.5 * px}"/><path class="${on === name ? "picked" : ""}" d="${way(p)}" stroke-width="${2.5 * px}"/>`;
  const dot = (p, name, i) => html`<circle class="under" cx="${p[0]}" cy="${p[1]}" r="${(on === name && i === point ? 9 : 6) * px}" stroke-width="${5 * px}"/><circle class="${on === name ? "picked" : ""}" cx="${p[0]}" cy="${p[1]}" r="${(on === name && i === point ? 9 : 6) * px}" stroke-width="${2.5 * px}"/>`;
  const angle = Math.atan2(table[1][1] - table[0][1], table[1][0] - table[0][0]), foot = counter[1], upright = [foot[0] + Math.sin(angle) * h * .5, foot[1] - Math.cos(angle) * h * .5];
  const marks = html`<g class="marks">${line(table, "table")}<path class="under" d="${way([foot, upright])}" stroke-width="${4 * px}"/><path d="${way([foot, upright])}" stroke-width="${1.5 * px}" stroke-dasharray="${5 * px} ${4 * px}"/>${line(counter, "counter")}${["counter", "table"].map((n) => view[n].map((p, i) => dot(p, n, i)))}</g>`;
  const picture = html`<image href="${url}" width="${w}" height="${h}"/>`;
  const r = 66 * px, gx = inLeft ? w - r * 1.35 : r * 1.35, gy = r * 1.3, p = view[on][point], ix = (inLeft ? 14 : 546) * px, side = inLeft ? 1 : -1;
  const svg = byId("tilt-photo");
  svg.setAttribute("viewBox", `0 0 ${w} ${h}`);
  svg.setAttribute("aria-label", t("tilt.photo.label", { shoe: t(`shoe.${shoe}`), side: t(inLeft ? "to-left" : "to-right") }));
  draw(svg, html`<defs><clipPath id="lens"><circle cx="${gx}" cy="${gy}" r="${r}"/></clipPath></defs>${picture}${marks}
<g class="inner" transform="translate(${ix} ${h * .38}) scale(${px})"><path class="under" d="M${36 * side} 0H${4 * side}m${13 * side} -11l${-13 * side} 11l${13 * side} 11"/><path d="M${36 * side} 0H${4 * side}m${13 * side} -11l${-13 * side} 11l${13 * side} 11"/><text class="${inLeft ? "start" : "end"}" y="-26">${t("inner-edge.1")}</text><text class="${inLeft ? "start" : "end"}" y="36">${t("inner-edge.2")}</text></g>
<g clip-path="url(#lens)"><g transform="translate(${gx - p[0] * 3} ${gy - p[1] * 3}) scale(3)">${picture}<g class="marks thin">${marks}</g></g></g>
<g class="lens" transform="translate(${gx} ${gy}) scale(${px})"><circle r="66"/><path d="M-66 0h46m40 0h46M0 -66v46m0 40v46"/><text y="88">${t(`tilt.point.${POINTS[on][point]}`)} × 3</text></g>`);

  drawScale(bench, m, inLeft);
  draw(byId("tilt-says"), says(bench, m));
  const c = on === "counter", k = (name, v, text, state, label) => key({ k: `view-${name}-${v}`, act: `view-${name}`, v, text, state, label });
  const ways = !c ? [[1, "left-up"], [-1, "left-down"]] : inLeft ? [[-1, "lean-in"], [1, "lean-out"]] : [[-1, "lean-out"], [1, "lean-in"]];
  const lean = ways.map(([by, name]) => k("turn", by, t(`tilt.${name}`)));
  draw(byId("tilt-keys"), html`${k("line", "counter", t("tilt.counter"), c)}${k("line", "table", t("tilt.table"), !c)}${lean}${c ? [k("move", "-1,0", t("tilt.move-left")), k("move", "1,0", t("tilt.move-right"))] : [k("move", "0,-1", t("tilt.move-up")), k("move", "0,1", t("tilt.move-down"))]}`);
  byId("tilt-use").setAttribute("aria-disabled", String(Boolean(m.refused)));
}

// drawScale draws the value with its 95 % interval; in stands on the side where in is on the photo.
function drawScale(bench, m, inLeft) {
  const svg = byId("tilt-scale"), END = 12;
  if (m.refused) { svg.setAttribute("aria-label", t("tilt.refused")); draw(svg, ""); return; }
  const X = (v) => 278 + (inLeft ? -1 : 1) * Math.max(-END, Math.min(END, v)) * 21.5, half = Z95 * m.u;
  const [lo, hi] = [X(m.v - half), X(m.v + half)].sort((a, b) => a - b);
  const ticks = Array.from({ length: 2 * END + 1 }, (_, i) => i - END);
  svg.setAttribute("aria-label", t("tilt.scale", { v: degrees(m.v), half: half.toFixed(1) }));
  draw(svg, html`<rect class="band" x="${lo}" y="18" width="${hi - lo}" height="22"/><path class="ends" d="M${lo} 18v22M${hi} 18v22"/><path class="axis" d="M20 40H536"/>${ticks.map((v) => html`<path class="${v % 4 ? "tick" : "axis"}" d="M${X(v)} 40v${v % 4 ? -6 : -11}"/>${v % 4 || Math.abs(v) > 8 ? "" : html`<text x="${X(v)}" y="57">${Math.abs(v)}°</text>`}`)}<path class="limit" d="M${X(4)} 14V40M${X(-4)} 14V40"/><path class="notch-mark" d="M${X(m.v) - 9} 16h18l-9 24z"/><text class="lab ${inLeft ? "start" : "end"}" x="${inLeft ? 12 : 544}" y="57">${t("tilt.leans-in")}</text><text class="lab ${inLeft ? "end" : "start"}" x="${inLeft ? 544 : 12}" y="57">${t("tilt.leans-out")}</text><text class="lab value" x="${Math.max(70, Math.min(486, X(m.v)))}" y="12">${degrees(m.v)} ± ${half.toFixed(1)}°</text>`);
}

// says is one sentence on what a measured tilt means before it is used; the verdict itself stays the engine's.
function says(bench, m) {
  if (m.refused) return html`<b>${t(`tilt.refused.${m.refused}`)}</b>`;
  const before = bench.ticket.tilts?.[view.shoe]?.length ?? 0;
  return html`<b>${degrees(m.v)} ± ${(Z95 * m.u).toFixed(1)}°.</b> ${t("tilt.holds", { tap: m.tap.toFixed(1), photo: METHOD.photo.toFixed(1), turn: m.turn.toFixed(1) })} ${before ? t("tilt.mean", { n: before + 1 }) : ""}`;
}

