// findings.js owns how findings are said: one sentence for each part of a shoe, in which the worst one speaks, in
// the words of the catalogue. The engine gives codes; it knows no language.

import { capital, has, list, locale, t, word } from "./words.js";
import { edgeOf, partOf } from "./sole.js";

const RANK = { note: 0, recheck: 1, replace: 2, retire: 3 };

// place says which part of a shoe a finding is about. Findings on the same place share a sentence.
function place(f) {
  const { check, shoe } = f;
  if (check === "press_heel" || check === "press_fore") return `${shoe} ${check.slice("press_".length)}`;
  if (check === "stand" || check === "tilt") return `${shoe} counter`;
  if (f.zone) return `${shoe} ${partOf(f.zone)}`;
  return `${shoe} ${check}`;
}

// name says a check on a shoe, as in "left lining"; a zone goes by its part.
export function name(check, shoe) {
  const part = ["heel", "mid", "fore", "toe"].find((p) => check.startsWith(`${p}_`));
  const what = part ? t(`part.${part}`) : t(has(`short.${check}`) ? `short.${check}` : `check.${check}`).toLowerCase();
  return shoe === "pair" ? what : t("of-shoe", { shoe: t(`shoe.${shoe}`), what });
}

// checkName says a check without its shoe, as on the index; a zone by part and edge.
export const checkName = (check) => (has(`check.${check}`) ? t(`check.${check}`) : capital(t("zone.of", { part: t(`part.${partOf(check)}`), edge: t(`edge.${edgeOf(check)}`) })));

const decimal = new Intl.NumberFormat(locale, { maximumFractionDigits: 1 });

// say returns the sentence of one finding; zones are those at which the same was found.
function say(f, zones) {
  const shoe = f.shoe === "pair" ? "" : t(`shoe.${f.shoe}`);
  const fills = { shoe, Shoe: capital(shoe), zones: list(zones.map((z) => t(`edge.${edgeOf(z)}`))), what: name(f.check, f.shoe) };
  for (const [key, value] of Object.entries(f.values ?? {})) {
    fills[key] = typeof value === "number" ? decimal.format(Math.abs(value)) : word(String(value));
  }
  const key = `finding.${f.code}`;
  return has(key) ? t(key, fills) : f.code;
}

// reasons turns the findings of a result into sentences, worst first, each { severity, how, text, check, shoe, zone }.
export function reasons(findings) {
  const seen = new Set(), out = [];
  const cant = findings.filter((f) => f.code === "cant-read");
  for (const f of findings) {
    if (f.code === "cant-read") {
      if (f === cant[0]) out.push({ ...f, text: t("finding.cant-read", { what: list([...new Set(cant.map((c) => name(c.check, c.shoe)))]) }) });
      continue;
    }
    const at = place(f);
    if (seen.has(at)) continue;
    seen.add(at);
    const zones = findings.filter((o) => o.code === f.code && o.shoe === f.shoe && o.zone?.includes("_")).map((o) => o.zone);
    out.push({ ...f, text: say(f, zones) });
  }
  return out;
}

// weighty are the reasons that changed the verdict; the others are notes.
export const weighty = (all) => all.filter((f) => RANK[f.severity] > RANK.note);

// verdictWords says a verdict as the bench does; by is the day a kept pair should be back.
export function verdictWords(result, by) {
  if (result.verdict === "recheck") return result.how === "now" ? t("verdict.now") : by ? t("verdict.later", { by }) : t("verdict.later-open");
  return t(`verdict.${result.verdict}`);
}
