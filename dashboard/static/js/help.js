// help.js owns what a check looks like: one drawing, what counts and what doesn't, laid over the soles so that the keys
// of the check stay in reach. It is only a look: no reading is touched by it.

import { byId, draw, html, key } from "./dom.js";
import { capital, has, t, word } from "./words.js";

// The drawings are one file, brought when the first is asked for; the worker keeps it for when the line is down.
let drawings = null, missing = false;

async function bring() {
  const answer = await fetch(new URL("../img/how.svg", import.meta.url)).catch(() => null);
  missing = !answer?.ok;
  if (missing) { drawings = null; return; }
  const file = new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement;
  for (const at of file.querySelectorAll("[data-t]")) at.textContent = t(at.dataset.t);
  for (const at of file.querySelectorAll("[data-word]")) at.textContent = word(at.dataset.word);
  document.body.append(document.importNode(file, true));
}

const name = (check) => t(check === "zones" ? "how.zones.head" : `check.${check}`);

// helpKey is the key that opens and closes a check's help.
export const helpKey = (bench, check) => html`<button type="button" class="key quiet how" data-k="help-${check}" data-act="help" data-v="${check}" aria-expanded="${bench.help === check}" aria-controls="how" aria-label="${t("how.key.label", { check: name(check) })}">${t("how.key")}</button>`;

// drawHelp shows the help that is open. It goes along with the check that is open, so that it never explains another.
export function drawHelp(bench) {
  const checks = !bench.handing && bench.help && bench.help !== "zones";
  if (checks && bench.line !== bench.help) bench.help = bench.line;
  const { help } = bench, panel = byId("how");
  panel.hidden = !help;
  if (!help) { draw(panel, ""); return; }
  drawings ??= bring().then(() => missing && bench.redraw());
  const hint = `how.${help}`, care = `how.${help}.care`;
  draw(panel, html`<header><h2 id="how-head">${name(help)}${has(hint) ? html` <small>${t(hint)}</small>` : ""}</h2>${key({ k: "help-close", act: "help", v: help, text: t("how.close") })}</header>
<svg class="drawing" viewBox="0 0 300 160" aria-hidden="true"><use href="#how-${help}"/></svg>
<div class="says">${missing ? html`<p class="note" role="status">${t("how.gone")}</p>` : ""}
<p><b>${t("how.counts")}</b> ${capital(t(`how.${help}.counts`))}</p><p><b>${t("how.not")}</b> ${capital(t(`how.${help}.not`))}</p>${has(care) ? html`<p class="care"><b>${t("how.care")}</b> ${t(care)}</p>` : ""}</div>`);
}

export const acts = {
  help(bench, check) {
    const close = bench.help === check;
    bench.help = close ? null : check;
    bench.focus = close ? `help-${check}` : "help-close";
  },
};

// asked is what help would be about: the open check, else the soles; in the hand-over the hygiene.
export const asked = (bench) => bench.help ?? (bench.handing ? "hygiene" : bench.line ?? "zones");
