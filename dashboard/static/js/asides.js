// asides.js owns the sheets that take the ledger's place for a moment, each with one key back: second reader, pain
// mentioned, a model that is not in the list, and what else is known about the pair.

import { byId, draw, html, key, radios } from "./dom.js";
import { column, lists, sheet } from "./columns.js";
import { set } from "./reading.js";
import { checkName, reasons, weighty } from "./findings.js";
import { spaced } from "./ids.js";
import { photoPanel } from "./photo.js";
import { besideRows, secondKey } from "./second.js";
import { capital, t, word } from "./words.js";

const field = (name, label, value, more = "") => html`<label class="field"><span>${label}</span><input data-k="f-${name}" data-col="${name}" autocomplete="off" value="${value}"${more}></label>`;

// choice is a row of keys for a closed list; tapping the picked one takes it back.
const choice = (bench, name, options, text = word) => html`<div class="row choice"><span class="lead">${t(`col.${name}`)}</span>${radios({ name: `pick-${name}`, act: "pick", label: t(`col.${name}`), columns: options.length, options: options.map((o) => ({ v: `${name},${o}`, text: text(o), state: bench.reading[name] === o })) })}</div>`;

const back = (text = t("back-to-checks")) => key({ k: "back", act: "panel", v: "checks", text });

// closeCall says that one step on one check would alter the verdict, where a second reading settles most.
const closeCall = ({ result }) => result?.margin === 1 && result.verdict !== "incomplete";

const panels = {
  second(bench) {
    if (bench.ticket.beside) return html`<h2>${t("second.head")}</h2>${besideRows(bench.ticket)}<p class="note">${t("blind.derived")}</p><div class="opts n1">${back()}</div>`;
    const r = bench.reading, open = bench.result ? weighty(reasons(bench.result.findings)).filter((f) => column(f.check)?.check) : [];
    const names = [...new Set([...open.map((f) => f.check), ...sheet.map((c) => c.name)])].slice(0, 8);
    return html`<h2>${t("second.head")}</h2>
<p>${open.length ? t("second.on", { what: open[0].text }) : t("second.nothing")}</p>
${field("second_reader", t("second.code"), r.second_reader ?? "", html` autocapitalize="characters" spellcheck="false"`)}
${radios({ name: "pick-second", act: "pick", label: t("second.says"), columns: 2, options: column("second_says").words.map((w) => ({ v: `second_says,${w}`, text: t(`second.${w}`), state: r.second_says === w })) })}
<p class="lead" id="second-on">${t("second.checks")}</p>
<div class="opts n4 chips" role="group" aria-labelledby="second-on" data-arrows>${names.map((name) => key({ k: `on-${name}`, act: "second-on", v: name, text: checkName(name), state: r.second_on?.includes(name) ?? false }))}</div>
<p class="note">${closeCall(bench) ? t("second.close") : t("second.note")}</p>
<div class="opts n3">${back()}${bench.ticket.of ? "" : secondKey()}${key({ k: "second-none", act: "second-none", text: t("second.none"), quiet: true })}</div>`;
  },
  pain(bench) {
    return html`<h2>${t("pain.head")}</h2><p><b>${t("pain.say")}</b></p><ul class="cautions">${[1, 2, 3].map((i) => html`<li>${t(`pain.caution.${i}`)}</li>`)}</ul><p class="note">${t("pain.kept")}</p>
<div class="opts n2">${key({ k: "pain-yes", act: "pain", v: "yes", text: t("pain.said"), state: bench.reading.pain_mentioned === "yes" })}${key({ k: "pain-no", act: "pain", v: "", text: t("pain.mistake") })}</div>`;
  },
  photos: photoPanel,
  typed(bench) {
    const r = bench.reading;
    return html`<h2>${t("typed.head")}</h2>${field("brand", t("typed.brand"), r.brand ?? "")}${field("model", t("typed.model"), r.model ?? "")}${field("version", t("typed.version"), r.version ?? "")}<p class="note">${t("typed.note")}</p>
<div class="opts n2">${key({ k: "typed-ok", act: "typed", text: t("typed.ok"), main: true })}${back()}</div>`;
  },
  about(bench) {
    const r = bench.reading;
    return html`<h2>${t("about.head")} <small>${spaced(r.pair_ref)}</small></h2>
${choice(bench, "surface", lists.surface)}${choice(bench, "used_for", lists.used_for)}${choice(bench, "gait_by", lists.gait_by)}${choice(bench, "strike", lists.strike)}
<div class="fields pair">${choiceField(bench, "kind", lists.kind)}${field("bought_on", t("col.bought_on"), r.bought_on ?? "", html` type="date"`)}${field("batch", t("col.batch"), r.batch ?? "")}${field("note", t("col.note"), r.note ?? "", html` maxlength="600"`)}</div>
${bench.pairs.length ? html`<div class="row choice"><span class="lead">${t("about.pairs")}</span><div class="opts" role="radiogroup" aria-label="${t("about.pairs")}">${bench.pairs.slice(0, 2).map((p) => key({ k: `pair-${p.pair_ref}`, act: "adopt", v: p.pair_ref, role: "radio", state: r.pair_ref === p.pair_ref, text: spaced(p.pair_ref), note: [p.size_label, p.bought_on].filter(Boolean).join(", ") }))}${key({ k: "pair-new", act: "adopt", v: bench.ticket.ownRef ?? r.pair_ref, role: "radio", state: !bench.ticket.known, text: t("about.new-pair"), note: t("about.new-pair.note") })}</div></div>` : ""}
<div class="opts n1">${back()}</div>`;
  },
};

const choiceField = (bench, name, options) => html`<label class="field"><span>${t(`col.${name}`)}</span><select data-k="f-${name}" data-col="${name}">${options.map((o) => html`<option value="${o}"${bench.reading[name] === o ? html` selected` : ""}>${capital(word(o))}</option>`)}</select></label>`;

export const isAside = (panel) => panel in panels;

export function drawAside(bench) {
  const aside = isAside(bench.panel);
  byId("aside").hidden = !aside;
  byId("checks").hidden = aside;
  draw(byId("aside"), aside ? panels[bench.panel](bench) : "");
}

// drawAlso draws the keys below the checks that lead to the other sheets.
export function drawAlso(bench) {
  const r = bench.reading, second = r.second_says ? t(`second.${r.second_says}`) : t(closeCall(bench) ? "second.close.short" : "second.none");
  draw(byId("also"), bench.panel === "more" ? html`${key({ k: "back", act: "panel", v: "checks", text: t("back-to-checks") })}`
    : html`${key({ k: "more", act: "panel", v: "more", text: t("more"), note: t("more.note") })}${key({ k: "second", act: "panel", v: "second", text: t("second.head"), note: second })}${key({ k: "about", act: "panel", v: "about", text: t("about.key"), note: bench.pairs.length ? t(bench.ticket.known ? "about.is-known" : "about.maybe-known", { n: bench.pairs.length }) : t("about.note") })}${key({ k: "photos", act: "panel", v: "photos", text: t("photo.head"), note: bench.ticket.photos?.length ? t("photo.taken", { n: bench.ticket.photos.length }) : t("photo.none") })}`);
}

export const acts = {
  panel(bench, name) {
    bench.panel = bench.panel === name ? "checks" : name;
    bench.line = null;
    bench.asking = null;
    if (bench.panel === "checks") bench.enterLedger();
    else if (isAside(bench.panel)) bench.focusPanel = true;
  },
  pick(bench, v) {
    const [, name, value] = v.match(/^[^,]*,([^,]+),(.*)$/);
    set(bench.reading, "pair", name, bench.reading[name] === value ? undefined : value);
  },
  pain(bench, v) {
    set(bench.reading, "pair", "pain_mentioned", v || undefined);
    bench.panel = "checks";
    bench.enterLedger();
  },
  "second-on"(bench, name) {
    const on = bench.reading.second_on ?? [], next = on.includes(name) ? on.filter((n) => n !== name) : [...on, name];
    set(bench.reading, "pair", "second_on", next.length ? next : undefined);
  },
  "second-none"(bench) {
    for (const name of ["second_reader", "second_says", "second_on"]) set(bench.reading, "pair", name, undefined);
    bench.panel = "checks";
    bench.enterLedger();
  },
  // adopt says which pair this is: one of the runner's, or a new one. The fitter says it; nothing is matched in silence.
  adopt(bench, ref) {
    bench.ticket.ownRef ??= bench.reading.pair_ref;
    bench.reading.pair_ref = ref;
    bench.ticket.known = ref !== bench.ticket.ownRef;
  },
  typed(bench) {
    bench.ticket.model = null;
    bench.asNew = null;
    bench.panel = "checks";
    bench.enterLedger();
  },
};
