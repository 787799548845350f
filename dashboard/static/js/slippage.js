// slippage.js owns the page that prints a stored reading's slip again: 80 mm or A4.

import { byId, draw, html } from "./dom.js";
import { slipMarkup } from "./slip.js";
import { t } from "./words.js";

const page = byId("main"), id = page.dataset.id;

async function get(path) {
  const answer = await fetch(path);
  if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).title ?? answer.statusText);
  return answer.json();
}

try {
  const [reading, result] = await Promise.all([get(`/api/v1/inspections/${id}`), get(`/api/v1/inspections/${id}/result`)]);
  reading.left ??= {};
  reading.right ??= {};
  draw(byId("slip"), slipMarkup({ reading, asNew: result.as_new, result, given: reading.given, grade: result.grade, store: reading.store, staff: reading.staff, at: new Date(reading.at) }));
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
