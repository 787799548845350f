// fitting.js owns the fitting: what is typed is kept on the tablet at every letter and sent through the outbox, so
// that neither a reload nor a dead line loses it. Sizes and bands are the engine's, handed over by the page.

import { knownPair } from "./begin.js";
import { byId, draw, html } from "./dom.js";
import { pairRef, parsePairRef, spaced, uuidv7 } from "./ids.js";
import * as outbox from "./outbox.js";
import { context as bringContext } from "./place.js";
import { fittings } from "./shelf.js";
import { capital, t, word } from "./words.js";

const form = byId("fitting"), main = byId("main");
const sizes = JSON.parse(main.dataset.sizes), bands = JSON.parse(main.dataset.bands);
const GAITS = [...form.elements.gait.options].slice(1).map((o) => o.value); // the words of a band, in order
const ITEMS = 6, SHOES = ["left", "right"];
const context = await bringContext();

const asked = new URLSearchParams(location.search);
const anew = () => ({ id: "open", fitting: uuidv7(), pair: pairRef(), fields: { runner: asked.get("runner") ?? "", old_pair: asked.get("pair") ?? "" } });

let draft = await fittings.get("open") ?? anew();
if (asked.get("runner") && draft.fields.runner !== asked.get("runner")) draft = anew();
let models = new Map(); // of the list, by their name

// show writes the draft into the form.
function show() {
  form.reset();
  for (const [name, value] of Object.entries(draft.fields)) {
    const at = form.elements.namedItem(name);
    if (at instanceof RadioNodeList) for (const box of at) box.checked = value.includes(box.value);
    else if (at?.type === "checkbox") at.checked = value;
    else if (at) at.value = value;
  }
  tell();
}

// read takes what stands in the form.
function read() {
  const fields = {};
  for (const at of form.elements) {
    if (!at.name) continue;
    if (at.type !== "checkbox") fields[at.name] = at.value.trim();
    else if (at.name === "surfaces") fields.surfaces = [...fields.surfaces ?? [], ...(at.checked ? [at.value] : [])];
    else fields[at.name] = at.checked;
  }
  draft.fields = fields;
}

const whole = (text) => (/^[+-]?\d+$/.test(text ?? "") ? Number(text) : undefined);

// tell says what follows from what was measured: sizes by the longer foot, the posture's sum and band by foot.
function tell() {
  const { fields } = draft, longer = Math.max(...SHOES.map((shoe) => whole(fields[`${shoe}.length_mm`]) ?? 0)), s = sizes[longer];
  draw(byId("sizes"), s ? html`<b>${t("fit.sizes", { mm: longer, eu: s.eu, uk: s.uk, us_m: s.us_m, us_w: s.us_w, mondopoint: s.mondopoint })}</b>` : longer ? t("fit.sizes.none") : "");
  for (const shoe of SHOES) {
    const items = Array.from({ length: ITEMS }, (_, i) => whole(fields[`${shoe}.fpi_${i + 1}`]));
    if (items.includes(undefined)) { draw(byId(`sum-${shoe}`), "–"); continue; } // a sum of five isn't comparable
    const sum = items.reduce((a, b) => a + b, 0), band = bands.findLastIndex((low) => sum >= low);
    draw(byId(`sum-${shoe}`), html`<b>${sum > 0 ? "+" : ""}${sum}</b> ${word(GAITS[band])}`);
  }
  form.elements["left.strike_index"].closest("label").hidden = form.elements["right.strike_index"].closest("label").hidden = fields.strike_by !== "index";
}

// old says what is known of the pair that was brought in.
async function old() {
  const ref = parsePairRef(draft.fields.old_pair ?? ""), says = byId("old-says");
  if (!ref) { says.textContent = draft.fields.old_pair ? t("slip-in.wrong") : t("fit.old.note"); return; }
  const pair = await knownPair(ref);
  if (pair.why) { says.textContent = pair.why === "none" ? t("slip-in.unknown") : t("fit.no-line"); return; }
  const { brand, model, version, size_label: size, runner } = pair.known;
  draw(says, html`<a href="/pairs/${ref}">${[brand, model, version, size].filter(Boolean).join(" ")}</a>`);
  if (runner && !form.elements.runner.value) { form.elements.runner.value = runner; changed(); }
}

// list asks the catalogue for models by what was typed.
let lookedFor = "";
async function list() {
  const q = draft.fields.shoe ?? "";
  if (q.length < 2 || q === lookedFor || models.has(q)) return;
  lookedFor = q;
  const answer = await fetch(`/api/v1/shoe-models?${new URLSearchParams({ q, limit: 10 })}`).catch(() => null);
  if (!answer?.ok || q !== lookedFor) return;
  models = new Map((await answer.json()).items.map((m) => [[m.brand, m.model, m.version].filter(Boolean).join(" "), m]));
  draw(byId("shoes"), html`${[...models.keys()].map((name) => html`<option value="${name}"></option>`)}`);
}

// chosen says which model was chosen: one of the list, which begins a pair.
function chosen() {
  const m = models.get(draft.fields.shoe);
  if (m) draft.model = m.model_id;
  else if (draft.named !== draft.fields.shoe) delete draft.model;
  if (draft.model) draft.named = draft.fields.shoe;
  byId("shoe-says").textContent = draft.model ? t("fit.pair", { ref: spaced(draft.pair) }) : draft.fields.shoe ? t("fit.chosen.pick") : t("fit.chosen.note");
}

function changed() {
  read();
  tell();
  chosen();
  fittings.put(structuredClone(draft)).catch((error) => { byId("said").textContent = t("shelf.failed", { why: error.message }); });
}

// body is the fitting as the server takes it; what is empty is left out.
function body() {
  const { fields, model, pair } = draft, out = { store: context.store?.code, staff: context.who?.code, at: new Date().toISOString() };
  const put = (into, name, value) => { if (value !== undefined && value !== "") into[name] = value; };
  for (const name of ["runner", "gait", "gait_by", "strike", "strike_by", "used_for", "note"]) put(out, name, fields[name]);
  put(out, "weekly_km", whole(fields.weekly_km));
  put(out, "old_pair", parsePairRef(fields.old_pair ?? "") ?? undefined);
  if (fields.before_wear) out.before_wear = "yes";
  if (fields.surfaces?.length) out.surfaces = fields.surfaces;
  if (fields.referred) out.referred = true;
  for (const shoe of SHOES) {
    const foot = {};
    for (const name of ["length_mm", "width_mm", ...Array.from({ length: ITEMS }, (_, i) => `fpi_${i + 1}`), ...(fields.strike_by === "index" ? ["strike_index"] : [])]) put(foot, name, whole(fields[`${shoe}.${name}`]));
    if (Object.keys(foot).length) out[shoe] = foot;
  }
  if (model) Object.assign(out, { chosen_model: model, chosen_pair: pair, ...(fields.chosen_size ? { chosen_size: fields.chosen_size } : {}) });
  return out;
}

// wrong marks the numbers that are none, and reports whether there are any.
function wrong() {
  const bad = [...form.querySelectorAll("[inputmode=numeric]")].filter((at) => at.value.trim() && whole(at.value.trim()) === undefined);
  for (const at of form.querySelectorAll("[inputmode=numeric]")) at.toggleAttribute("aria-invalid", bad.includes(at));
  bad[0]?.focus();
  return bad.length > 0;
}

form.addEventListener("input", () => { changed(); list(); });
form.addEventListener("change", (event) => { if (event.target.name === "old_pair") old(); });
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (wrong()) { byId("said").textContent = t("fit.numbers"); return; }
  if (!context.store) { byId("said").textContent = t("fit.no-store"); return; }
  await outbox.keep(draft.fitting, [{ url: `/api/v1/fittings/${draft.fitting}`, body: body() }]);
});
document.addEventListener("click", async (event) => {
  if (event.target.closest("[data-act=anew]")) { await begin(); byId("said").textContent = ""; }
});

async function begin() {
  history.replaceState(null, "", location.pathname);
  asked.delete("runner");
  asked.delete("pair");
  draft = anew();
  await fittings.put(structuredClone(draft));
  show();
  chosen();
  old();
  form.elements.runner.focus();
}

// told says in the bar what waits, and here what became of this fitting.
async function told(outcome) {
  const { items } = outcome;
  byId("kept").textContent = outbox.inWords(outcome);
  const mine = items.find((i) => i.group === draft.fitting);
  if (mine?.state === "refused") {
    byId("said").textContent = t("fit.refused", { why: mine.problem?.errors?.map((e) => `${e.pointer}: ${e.detail}`).join("; ") ?? mine.problem?.title });
    draft.kept = true;
  } else if (mine) {
    byId("said").textContent = t("finished.waiting");
    draft.kept = true;
  } else if (draft.kept) {
    const { pair, model } = draft;
    await begin();
    byId("said").textContent = `${capital(t("finished.sent"))}${model ? ` ${t("fit.pair", { ref: spaced(pair) })}` : ""}`;
  }
}

show();
chosen();
await old();
outbox.watch(told);
main.dataset.ready = "true";
