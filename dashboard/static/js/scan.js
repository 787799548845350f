// scan.js owns what a scanner types where no line has the focus. A scanner is a keyboard: its digits would grade
// zones, and its Enter would tap the key that happens to be next.

import { isGTIN, parsePairRef } from "./ids.js";

export const GAP = 50; // ms from key to key at most, which no finger keeps up for eight keys; house value

// watchScans calls begin before the first key of what may become a code, and take with the code once it was a GTIN
// or a pair's reference, typed as fast as a scanner types and ended by Enter.
export function watchScans(begin, take) {
  let code = "", last = -Infinity;
  document.addEventListener("keydown", (event) => {
    if (event.key === "Shift") return; // on the way to a capital
    const quick = event.timeStamp - last <= GAP;
    last = event.timeStamp;
    if (event.target.matches("input, select, textarea") || event.ctrlKey || event.metaKey || event.altKey) code = "";
    else if (event.key.length === 1) {
      if (!quick || code === "") { code = ""; begin(); }
      code += event.key;
    } else {
      const scanned = event.key === "Enter" && quick && (isGTIN(code) || parsePairRef(code)) ? code : "";
      code = "";
      if (!scanned) return;
      event.preventDefault();
      event.stopImmediatePropagation();
      take(scanned);
    }
  }, true);
}
