// slippage.js owns the page that prints a stored reading's slip again: 80 mm or A4.

import { byId, draw, html } from "./dom.js";
import { modelNamed } from "./begin.js";
import { asNewOf } from "./columns.js";
import { money, nextOfNew, nextStored } from "./handover.js";
import { gone, slipMarkup } from "./slip.js";
import { t } from "./words.js";

const page = byId("main"), { id, route, credit, currency, table } = page.dataset;

async function get(path) {
  const answer = await fetch(path);
  if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).title ?? answer.statusText);
  return answer.json();
}

try {
  const [reading, result] = await Promise.all([get(`/api/v1/inspections/${id}`), get(`/api/v1/inspections/${id}/result`)]);
  reading.left ??= {};
  reading.right ??= {};
  const [context, model] = await Promise.all([get("/bench/context.json"), modelNamed(reading)]), at = new Date(reading.at), given = reading.given ?? result.verdict;
  draw(byId("slip"), slipMarkup({
    reading, asNew: model && asNewOf(model), result, given, grade: result.grade, store: reading.store, staff: reading.staff, at, route, leaves: Boolean(route),
    credit: route && t("slip.credit-by", { amount: money(Number(credit), currency), table }),
    next: gone(given) || route ? nextOfNew(context, model, at) : nextStored(result.next_check, { rules: result.rules, category: model?.category }, at),
  }));
} catch (error) {
  draw(byId("slip"), html`<p class="failed" role="alert">${t("slip.failed", { why: error.message })}</p>`);
}
page.dataset.ready = "true";

document.addEventListener("click", (event) => {
  const target = event.target.closest("[data-act=print]");
  if (!target) return;
  document.body.dataset.paper = target.dataset.v;
  print();
});
