// handover.js owns the end of a ticket: the verdict that is given, hygiene, the grade that is worked out, where the
// pair goes, credit and next check; and the record that is sent.

import { byId, draw, html, key, radios } from "./dom.js";
import { column } from "./columns.js";
import { helpKey } from "./help.js";
import { set, wholeKM } from "./reading.js";
import { uuidv7 } from "./ids.js";
import { keep } from "./outbox.js";
import { requests as photoRequests } from "./photo.js";
import { asks as asksRules, ruledRow } from "./ruling.js";
import { blindRows } from "./second.js";
import { deniedRow, sign, signRow, typedSign } from "./sign.js";
import { gone, slipMarkup } from "./slip.js";
import { day, list, locale, t, word } from "./words.js";

const VERDICTS = ["keep", "recheck", "replace", "retire"];
const rank = (verdict) => VERDICTS.indexOf(verdict); // -1 for incomplete

// Where a pair may go, by key; each key stands for the routes of the rule set that mean it.
const WAYS = [
  { name: "resale", routes: ["resale"] },
  { name: "donation", routes: ["donation", "donation for walking"] },
  { name: "recycling", routes: ["recycling", "recycling, never resale"] },
  { name: "sealed", routes: ["sealed disposal"] },
  { name: "runner", routes: ["back to runner"] },
];
const BACK = "back to runner";

const DAY = 86_400_000; // ms

// measured is the distance at which a pair sound at km reaches the risk of the tables, { at, by, curve }: by the life of
// its model ({ id, category }), else of its category, else of all pairs; null beyond the data.
export function measured(risks, model, km) {
  for (const [by, of] of [["model", model?.id], ["category", model?.category], ["all", ""]]) {
    const curve = of === undefined ? undefined : risks?.curves?.find((c) => c.by === by && (c.of ?? "") === of && (of || by === "all"));
    const steps = curve?.steps ?? [], from = (i) => steps[i].at_km ?? 0;
    if (!steps.length || km > from(steps.length - 1)) continue;
    const step = steps.find((s, i) => (i + 1 === steps.length || from(i + 1) > km) && s.next_km > km);
    if (step) return { at: step.next_km, by, curve };
  }
  return null;
}

// nextBy is when a pair should come back after a verdict: { day, words, basis }, or null. The dated table of the rule set
// says how many days and km; the km of a pair that is kept come from measured life where km, its distance, is known. A
// pair that is replaced gets the check of the new one.
export function nextBy({ rules, risks }, verdict, how, model, km, from) {
  if (!verdict || verdict === "incomplete" || (verdict === "recheck" && how === "now")) return null;
  const as = gone(verdict) ? "keep" : verdict, rows = (rules?.next_check ?? []).filter((row) => row.verdict === as), category = model?.category;
  const row = rows.find((r) => category && r.category === category) ?? rows.find((r) => !r.category);
  if (!row) return null;
  const life = verdict === "keep" && km !== undefined ? measured(risks, model, km) : null;
  const on = day(new Date(from.getTime() + row.days * DAY));
  const basis = life
    ? t(`next.by-life-${life.by}`, { category: category && word(category), n: life.curve.pairs ?? 0, day: day(new Date(risks.as_of)) })
    : t(row.category ? "next.by-category" : "next.by-table", { n: rules.number, category: row.category && word(row.category) });
  return { day: on, words: t("next-check", { day: on, km: life ? life.at - km : row.km }), basis };
}

// nextStored is the same for a stored reading, from what the server says of it.
export function nextStored(check, { rules, category }, from) {
  if (!check) return null;
  const on = day(new Date(from.getTime() + check.days * DAY));
  const basis = check.by === "table" ? t("next.by-table", { n: rules }) : t(`next.by-life-${check.by}-again`, { category: category && word(category), day: day(new Date(check.as_of)) });
  return { day: on, words: t("next-check", { day: on, km: check.in_km }), basis };
}

// nextCheck is the same for the ticket at hand, after the verdict that is given or another; leaves says that the pair
// does not go back to its runner, so that the check is one of a new pair, whatever the old one was found to be.
export const nextCheck = (bench, verdict = bench.given(), leaves = false) => (leaves
  ? nextOfNew(bench.context, bench.ticket.model, bench.now())
  : nextBy(bench.context, verdict, bench.result?.how, bench.ticket.model, wholeKM(bench.reading), bench.now()));

// nextOfNew is when a new pair should come, by the table of a model like the old one's.
export const nextOfNew = (context, model, from) => nextBy(context, "keep", null, model, undefined, from);

// openRoutes are the routes that the grade opens, the proposed one first.
function openRoutes(bench) {
  const { grade } = bench.result;
  if (!grade) return [];
  return [...new Set((bench.context.rules?.grades ?? []).filter((row) => row.grade === grade).flatMap((row) => row.routes))];
}

// route is where the pair goes: what was picked while it is still open, else what is proposed.
function route(bench) {
  if (bench.ticket.amends || bench.ticket.of) return BACK; // it went where it went, or goes where the first reader says
  const open = openRoutes(bench), picked = bench.ticket.route;
  if (picked && (picked === BACK || open.includes(picked))) return picked;
  return bench.reading.kind === "check" || !open.length ? BACK : bench.result.route || open[0];
}

// creditBy is what a table gives in minor units for a grade, category and age in days, as the engine reckons it: rows
// of the model's own category go before those of any, the narrowest band that holds the age counts, and an age that
// is unknown gets the least of them. It is undefined where the table has no row.
export function creditBy(table, grade, category, days) {
  const of = (c) => table.rows.filter((row) => row.grade === grade && (row.category ?? "") === c);
  const rows = category && of(category).length ? of(category) : of("");
  if (days === undefined) return rows.length ? Math.min(...rows.map((row) => row.minor ?? 0)) : undefined;
  const band = (row) => row.under_days || Infinity;
  const fits = rows.filter((row) => days < band(row)).toSorted((a, b) => band(a) - band(b));
  return fits.length ? fits[0].minor ?? 0 : undefined;
}

// credit is what the runner gets by the store's table: { minor, currency, table }, or null where no table says.
function credit(bench) {
  const table = bench.context.credit, { grade } = bench.result, bought = bench.reading.bought_on;
  if (!table || !grade || route(bench) === BACK) return null;
  const days = bought ? Math.floor((bench.now() - new Date(bought)) / DAY) : undefined;
  const minor = creditBy(table, grade, bench.ticket.model?.category, days);
  return minor === undefined ? null : { minor, currency: table.currency, table: table.number };
}

// money writes an amount of minor units as the language does.
export function money(minor, currency) {
  const format = new Intl.NumberFormat(locale, { style: "currency", currency });
  return format.format(minor / 10 ** format.resolvedOptions().maximumFractionDigits);
}

const paid = (bench) => bench.ticket.override?.minor ?? credit(bench)?.minor;

// less reports whether less is given than was advised, which takes a reason; undone whether that undoes an advised
// replace or retire, which takes a second person besides. Common practice, no source.
const less = (bench) => rank(bench.given()) < rank(bench.result.verdict);
const undone = (bench) => less(bench) && gone(bench.result.verdict);
const coRead = (bench) => bench.context.who?.trainee && bench.given() === "keep";

// signed reports whether another credit is allowed: by who is at the bench, or by a manager who signed it off here.
const signed = (bench) => Boolean(bench.context.who?.may_override || bench.ticket.override?.by);

// A second person stands by the verdict as it is given now, in place of what is advised now; without a line by a code
// that proves nothing, which a manager confirms later.
const takesSecond = (bench) => undone(bench) || coRead(bench);
const signedFor = (bench, { advised, given } = {}) => advised === bench.result.verdict && given === bench.given();
// Who signed and then finishes the ticket in the other's place is one person, and no second one.
const isMe = (bench, { by, code } = {}) => (by ?? code) !== undefined && (by ?? code) === bench.context.who?.code;
const seconded = (bench) => {
  const second = bench.ticket.second;
  return Boolean(second && signedFor(bench, second) && (second.by || (second.offLine && second.code)) && !isMe(bench, second));
};

// missing lists what must still be said before the ticket can be finished.
export function missing(bench) {
  if (!bench.result) return ["verdict"];
  const { reading: r, result, ticket } = bench, out = [];
  if (ticket.of) return !bench.context.who?.code || bench.context.who.code === ticket.of.staff ? ["other-reader"] : bench.saw ? ["saw"] : [];
  if (asksRules(bench)) out.push("rules");
  if (ticket.amends && !r.amend_reason) out.push("amend-reason");
  if (takesSecond(bench) && !seconded(bench)) out.push(undone(bench) ? "second-person" : "co-reader");
  if (less(bench) && !r.given_reason) out.push("reason");
  if (ticket.override && !ticket.override.reason) out.push("override-reason");
  if (ticket.override && !signed(bench)) out.push("override-signed");
  if (result.verdict === "recheck" && result.how === "now" && bench.given() === "recheck" && route(bench) !== BACK) out.push("now");
  return out;
}

// others are who read this ticket before whoever finishes it, whose reading it becomes.
const others = ({ ticket, context }) => (ticket.readers ?? []).filter((code) => code !== context.who?.code);

const readersRow = (bench) => (others(bench).length ? html`<p class="note readers">${t("readers", { others: list(others(bench)), me: bench.context.who?.code ?? "" })}</p>` : "");

// whyRow asks why a stored reading is corrected, and says what becomes of it.
const whyRow = (bench) => html`<div><h2>${t("amend.head")}</h2><label class="field"><span>${t("amend.reason")}</span><input data-k="f-amend_reason" data-col="amend_reason" autocomplete="off" maxlength="300" value="${bench.reading.amend_reason ?? ""}"></label><p class="note">${t("amend.note")}</p></div>`;

const hygiene = (bench) => html`<fieldset><legend>${t("check.hygiene")}</legend><div class="hygiene">${radios({ name: "hygiene", act: "hygiene", label: t("check.hygiene"), columns: 3, value: bench.reading.hygiene, options: column("hygiene").words.map((w) => ({ v: w, text: word(w), note: t(`hygiene.${w}`) })) })}${helpKey(bench, "hygiene")}</div></fieldset>`;

function gradeRow(bench) {
  const { grade, how } = bench.result;
  return html`<div><h2>${t("grade")} <small>${t(grade ? "grade.worked-out" : how === "now" ? "grade.waits-again" : "grade.waits")}</small></h2><ol class="grades">${["A", "B", "C", "D", "X"].map((g) => html`<li${g === grade ? html` aria-current="true"` : ""}><b>${g}</b>${t(`grade.${g}`)}</li>`)}</ol></div>`;
}

function ways(bench) {
  const open = openRoutes(bench), to = route(bench), { grade } = bench.result;
  return html`<fieldset><legend>${t("route")}</legend>${radios({ name: "route", act: "route", label: t("route"), columns: WAYS.length, options: WAYS.map(({ name, routes }) => {
    const is = name === "runner" ? BACK : routes.find((r) => open.includes(r));
    return { v: is ?? name, text: t(`route.${name}`), note: is ? t(`route.${name}.note`) : "", reason: grade ? t("route.closed", { grade }) : t("route.no-grade"), off: !is, state: is !== undefined && is === to };
  }) })}</fieldset>`;
}

function givenRow(bench) {
  const { result, reading: r } = bench, given = bench.given(), takes = gone(result.verdict) ? "given.second" : "given.reasoned";
  const options = VERDICTS.map((v) => {
    const closed = result.verdict === "incomplete" && v === "keep";
    return { v, text: t(v === "recheck" && result.how === "now" ? "verdict.now" : `given.${v}`), note: t(v === result.verdict ? "given.advised" : rank(v) > rank(result.verdict) ? "given.stronger" : takes), reason: t("given.unread"), off: closed, state: v === given };
  });
  const reason = less(bench) ? html`<label class="field wide"><span>${t("given.reason")}</span><input data-k="f-given_reason" data-col="given_reason" autocomplete="off" maxlength="300" value="${r.given_reason ?? ""}"></label>` : "";
  const asks = takesSecond(bench) || less(bench) ? html`<div class="fields">${reason}${takesSecond(bench) ? secondRow(bench) : ""}</div>${takesSecond(bench) ? secondNote(bench) : ""}` : "";
  return html`<fieldset><legend>${t("given")} <small>${t(result.verdict === "incomplete" ? "given.incomplete" : "given.rules", { rules: result.rules })}</small></legend>${radios({ name: "given", act: "given", label: t("given"), columns: VERDICTS.length, options })}${asks}</fieldset>${!takesSecond(bench) && heard(bench) ? heardRow(bench) : ""}`;
}

// heard reports whether a second reader is said to have said something that nothing proves: no blind reading of theirs.
const heard = ({ reading: r, ticket }) => Boolean(r.second_says && r.second_reader && !ticket.beside && !ticket.of);

// heardRow lets the second reader sign what they are said to have said. They needn't: the record then says whose word it is.
function heardRow(bench) {
  const { reading: { second_reader: code, second_says: says }, ticket } = bench, second = signedFor(bench, ticket.second) ? ticket.second : {};
  return html`<div><h2>${t("second.head")} <small>${t(`second.says.${says}`, { code })}</small></h2><div class="fields">${secondRow(bench)}</div>${second.by ? "" : html`<p class="note">${t("second.said", { code })}</p>`}${deniedRow(second)}</div>`;
}

// secondRow asks the second person for their own secret. One who has said something about the reading already is the one.
function secondRow(bench) {
  const { reading: r, ticket } = bench, second = ticket.second ?? {}, state = second.by && isMe(bench, second) ? {} : signedFor(bench, second) ? second : { code: second.code };
  const fixed = r.second_says && r.second_reader;
  if (fixed) state.code = fixed;
  return signRow("second", state, { label: t(undone(bench) ? "given.by" : takesSecond(bench) ? "given.co-reader-code" : "second.code"), button: t("sign.verdict", { verdict: t(`given.${bench.given()}`) }), fixed });
}

// secondNote says why a signature was not taken, and what becomes of a code without one.
function secondNote(bench) {
  const second = bench.ticket.second ?? {};
  if (!signedFor(bench, second)) return "";
  return second.offLine && !second.by ? html`<p class="note" role="status">${t("sign.off-line", { code: second.code })}</p>` : deniedRow(second);
}

function creditRow(bench) {
  const c = credit(bench), over = bench.ticket.override;
  if (!c) return html`<div><h2>${t("credit")} <small>${t(bench.context.credit ? "credit.none" : "credit.no-table")}</small></h2></div>`;
  return html`<div><h2>${t("credit")} <small>${t("credit.by", { table: c.table })}</small></h2><div class="credit"><output>${money(paid(bench), c.currency)}</output>${key({ k: "override", act: "override", text: t("credit.override"), note: t("credit.override.note"), state: Boolean(over) })}</div></div>`;
}

// overRow asks for another amount and why, and for a manager's own secret where the one at the bench may not say so.
function overRow(bench, over) {
  const line = (name, label, value, more) => html`<label class="field"><span>${label}</span><input data-k="f-override-${name}" data-override="${name}" autocomplete="off" value="${value}"${more}></label>`;
  const asks = bench.context.who?.may_override ? "" : signRow("override", over, { label: t("credit.manager-code"), button: t("credit.sign", { amount: money(paid(bench), credit(bench).currency) }) });
  return html`<div><div class="fields">${line("minor", t("credit.amount"), over.typed ?? "", html` inputmode="decimal"`)}${line("reason", t("credit.reason"), over.reason ?? "", html` maxlength="300"`)}${asks}</div>${deniedRow(over)}</div>`;
}

function nextRow(bench) {
  const leaves = route(bench) !== BACK, next = nextCheck(bench, bench.given(), leaves);
  return html`<div><h2>${t(gone(bench.given()) || leaves ? "next.new" : "next")}</h2><p><b>${next?.words ?? t(bench.result?.how === "now" ? "next.none-again" : "next.none")}</b><br><span class="note">${next?.basis ?? ""} ${t("next.cut")}</span></p></div>`;
}

export function drawHandover(bench) {
  document.body.classList.toggle("handing", bench.handing);
  byId("handover").hidden = !bench.handing;
  for (const [id, here] of [["way-read", !bench.handing], ["way-hand", bench.handing]]) {
    if (here) byId(id).setAttribute("aria-current", "page");
    else byId(id).removeAttribute("aria-current");
  }
  if (!bench.handing) return;
  if (!bench.result) { draw(byId("hand-form"), html`<p class="failed">${t("hand.waits")}</p>`); return; }
  const open = missing(bench), sent = bench.ticket.state !== "open";
  const { amends } = bench.ticket, end = amends ? nextRow(bench) : html`<div class="two">${creditRow(bench)}${nextRow(bench)}</div>`;
  draw(byId("hand-form"), sent ? finished(bench) : html`${bench.ticket.of ? blindRows(bench) : html`${ruledRow(bench)}${readersRow(bench)}${amends ? whyRow(bench) : ""}${hygiene(bench)}${gradeRow(bench)}${amends ? "" : ways(bench)}${givenRow(bench)}${end}${bench.ticket.override && credit(bench) ? overRow(bench, bench.ticket.override) : ""}`}
<div class="finish">${key({ k: "hand-back", act: "hand", v: "back", text: t("hand.back-to-shoes") })}<p class="note" role="status">${open.length ? t("finish.missing", { what: open.map((m) => t(`missing.${m}`, { at: bench.saw })).join("; ") }) : ""}</p></div>`);
  byId("slip").hidden = Boolean(bench.ticket.of); // the runner gets the first reader's
  const c = credit(bench), to = route(bench);
  draw(byId("slip"), slipMarkup({
    reading: bench.reading, asNew: bench.asNew, result: bench.result, given: bench.given(), next: nextCheck(bench, bench.given(), to !== BACK), leaves: to !== BACK, at: bench.readAt(),
    grade: bench.result.grade, route: amends ? undefined : to, credit: c && t("slip.credit-by", { amount: money(paid(bench), c.currency), table: c.table }),
    store: bench.context.store?.name ?? bench.reading.store, staff: bench.reading.staff ?? bench.context.who?.code,
  }));
}

// finished is what stands where the form was, once the ticket is on its way.
function finished(bench) {
  const { state, problem } = bench.ticket;
  return html`<div><h2 class="end">${t("finished.head")}</h2><p>${t(`finished.${state}`)}</p></div>${problem ? html`<div class="failed"><div><b>${problem.title}</b><ul>${(problem.errors ?? [{ detail: problem.detail ?? "" }]).map((e) => html`<li>${e.pointer ? `${e.pointer.replace(/^#\//, "")}: ` : ""}${e.detail}</li>`)}</ul></div>${key({ k: "reopen", act: "reopen", text: t("finished.reopen") })}</div>` : ""}
${bench.ticket.of ? "" : html`<div class="opts n2">${key({ k: "print", act: "print", v: "roll", text: t("print"), note: t("print.roll"), main: true })}${key({ k: "print-a4", act: "print", v: "sheet", text: t("print"), note: t("print.sheet") })}</div>`}
<div class="opts n3">${key({ k: "history", act: "leave", v: `/pairs/${bench.reading.pair_ref}`, text: t("finished.history") })}${key({ k: "fitting", act: "leave", v: `/bench/fitting?${new URLSearchParams({ runner: bench.reading.runner ?? "", pair: bench.reading.pair_ref })}`, text: t("finished.fitting") })}${key({ k: "list", act: "leave", v: "/bench", text: t("finished.list") })}</div>`;
}

// record is the reading as it is stored: what was read, who read it and when, what was advised and what was given.
function record(bench) {
  const { reading: r, context, ticket, result } = bench;
  const filled = ticket.filled?.length ? t("note.filled", { zones: ticket.filled.join(", ") }) : "";
  const before = others(bench).length ? t("note.readers", { others: others(bench).join(", ") }) : "";
  const { second } = ticket, named = ticket.of ? { given: undefined } : takesSecond(bench) ? { second_reader: second.by ?? second.code, ...(second.by ? {} : { flags: ["second-unproven"] }) } : {};
  const body = { ...r, store: r.store ?? context.store?.code, staff: context.who?.code, at: r.at, advised: result.verdict, given: bench.given(), rules: result.rules, ...named, note: [r.note, filled, before].filter(Boolean).join("; ") };
  for (const name of Object.keys(body)) if (body[name] === undefined || body[name] === "") delete body[name];
  return body;
}

function tradeIn(bench) {
  const { result, ticket, context } = bench, c = credit(bench), over = ticket.override;
  const body = { inspection_id: ticket.id, pair_ref: bench.reading.pair_ref, store: bench.reading.store ?? context.store?.code, staff: context.who?.code, at: bench.reading.at, grade: result.grade, route: route(bench), credit: paid(bench) ?? 0, advised: c?.minor ?? 0, currency: c?.currency ?? context.store?.currency, credit_table: c?.table ?? 0 };
  if (over) Object.assign(body, { override_by: over.by ?? context.who?.code, reason: over.reason });
  for (const name of Object.keys(body)) if (body[name] === undefined) delete body[name];
  return body;
}

export const acts = {
  async hand(bench, v) {
    bench.handing = v === "over";
    if (bench.handing) {
      bench.focus = bench.ticket.amends && !bench.reading.amend_reason ? "f-amend_reason" : "hygiene-clean";
      bench.freshen();
    }
    else bench.enterLedger();
  },
  hygiene(bench, v) { set(bench.reading, "pair", "hygiene", v.split(",")[1]); },
  route(bench, v) { bench.ticket.route = v.slice(v.indexOf(",") + 1); },
  given(bench, v) {
    const [, verdict] = v.split(",");
    bench.ticket.given = verdict === bench.result.verdict ? undefined : verdict;
    if (!less(bench)) set(bench.reading, "pair", "given_reason", undefined);
  },
  override(bench) { bench.ticket.override = bench.ticket.override ? undefined : {}; },
  async sign(bench, of) {
    const { ticket } = bench, over = of === "override";
    const state = over ? ticket.override : secondOf(bench), store = bench.reading.store ?? bench.context.store?.code;
    const what = over ? { purpose: "credit", credit: paid(bench), currency: credit(bench).currency } : { purpose: "reading", advised: state.advised, given: state.given, store };
    await sign(ticket, state, what);
    if (!over) state.offLine = state.denied === "no-line";
    bench.focus = state.by || state.offLine ? "finish" : `f-${of}-secret`;
  },
  async finish(bench) {
    if (!bench.ticket.amends) bench.reading.at = bench.now().toISOString(); // a correction is of what was read then
    bench.ticket.trade ??= uuidv7(bench.now().getTime());
    bench.ticket.by = bench.context.who?.code;
    bench.ticket.state = "waiting";
    bench.ticket.problem = undefined;
    await bench.save();
    const requests = [{ url: `/api/v1/inspections/${bench.ticket.id}`, body: record(bench) }];
    // A pair that goes back to its runner is not traded in, and one that was is not again.
    if (bench.reading.kind === "trade-in" && route(bench) !== BACK) requests.push({ url: `/api/v1/trade-ins/${bench.ticket.trade}`, body: tradeIn(bench) });
    await keep(bench.ticket.id, [...requests, ...photoRequests(bench)]);
    bench.focus = "print";
  },
  reopen(bench) {
    bench.ticket.state = "open";
    bench.handing = false;
  },
  print(bench, paper) {
    document.body.dataset.paper = paper;
    bench.print();
  },
  leave(_, to) { location.assign(to); },
};

// secondOf is what the ticket keeps of the second person for the verdict at hand; another verdict takes them anew.
function secondOf(bench) {
  const { ticket, reading: r, result } = bench, code = (r.second_says && r.second_reader) || ticket.second?.code;
  if (!signedFor(bench, ticket.second) || (ticket.second.by && isMe(bench, ticket.second))) ticket.second = { code, advised: result.verdict, given: bench.given() };
  return ticket.second;
}

// signTyped stores what was written where somebody signs.
export function signTyped(bench, of, name, text) {
  const state = of === "override" ? bench.ticket.override : secondOf(bench);
  if (of === "second") state.offLine = false;
  typedSign(state, name, text);
  return name !== "code" || /^[A-Za-z0-9._-]*$/.test(state.code);
}

// typedOver stores what was written on the override's lines; it reports whether it may stand there.
export function typedOver(bench, name, text) {
  const over = (bench.ticket.override ??= {});
  over.by = undefined; // what was signed is not what stands here now
  if (name === "reason") { over[name] = text.trim(); return true; }
  over.typed = text;
  const digits = new Intl.NumberFormat("en", { style: "currency", currency: credit(bench)?.currency ?? "EUR" }).resolvedOptions().maximumFractionDigits;
  const minor = Math.round(Number(text.trim().replace(",", ".")) * 10 ** digits);
  if (text.trim() === "" || !Number.isFinite(minor) || minor < 0) { delete over.minor; return text.trim() === ""; }
  over.minor = minor;
  return true;
}
