// slip.js owns the slip that leaves the bench with the runner: verdict, reasons, next check, usual cautions, grade,
// credit, and the pair's reference. No gait, no health words. 80 mm or A4, in grey.

import { html } from "./dom.js";
import { built, isCant } from "./reading.js";
import { reasons, verdictWords, weighty } from "./findings.js";
import { spaced } from "./ids.js";
import { marks } from "./solemap.js";
import { day, t, word } from "./words.js";

const SHOWN = 5; // reasons on a slip

// gone reports whether a verdict ends the pair's running.
export const gone = (verdict) => verdict === "replace" || verdict === "retire";

// slipMarkup draws the slip of a reading. next is { day, words, basis } of the next check; credit and route are words, absent
// where nothing is given; leaves says that the pair does not go back to its runner.
export function slipMarkup({ reading: r, asNew, result, given, next, leaves, grade, route, credit, store, staff, at }) {
  const verdict = given ?? result.verdict, all = reasons(result.findings), said = weighty(all).slice(0, SHOWN);
  const shown = (shoe) => marks(r[shoe], (z) => built(asNew, z), isCant);
  const words = verdict === result.verdict ? verdictWords(result, next?.day) : t(`verdict.${verdict}`);
  const shoe = [r.brand, r.model, r.version].filter(Boolean).join(" ") || t("slip.no-model");
  const care = verdict === "retire" ? ["retire", "new"] : verdict === "replace" ? ["replace", "new"] : leaves ? ["new"] : ["wet", "sooner"];
  return html`<header><h2>solewright</h2><span>${at ? day(at) : ""}</span></header>
<dl><dt>${t("slip.shoe")}</dt><dd>${shoe}${r.size_label ? `, ${r.size_label}` : ""}</dd><dt>${t("slip.read")}</dt><dd>${[store, staff].filter(Boolean).join(", ")}</dd>${r.km === undefined ? "" : html`<dt>${t("slip.run")}</dt><dd>${t("km-how", { unit: `${r.km} ${r.km_unit ?? "km"}`, source: word(r.km_source ?? "estimated") })}</dd>`}</dl>
<hr class="stitch">
<div class="row"><sole-map kind="card" label="" l="${shown("left")}" r="${shown("right")}"></sole-map><span class="verdict"><svg aria-hidden="true"><use href="#v-${verdict}"/></svg>${words}</span></div>
<ul class="said">${said.length ? said.map((f) => html`<li>${f.text}.</li>`) : html`<li>${t(result.unread.length ? "slip.unread" : "slip.sound", { n: result.unread.length })}</li>`}</ul>
<hr class="stitch">
<h3>${t("slip.care")}</h3><ul>${care.map((c) => html`<li>${t(`care.${c}`)}</li>`)}</ul>
<dl>${grade ? html`<dt>${t("slip.grade")}</dt><dd>${grade}${route ? `, ${word(route)}` : ""}</dd>` : route ? html`<dt>${t("slip.goes")}</dt><dd>${word(route)}</dd>` : ""}${credit ? html`<dt>${t("slip.credit")}</dt><dd>${credit}</dd>` : ""}${next ? html`<dt>${t(gone(verdict) || leaves ? "slip.new-pair" : "slip.next")}</dt><dd>${t("slip.check-by", { by: next.words })}<br><span class="note">${next.basis}</span></dd>` : ""}</dl>
<div class="ref"><img src="/pairs/${r.pair_ref}/qr.svg" width="84" height="84" alt="${t("slip.qr")}"><span><b>${spaced(r.pair_ref)}</b><br><span class="note">${t("slip.keeps")}</span></span></div>`;
}
