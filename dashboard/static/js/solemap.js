// solemap.js owns the small drawings of a pair: <sole-map l="4310021100" r="…">. Ten characters a shoe, in the order
// of the data: 0–4 a grade, - unread, c can't read, a as built. kind="card" is hatched with L and R beside it;
// without kind it is a thumbnail in flat fills. label="" where words stand beside it.

import { html } from "./dom.js";
import { BOX, OUTLINE, POINT, SHAPE, WIDTH, ZONES, edgeOf, partOf } from "./sole.js";
import { list, t } from "./words.js";

const WORST = 3; // thin or through is worth saying

class SoleMap extends HTMLElement {
  connectedCallback() {
    const card = this.getAttribute("kind") === "card", worst = [];
    const shoes = ["left", "right"].map((shoe) => {
      const grades = [...(this.getAttribute(shoe[0]) ?? "")];
      return html`<path class="rim" d="${OUTLINE[shoe]}"/>${ZONES.map((zone, i) => {
        const g = grades[i] === undefined || grades[i] === "-" ? "x" : grades[i], d = SHAPE[shoe][zone], [x, y] = POINT[shoe][zone];
        if (g >= WORST) worst.push(t("zone.graded", { shoe: t(`shoe.${shoe}`), part: t(`part.${partOf(zone)}`), edge: t(`edge.${edgeOf(zone)}`), grade: t(`grade.${g}`) }));
        return html`<path class="zone g${g}" d="${d}"/>${g === "a" ? html`<path class="built" d="${d}"/>` : ""}${g === "c" ? html`<path class="cant" d="M${x - 13} ${y - 13}l26 26m0 -26l-26 26"/>` : ""}${
          card && g > 0 ? html`<path class="hatch" fill="url(#hatch${g})" d="${d}"/>` : ""}${!card && g === "4" ? html`<circle class="hole" cx="${x}" cy="${y}" r="11"/>` : ""}`;
      })}${card ? html`<text class="side" x="${shoe === "left" ? 34 : WIDTH - 34}" y="318">${t(`shoe.${shoe}.letter`)}</text>` : ""}`;
    });
    const silent = this.getAttribute("label") === "";
    const label = worst.length ? t("solemap.worst", { zones: list(worst) }) : t("solemap.sound");
    this.innerHTML = html`<svg viewBox="${BOX.both}"${silent ? html` aria-hidden="true"` : html` role="img" aria-label="${label}"`}>${shoes}</svg>`.text;
  }
}
customElements.define("sole-map", SoleMap);

// marks writes a reading's zones of one shoe as the characters of a sole map.
export function marks(shoe, isBuilt, isCant) {
  return ZONES.map((z) => (isBuilt(z) ? "a" : isCant(shoe[z]) ? "c" : shoe[z] ?? "-")).join("");
}
