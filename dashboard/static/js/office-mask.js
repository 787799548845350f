// office-mask.js owns the drawing of an as-new mask: a tap on a zone ticks its box, on both shoes, for a pair is built
// alike. The boxes are the form, and the way for keys; the drawing follows them.

import { html } from "./dom.js";
import { BOX, OUTLINE, POINT, SHAPE, WIDTH, ZONES } from "./sole.js";
import { t } from "./words.js";

const board = document.querySelector("[data-mask]");
const boxes = board && new Map([...board.closest("form").querySelectorAll("[name=built]")].map((box) => [box.value, box]));

function zone(shoe, name) {
  const d = SHAPE[shoe][name], [x, y] = POINT[shoe][name], built = boxes.get(name).checked;
  const at = document.activeElement === boxes.get(name);
  return html`<g class="spot${at ? " at" : ""}" data-zone="${name}"><path class="zone ${built ? "ga" : "g0"}" d="${d}"/>${built ? html`<path class="built" d="${d}"/><text x="${x}" y="${y - 2}">${t("zone.built.1")}<tspan x="${x}" dy="16">${t("zone.built.2")}</tspan></text>` : ""}</g>`;
}

function draw() {
  board.innerHTML = html`<svg viewBox="${BOX.both}" aria-hidden="true">${["left", "right"].map((shoe) => {
    const x = shoe === "left" ? 28 : WIDTH - 28, notch = shoe === "left" ? "M75 285h15m-15 14h15" : `M${WIDTH - 75} 285h-15m15 14h-15`;
    return html`<path class="rim" d="${OUTLINE[shoe]}"/>${ZONES.map((name) => zone(shoe, name))}<path class="notch" d="${notch}"/><text class="edge-label" x="${x}" y="288">${t("inner-edge.1")}<tspan x="${x}" dy="15">${t("inner-edge.2")}</tspan></text>`;
  })}</svg>`.text;
}

if (board) {
  board.hidden = false;
  board.addEventListener("click", (event) => {
    const spot = event.target.closest("[data-zone]");
    if (!spot) return;
    const box = boxes.get(spot.dataset.zone);
    box.checked = !box.checked;
    draw();
  });
  for (const box of boxes.values()) for (const what of ["change", "focus", "blur"]) box.addEventListener(what, draw);
  draw();
}
