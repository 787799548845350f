// lock.js owns that a store's tablet locks itself when nobody touches it. What was typed is on the shelf already: the
// ticket waits under its number. Without a line nobody could sign in again, so the tablet stays open until there is one.

import { handOn } from "./place.js";

const quiet = Number(document.body.dataset.quiet) * 1000; // ms
const CHECK = Math.min(5000, quiet / 4); // ms between looks at the clock

let touched = Date.now();
for (const event of ["pointerdown", "keydown", "input"]) addEventListener(event, () => { touched = Date.now(); }, { capture: true, passive: true });

export const lock = () => handOn(location.pathname + location.search);

const look = () => { if (Date.now() - touched >= quiet) lock(); };
setInterval(look, CHECK);
// A tablet that slept looks as soon as it wakes.
document.addEventListener("visibilitychange", look);
