// oldpair.js owns what a fitting knows of the pair that was brought in: its last reading, and what the wear says beside
// the gait that was seen. It is shown, and resolves nothing: a wear pattern is evidence about a shoe, no diagnosis.

import { isAfter, knownPair } from "./begin.js";
import { html, key } from "./dom.js";
import { built, isCant, wholeKM } from "./reading.js";
import { verdictWords } from "./findings.js";
import { tickets } from "./shelf.js";
import { marks } from "./solemap.js";
import { capital, day, list, t, word } from "./words.js";

const SHOES = ["left", "right"];

// fromShelf is the newest ticket of a pair on this tablet that was judged: read a moment ago, perhaps not yet sent.
async function fromShelf(ref) {
  const mine = (await tickets.all()).filter((x) => x.reading.pair_ref === ref && x.result).sort((a, b) => b.started.localeCompare(a.started))[0];
  return mine && { ticket: mine.id, at: mine.reading.at ?? mine.started, open: mine.state === "open", reading: mine.reading, result: mine.result, asNew: mine.asNew };
}

// bring returns what is known of a pair by its reference: { ref, name, runner, size, last } with last its newest reading and
// what the engine says of it; or { why } as knownPair does. Without a line it is what this tablet has read.
export async function bring(ref) {
  const [pair, shelf] = [await knownPair(ref), await fromShelf(ref)];
  const of = pair.known ?? shelf?.reading;
  if (!of) return { why: pair.why };
  const out = { ref, name: [of.brand, of.model, of.version].filter(Boolean).join(" "), size: of.size_label, runner: of.runner, last: shelf, known: pair.known, model: pair.model };
  if (pair.last && !(shelf && isAfter(shelf.at, pair.last.at))) {
    const answer = await fetch(`/api/v1/inspections/${pair.last.inspection_id}/result`).catch(() => null), result = answer?.ok ? await answer.json() : null;
    out.last = { at: pair.last.at, reading: pair.last, result, asNew: result?.as_new ?? null };
  }
  return out;
}

// INWARD and OUTWARD are the words of a pattern of the forefoot, and of the stand, that lie on one side. The heel's
// outer edge is where ordinary first contact wears the shoes of most runners, so that it says nothing here.
const INWARD = ["medial", "medial-central"], OUTWARD = ["lateral", "lateral-central"];

// lean is +1 inner, −1 outer, 0 neither: of a gait's word by its place among the five, of a forefoot, of a stand.
export const leanOf = {
  gait: (gait, words) => Math.sign(words.indexOf(gait) - 2),
  fore: (pattern) => (INWARD.includes(pattern) ? 1 : OUTWARD.includes(pattern) ? -1 : 0),
  stand: (stand) => ({ "leans in": 1, "leans out": -1 })[stand] ?? 0,
};

// signs lists what the old pair shows on one side, each { what, shoe, lean, text }.
export function signs(last) {
  const out = [];
  for (const shoe of SHOES) {
    const fore = last?.result?.pattern?.[shoe]?.fore, stand = last?.reading?.[shoe]?.stand, of = t(`shoe.${shoe}`);
    if (leanOf.fore(fore)) out.push({ what: "fore", shoe, lean: leanOf.fore(fore), text: t("fit.sign.fore", { shoe: of, pattern: word(fore) }) });
    if (leanOf.stand(stand)) out.push({ what: "stand", shoe, lean: leanOf.stand(stand), text: t("fit.sign.stand", { shoe: of, stand: word(stand) }) });
  }
  return out;
}

function patternLine(pattern, part) {
  const words = SHOES.filter((shoe) => pattern[shoe]?.[part]).map((shoe) => t("of-shoe", { shoe: t(`shoe.${shoe}`), what: word(pattern[shoe][part]) }));
  return words.length ? html`<li>${t("fit.pattern", { part: capital(t(`part.${part}`)), shoes: list(words) })}${part === "heel" && SHOES.some((shoe) => leanOf.fore(pattern[shoe]?.heel) < 0) ? ` ${t("fit.heel-outer")}` : ""}</li>` : "";
}

// against says whether the wear and the gait that was seen lie on the same side; both stand either way.
function against(last, gait, gaits) {
  const seen = leanOf.gait(gait, gaits), all = signs(last);
  if (!gait || gaits.indexOf(gait) < 0 || !all.length) return html`<p class="note">${t(gait ? "fit.wear-silent" : "fit.gait-unseen")}</p>`;
  const same = all.filter((s) => s.lean === seen), other = all.filter((s) => s.lean !== seen);
  return html`<ul class="signs">${same.length ? html`<li>${t("fit.agrees", { what: list(same.map((s) => s.text)), gait: word(gait) })}</li>` : ""}${other.length ? html`<li>${t("fit.disagrees", { what: list(other.map((s) => s.text)), gait: word(gait) })}</li>` : ""}</ul>`;
}

// oldMarkup draws the old pair beside the form.
export function oldMarkup(old, gait, gaits) {
  const { last } = old, name = [old.name, old.size].filter(Boolean).join(", "), read = html`<div class="opts n2">${key({ k: "read-old", act: "read-old", text: t(last?.open ? "fit.go-on" : "fit.read-old"), quiet: true })}<a class="key quiet" href="/pairs/${old.ref}">${t("finished.history")}</a></div>`;
  if (!last) return html`<p><b>${name}</b></p><p class="note">${t("fit.unread")}</p>${read}`;
  const { reading: r, result, asNew } = last, shown = (shoe) => marks(r[shoe] ?? {}, (z) => built(asNew, z), isCant), km = wholeKM(r);
  const verdict = result ?? { verdict: r.advised };
  return html`<div class="old"><sole-map kind="card" l="${shown("left")}" r="${shown("right")}"></sole-map><div><p><b>${name}</b><br>${t("fit.read-on", { day: day(new Date(last.at)) })}${km === undefined ? "" : `, ${t("measured", { v: km, unit: "km" })}`}</p>
${verdict.verdict ? html`<p class="verdict"><svg aria-hidden="true"><use href="#v-${verdict.verdict}"/></svg>${verdictWords(verdict)}</p>` : ""}
${result?.pattern ? html`<ul class="signs">${patternLine(result.pattern, "heel")}${patternLine(result.pattern, "fore")}${(({ side }) => (side && side !== "even" ? html`<li>${t(`fit.side.${side.split(" ")[0]}`)}</li>` : ""))(result.pattern.pair ?? {})}</ul>${against(last, gait, gaits)}` : html`<p class="note">${t("fit.no-result")}</p>`}</div></div>
<p class="note">${t("fit.no-diagnosis")}</p>${read}`;
}
