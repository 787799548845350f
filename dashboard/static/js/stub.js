// stub.js owns the strip at the bottom: the verdict, why, and what is still unread. It is always in sight.

import { byId, draw, html, key } from "./dom.js";
import { missing } from "./handover.js";
import { isCant, wanted } from "./reading.js";
import { name, reasons, verdictWords, weighty } from "./findings.js";
import { capital, t } from "./words.js";

const SHOWN = 3; // reasons beside a verdict
const CHIPS = 5;

const zonePart = (check) => /^(heel|mid|fore|toe)_/.exec(check)?.[1];

// chips turns the unread checks into places to jump to: the zones of a part share one.
function chips(unread) {
  const out = new Map();
  for (const { check, shoe } of unread) {
    const part = zonePart(check), id = part ? `${shoe} ${part}` : `${shoe} ${check}`;
    const chip = out.get(id) ?? { check, shoe, n: 0, label: capital(name(check, shoe)) };
    chip.n++;
    out.set(id, chip);
  }
  return [...out.values()];
}

// CONTRADICTIONS are the engine's flags that want a second look, and what is said then.
const CONTRADICTIONS = ["through-with-depth", "fresh-without-depth", "grade-against-depth", "square-with-tilt"];

const contradictions = (result) => (result?.flags ?? []).filter((f) => CONTRADICTIONS.includes(f));

// note says what stands under the verdict.
function note(bench, read, all) {
  const { result } = bench;
  switch (result.verdict) {
    case "keep": return bench.nextAdvised() ? t("stub.keep", { by: bench.nextAdvised().words }) : "";
    case "incomplete": return t("stub.read", { read, all });
    case "recheck": return result.how === "now" ? t("stub.now") : bench.nextAdvised() ? t("stub.later", { by: capital(bench.nextAdvised().words) }) : "";
    case "retire": return t("stub.retire");
  }
  return result.unread.length ? t("stub.replace-open", { read, all }) : t("stub.replace");
}

export function drawStub(bench) {
  const { result } = bench, ticks = wanted(bench.reading, bench.asNew), read = ticks.filter((w) => w.value !== undefined).length;
  const progress = byId("progress");
  progress.setAttribute("aria-label", t("stub.read", { read, all: ticks.length }));
  draw(progress, ticks.toSorted((a, b) => (a.value === undefined) - (b.value === undefined)).map(({ value }) => html`<i class="${value === undefined ? "" : isCant(value) ? "cant" : "read"}"></i>`));

  if (!result) {
    draw(byId("word"), html`<svg class="punch" aria-hidden="true"><use href="#v-incomplete"/></svg><div><span>${t("verdict.waits")}</span><small>${["line", "signed-out"].includes(bench.why) ? t(`verdict.no-${bench.why}`) : t("stub.read", { read, all: ticks.length })}</small></div>`);
    draw(byId("why"), typeof bench.why === "object" ? html`<h2>${t("why.refused")}</h2><ul>${problems(bench.why)}</ul>` : "");
    draw(byId("left"), "");
    drawHand(bench, 0);
    return;
  }
  const words = verdictWords(result, bench.nextAdvised()?.day);
  draw(byId("word"), html`<svg class="punch" aria-hidden="true"><use href="#v-${result.verdict}"/></svg><div><span class="${words.length > 15 ? "long" : ""}">${words}</span><small>${note(bench, read, ticks.length)}</small></div>`);
  const all = reasons(result.findings), hard = weighty(all), why = hard.length ? hard : all, shown = why.slice(0, SHOWN), notes = all.length - hard.length;
  const head = hard.length ? (notes ? t("why.with-notes", { n: notes }) : t("why")) : all.length ? t("why.only-notes") : result.verdict === "keep" ? t("why.all-read") : t("why.nothing");
  draw(byId("why"), html`<h2>${head}</h2><ul>${shown.map((f) => html`<li>${f.text}</li>`)}${why.length > SHOWN ? html`<li class="more">${t("why.others", { n: why.length - SHOWN })}</li>` : ""}${result.flags?.includes("possible-fault") ? html`<li class="more">${t("why.fault")}</li>` : ""}</ul>`);
  const open = chips(result.unread), odd = contradictions(result);
  draw(byId("left"), html`${odd.length ? html`<h2 class="odd">${t("odd.head")}</h2><ul>${odd.map((f) => html`<li>${t(`odd.${f}`)}</li>`)}</ul>` : html`<h2>${open.length ? t("left", { n: result.unread.length }) : t("left.none")}</h2>`}<div class="unread">${open.slice(0, odd.length ? 2 : CHIPS).map((c) => html`<button type="button" data-k="go-${c.shoe}-${c.check}" data-act="go" data-v="${c.shoe},${c.check}">${c.label}${c.n > 1 ? `, ${c.n}` : ""}</button>`)}</div>`);
  drawHand(bench, result.unread.length);
}

// problems says what the server would not judge, value by value.
const problems = (why) => (why.errors ?? [{ detail: why.detail ?? why.title ?? String(why) }]).map((e) => html`<li>${e.pointer ? `${e.pointer.replace(/^#\//, "")}: ` : ""}${e.detail}</li>`);

// drawHand draws the one big key: to the hand-over, and there the end of the ticket.
function drawHand(bench, unread) {
  const now = bench.result?.how === "now", note = unread ? t("hand.unread", { n: unread }) : now && !bench.handing ? t("hand.now") : "";
  byId("hand").hidden = bench.ticket.state !== "open";
  draw(byId("hand"), bench.handing
    ? key({ k: "finish", act: "finish", main: true, text: t("finish"), note, off: missing(bench).length > 0 })
    : key({ k: "hand", act: "hand", v: "over", main: true, text: t("hand"), note }));
}

export const acts = {
  go(bench, v) {
    const [shoe, check] = v.split(",");
    bench.handing = false;
    bench.panel = "checks";
    if (zonePart(check)) Object.assign(bench, { at: { shoe, zone: check }, zoneAsking: false, focusZone: true });
    else bench.openLine(check, shoe);
  },
};
