// fitting.js owns the fitting: what is typed is kept on the tablet at every letter and sent through the outbox, so
// that neither a reload nor a dead line loses it. Sizes are the engine's, handed over by the page, bands of posture the
// office's, which come with the bench's context.

import { start } from "./begin.js";
import { byId, draw, html, key } from "./dom.js";
import { measured, nextBy } from "./handover.js";
import { pairRef, parsePairRef, spaced, uuidv7 } from "./ids.js";
import { bring, oldMarkup } from "./oldpair.js";
import * as outbox from "./outbox.js";
import { context as bringContext } from "./place.js";
import { bandOf, bandsOn, today } from "./posture.js";
import { fittings } from "./shelf.js";
import { question, suggest } from "./suggest.js";
import { capital, t, word } from "./words.js";

const form = byId("fitting"), main = byId("main");
const sizes = JSON.parse(main.dataset.sizes);
const GAITS = [...form.elements.gait.options].slice(1).map((o) => o.value); // the words of a band, in order
const ITEMS = 6, SHOES = ["left", "right"];
const context = await bringContext();

const asked = new URLSearchParams(location.search);
const anew = () => ({ id: "open", fitting: uuidv7(), pair: pairRef(), tried: [], fields: { runner: asked.get("runner") ?? "", old_pair: asked.get("pair") ?? "" } });

// Whoever comes with a runner or a pair gets a new fitting; what was begun for another is put aside, not lost.
let draft = await fittings.get("open") ?? anew();
const bare = (ref) => parsePairRef(ref ?? "") ?? ref;
if ((asked.get("runner") && draft.fields.runner !== asked.get("runner")) || (asked.get("pair") && bare(draft.fields.old_pair) !== bare(asked.get("pair")))) {
  await aside();
  draft = anew();
}
draft.tried ??= []; // a fitting that was begun before pairs were written down
const models = new Map(); // those of the list that this page has met, by their name

// begun reports whether anything stands in a fitting that is worth keeping.
function begun({ fields, tried }) {
  return tried?.length > 0 || Object.entries(fields).some(([name, v]) => name !== "runner" && name !== "old_pair" && (v === true || v?.length > 0));
}

async function aside() {
  if (begun(draft) && !draft.kept) await fittings.put({ ...structuredClone(draft), id: draft.fitting });
}

// drawAside offers the fittings that were put aside.
async function drawAside() {
  const all = (await fittings.all()).filter((f) => f.id !== "open");
  draw(byId("put-aside"), all.length ? html`<span>${t("fit.aside")}</span>${all.map((f) => key({ k: `take-${f.id}`, act: "take-up", v: f.id, text: f.fields.runner || t("fit.nobody"), quiet: true }))}` : "");
}

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

const banded = {}; // each foot's band of posture, by its place in GAITS

// tell says what follows from what was measured: sizes by the longer foot, the posture's sum and band by foot.
function tell() {
  const { fields } = draft, longer = Math.max(...SHOES.map((shoe) => whole(fields[`${shoe}.length_mm`]) ?? 0)), s = sizes[longer];
  draw(byId("sizes"), s ? html`<b>${t("fit.sizes", { mm: longer, eu: s.eu, uk: s.uk, us_m: s.us_m, us_w: s.us_w, mondopoint: s.mondopoint })}</b>` : longer ? t("fit.sizes.none") : "");
  for (const shoe of SHOES) banded[shoe] = undefined;
  for (const shoe of SHOES) {
    const items = Array.from({ length: ITEMS }, (_, i) => whole(fields[`${shoe}.fpi_${i + 1}`]));
    if (items.includes(undefined)) { draw(byId(`sum-${shoe}`), "–"); continue; } // a sum of five isn't comparable
    const sum = items.reduce((a, b) => a + b, 0), bands = bandsOn(context.bands, today()), band = bandOf(bands, sum);
    draw(byId(`sum-${shoe}`), html`<b>${sum > 0 ? "+" : ""}${sum}</b> ${band === undefined ? "" : word(GAITS[band])}${bands?.number > 1 ? html` <small class="note">${t("fit.bands", { n: bands.number })}</small>` : ""}`);
    banded[shoe] = band;
  }
  tellOld();
  tellFeatures();
  form.elements["left.strike_index"].closest("label").hidden = form.elements["right.strike_index"].closest("label").hidden = fields.strike_by !== "index";
}

// old brings what is known of the pair that was brought in, and keeps it with the fitting for when the line goes.
async function old() {
  const ref = parsePairRef(draft.fields.old_pair ?? ""), says = byId("old-says");
  says.textContent = draft.fields.old_pair && !ref ? t("slip-in.wrong") : t("fit.old.note");
  const got = ref ? await bring(ref) : null;
  if (ref !== parsePairRef(draft.fields.old_pair ?? "")) return; // another was written meanwhile
  if (got?.why === "line" && draft.old?.ref === ref) says.textContent = t("fit.as-known");
  else if (got?.why) { says.textContent = got.why === "none" ? t("slip-in.unknown") : t("fit.no-line"); delete draft.old; }
  else if (got) draft.old = got;
  else delete draft.old;
  if (got?.runner && !form.elements.runner.value) form.elements.runner.value = got.runner;
  changed();
}

// tellOld shows the old pair beside the form; who takes the gait before the wear is looked at sees it afterwards.
function tellOld() {
  const { fields, old: pair } = draft, covered = pair?.last && fields.before_wear && !fields.gait;
  draw(byId("old-pair"), !pair ? "" : covered ? html`<p class="note">${t("fit.covered")}</p>` : oldMarkup(pair, fields.gait, GAITS));
}

// tellFeatures says which features what was seen points to, and asks the catalogue for shoes that have them.
function tellFeatures() {
  const { fields, tried } = draft, covered = fields.before_wear && !fields.gait;
  const all = suggest({ fields, old: covered ? null : draft.old, tried, gaits: GAITS, bands: banded });
  draw(byId("features"), all.length ? all.map((f) => html`<li><b>${t(`fit.feature.${f.name}`)}</b> ${f.why.join("; ")}${f.but.length ? html`<br>${t("fit.but", { what: f.but.join("; ") })}` : ""}<br><span class="note">${t(`fit.strength.${f.strength}`)}</span></li>`) : html`<li class="note">${t("fit.no-feature")}</li>`);
  shoes(question(all));
}

// shoes shows models of the catalogue that have the features and are sold, each with its measured life.
let wanted = "";
async function shoes(query) {
  const text = new URLSearchParams(query).toString();
  if (text === wanted) return;
  wanted = text;
  if (!text) { draw(byId("fitting-shoes"), ""); return; }
  const answer = await fetch(`/api/v1/shoe-models?${text}&sold=true&limit=${SHOWN}`).catch(() => null);
  if (text !== wanted) return;
  if (!answer?.ok) { draw(byId("fitting-shoes"), html`<p class="note">${t("fit.no-shoes-line")}</p>`); wanted = ""; return; }
  const { items } = await answer.json();
  for (const m of items) models.set(nameOf(m), m);
  draw(byId("fitting-shoes"), items.length ? html`<p class="lead">${t("fit.shoes")}</p><ul class="shoes">${items.map((m) => html`<li><div><b>${nameOf(m)}</b> <small>${[m.category && word(m.category), m.cushioning && t(`fit.has.cushioning`, { v: word(m.cushioning) }), m.medial_support && t("fit.has.support", { v: word(m.medial_support) }), m.drop_mm === undefined ? "" : t("fit.has.drop", { v: m.drop_mm }), m.widths].filter(Boolean).join(", ")}<br>${life(m)}</small></div>${key({ k: `try-${m.model_id}`, act: "try", v: nameOf(m), text: t("fit.try") })}</li>`)}</ul>` : html`<p class="note">${t("fit.no-shoes")}</p>`);
}

const SHOWN = 6; // models of the catalogue
const nameOf = (m) => [m.brand, m.model, m.version].filter(Boolean).join(" ");

// life says how long pairs of a model last, as measured: by the model itself, else its category, else all.
function life(m) {
  const found = measured(context.risks, { id: m.model_id, category: m.category }, 0);
  return found ? t(`fit.life.${found.by}`, { km: found.at, risk: context.risks.risk, n: found.curve.pairs ?? 0 }) : t("fit.life.none");
}

// drawTried draws the pairs that were on the feet.
const FELT = main.dataset.felt.split(" "), OUTCOMES = main.dataset.outcomes.split(" ");
function drawTried() {
  const pick = (i, name, all, now, none) => html`<select data-k="tried-${i}-${name}" data-tried="${i},${name}" aria-label="${t(`fit.tried.${name}`)}, ${i + 1}">${none ? html`<option value="">–</option>` : ""}${all.map((w) => html`<option value="${w}"${w === now ? html` selected` : ""}>${t(`${name}.${w}`)}</option>`)}</select>`;
  draw(byId("tried"), draft.tried.map((p, i) => html`<tr><td><input data-k="tried-${i}-shoe" data-tried="${i},shoe" list="shoes" maxlength="80" spellcheck="false" autocomplete="off" aria-label="${t("ticket.shoe")}, ${i + 1}" value="${p.shoe}"></td><td><input data-k="tried-${i}-size" data-tried="${i},size" maxlength="24" spellcheck="false" autocomplete="off" aria-label="${t("ticket.size")}, ${i + 1}" value="${p.size}"></td><td>${pick(i, "felt", FELT, p.felt, true)}</td><td>${pick(i, "outcome", OUTCOMES, p.outcome)}</td><td>${key({ k: `tried-${i}-drop`, act: "untry", v: String(i), text: t("fit.untry.key"), quiet: true, label: t("fit.untry", { shoe: p.shoe || i + 1 }) })}</td></tr>`));
}

// wear adds a pair that is about to be tried, with the model if it is one of the list.
function wear(shoe) {
  draft.tried.push({ shoe, size: "", felt: "", outcome: "possible", ...(models.has(shoe) ? { model: models.get(shoe).model_id } : {}) });
  drawTried();
  changed();
  form.querySelector(`[data-k="tried-${draft.tried.length - 1}-${shoe ? "size" : "shoe"}"]`).focus();
}

// writeTried takes what was typed about a tried pair. The one that is chosen is the pair that is sold.
function writeTried(at) {
  const [i, name] = at.dataset.tried.split(","), pair = draft.tried[i];
  pair[name] = at.value.trim();
  if (name === "shoe") { pair.model = models.get(pair.shoe)?.model_id ?? (pair.named === pair.shoe ? pair.model : undefined); pair.named = pair.shoe; }
  if (pair.outcome !== "chosen") return;
  if (name === "outcome") for (const other of draft.tried) if (other !== pair && other.outcome === "chosen") other.outcome = "possible";
  form.elements.shoe.value = pair.shoe;
  form.elements.chosen_size.value = pair.size;
  if (pair.model && !models.has(pair.shoe)) { draft.model = pair.model; draft.named = pair.shoe; }
  if (name === "outcome") drawTried();
}

// list asks the catalogue for models by what was typed.
let lookedFor = "";
async function list(q) {
  if (q.length < 2 || q === lookedFor || models.has(q)) return;
  lookedFor = q;
  const answer = await fetch(`/api/v1/shoe-models?${new URLSearchParams({ q, limit: 10 })}`).catch(() => null);
  if (!answer?.ok || q !== lookedFor) return;
  const { items } = await answer.json();
  for (const m of items) models.set(nameOf(m), m);
  draw(byId("shoes"), html`${items.map(nameOf).map((name) => html`<option value="${name}"></option>`)}`);
}

// chosen says which model was chosen: one of the list, which begins a pair.
function chosen() {
  const m = models.get(draft.fields.shoe);
  if (m) Object.assign(draft, { model: m.model_id, category: m.category });
  else if (draft.named !== draft.fields.shoe) delete draft.model;
  if (draft.model) draft.named = draft.fields.shoe;
  const next = draft.model && nextBy(context, "keep", null, { id: draft.model, category: draft.category }, 0, new Date());
  draw(byId("next-says"), next ? html`${t("next.new")}: <b>${next.words}</b> <span class="note">${next.basis}</span>` : "");
  byId("shoe-says").textContent = draft.model ? t("fit.pair", { ref: spaced(draft.pair) }) : draft.fields.shoe ? t("fit.chosen.pick") : t("fit.chosen.note");
}

function changed() {
  read();
  tell();
  chosen();
  fittings.put(structuredClone(draft)).catch((error) => { byId("said").textContent = t("shelf.failed", { why: error.message }); });
}

const escaped = (text) => encodeURIComponent(text ?? "").replaceAll("%20", "+");

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
  const tried = draft.tried.filter((p) => p.shoe).map((p) => [p.outcome, p.felt, escaped(p.size), p.model ?? escaped(p.shoe)].join(":"));
  if (tried.length) out.tried = tried;
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

form.addEventListener("input", ({ target }) => {
  if (target.dataset.tried) writeTried(target);
  changed();
  if (target.name === "shoe" || target.dataset.tried?.endsWith(",shoe")) list(target.value.trim());
});
form.addEventListener("change", (event) => { if (event.target.name === "old_pair") old(); });
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (wrong()) { byId("said").textContent = t("fit.numbers"); return; }
  if (!context.store) { byId("said").textContent = t("fit.no-store"); return; }
  await outbox.keep(draft.fitting, [{ url: `/api/v1/fittings/${draft.fitting}`, body: body() }]);
});
document.addEventListener("click", async (event) => {
  const target = event.target.closest("[data-act]"), { act, v } = target?.dataset ?? {};
  if (act === "anew") { await begin(); byId("said").textContent = ""; }
  else if (act === "try") wear(v ?? "");
  else if (act === "untry") {
    draft.tried.splice(Number(v), 1);
    drawTried();
    changed();
  } else if (act === "take-up") {
    await aside();
    draft = { ...await fittings.get(v), id: "open" };
    await fittings.delete(v);
    await fittings.put(structuredClone(draft));
    await open();
  } else if (act === "read-old") {
    const { last, known, model, ref } = draft.old;
    if (last?.open) location.assign(`/bench/${last.ticket}`);
    else await start("check", context, { known: known ?? { pair_ref: ref }, model });
  }
});

async function begin() {
  history.replaceState(null, "", location.pathname);
  asked.delete("runner");
  asked.delete("pair");
  draft = anew();
  await fittings.put(structuredClone(draft));
  await open();
  form.elements.runner.focus();
}

// open puts the fitting at hand onto the page.
async function open() {
  show();
  drawTried();
  chosen();
  await drawAside();
  await old();
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
    draw(byId("said"), html`${capital(t("finished.sent"))}${model ? html` <a href="/pairs/${pair}">${t("fit.pair", { ref: spaced(pair) })}</a>` : ""}`);
  }
}

await open();
outbox.watch(told);
main.dataset.ready = "true";
