// columns.js owns what the pages know of a reading's columns: the table that the engine itself goes by, served with
// the page. Nothing about a check is written down a second time.

const table = await (await fetch(new URL("../columns.json", import.meta.url))).json();

const byName = new Map([...table.shoe.map((c) => [c.name, { ...c, side: false }]), ...table.pair.map((c) => [c.name, { ...c, pair: true }])]);

// column returns a column by name; lists holds the closed lists around a reading, such as the words of gait.
export const column = (name) => byName.get(name);
export const lists = table.lists;

// asNewOf takes a model's as-new values out of its record in the catalogue. A model that was typed in has none.
export const asNewOf = (model) => (model.typed_in === "yes" ? null : Object.fromEntries(table.as_new.filter((name) => name in model).map((name) => [name, model[name]])));

const all = [...byName.values()];

// zones are the ten zones of a shoe; depthOf names the column of a zone's tread depth.
export const zones = table.shoe.filter((c) => c.kind === "grade").map((c) => c.name);
export const depthOf = (zone) => `${zone}_mm`;

// Two checks that "keep" does not need are asked with the needed ones all the same: the heel's press, and the tilt
// of a shoe whose stand calls for it.
const asked = new Set(["press_heel", "tilt"]);
const checks = all.filter((c) => c.check && c.kind !== "grade" && c.name !== "hygiene");

// sheet are the checks of the sheet in its order, more those behind "More".
export const sheet = checks.filter((c) => c.needed || asked.has(c.name));
export const more = checks.filter((c) => !sheet.includes(c));

// needed are the checks without which nobody says keep.
export const needed = all.filter((c) => c.needed);
