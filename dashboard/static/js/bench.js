// bench.js owns the bench page: it opens the ticket, hands every tap and key to the module that knows it, keeps the
// ticket on the shelf, asks for the verdict, and redraws what changed.

import { arrows, byId, focusOn } from "./dom.js";
import { acts as asideActs, drawAlso, drawAside, isAside } from "./asides.js";
import { acts as helpActs, asked as askedHelp, drawHelp } from "./help.js";
import { acts as handActs, drawHandover, nextCheck, signTyped, typedOver } from "./handover.js";
import { newTicket, openPairs } from "./begin.js";
import { parsePairRef, spaced, uuidv7 } from "./ids.js";
import { Judge, load } from "./judge.js";
import { acts as ledgerActs, drawLedger, enter, write } from "./ledger.js";
import { more } from "./columns.js";
import { nextZone } from "./reading.js";
import * as outbox from "./outbox.js";
import { acts as photoActs, bring as bringPhotos } from "./photo.js";
import { watchScans } from "./scan.js";
import { context as bringContext } from "./place.js";
import { acts as rulingActs, note as noteRules, weigh } from "./ruling.js";
import { tickets } from "./shelf.js";
import { acts as secondActs, bring as bringSecond, bringSaw, derive, noteShown } from "./second.js";
import { acts as soleActs, drawSoles, fitSoles, zoneKey } from "./soles.js";
import { acts as stubActs, drawStub } from "./stub.js";
import { acts as ticketActs, bindTicket, drawTicket, scanned, typed } from "./ticket.js";
import { acts as tiltActs, drawView, tap, turned, viewing } from "./tilt.js";
import { t } from "./words.js";

const acts = { ...soleActs, ...ledgerActs, ...asideActs, ...stubActs, ...ticketActs, ...tiltActs, ...secondActs, ...photoActs, ...handActs, ...rulingActs, ...helpActs };

class Bench {
  // what the ticket holds is kept; what stands below is only how it is looked at
  at = null; // the zone that is picked: { shoe, zone }
  zoneAsking = false; // the gauge asks why a zone can't be read
  panel = "checks"; // what stands in the ledger's place
  line = null; // the open check
  asking = null; // the row that asks why a check can't be read: "lining,left"
  help = null; // the check whose help lies over the soles
  pairs = []; // the runner's open pairs of this model
  handing = false;
  result = null;
  why = undefined; // why there is no result
  saw = null; // when who reads a pair a second time was shown what the first reader found
  focus = null; // the key that gets the focus after the next redraw

  #judged = ""; // the question that the newest verdict answers, or will

  constructor(ticket, context) {
    this.ticket = ticket;
    this.context = context;
    this.result = ticket.result ?? null;
    this.judge = new Judge((result, why) => this.judged(result, why));
    this.at = nextZone(this.reading, this.asNew, null);
    enter(this);
    this.handing = ticket.state !== "open";
    this.focus = null;
  }

  get reading() { return this.ticket.reading; }
  get asNew() { return this.ticket.asNew ?? null; }
  set asNew(asNew) { this.ticket.asNew = asNew; }

  now() { return new Date(); }
  readAt() { return new Date(this.reading.at ?? Date.now()); }
  given() { return this.ticket.given ?? this.result?.verdict; }
  nextAdvised() { return nextCheck(this, this.result?.verdict); }

  // judged takes the newest verdict, or why there is none; then the same question is asked again at the next tap.
  judged(result, why) {
    if (this.ticket.state !== "open") return; // what was finished stands
    this.why = why;
    this.result = result;
    if (result) {
      noteRules(this, result);
      this.ticket.result = result;
    } else this.#judged = "";
    this.redraw();
    this.save();
  }

  // changed is called after every change of the reading.
  changed() {
    derive(this.ticket);
    this.#noteReader();
    this.save();
    const question = { reading: this.body(), as_new: this.asNew, rules: this.context.rules }, { at, ...reading } = question.reading;
    const asked = JSON.stringify([reading, this.asNew]);
    if (asked !== this.#judged && this.ticket.state === "open") {
      this.#judged = asked;
      this.judge.ask(question);
    }
    this.redraw();
  }

  #read = null; // what was read when somebody last read something

  // noteReader keeps who read: a ticket that changes hands is kept by who finishes it, and says who read before.
  #noteReader() {
    const read = JSON.stringify(this.reading), { ticket, context: { who } } = this;
    if (this.#read !== null && read !== this.#read && who && ticket.state === "open" && !ticket.readers?.includes(who.code)) ticket.readers = [...ticket.readers ?? [], who.code];
    this.#read = read;
  }

  // freshen brings who is at the bench and what holds now, as before a ticket is kept.
  async freshen() {
    const context = await bringContext();
    if (!context.who || this.ticket.state !== "open") return;
    this.context = context;
    this.changed();
    bringSaw(this);
    await weigh(this);
  }

  // body is the reading with what the judge wants to see beside it, without what is decided afterwards.
  body() {
    const { context } = this, { given_reason, amend_reason, ...reading } = this.reading;
    return { ...reading, store: reading.store ?? context.store?.code, staff: context.who?.code, rules: context.rules?.number, at: reading.at ?? this.now().toISOString() };
  }

  // looks is the ticket and how it is looked at, restore makes it so again.
  looks() {
    const { at, zoneAsking, panel, line, asking, help, handing } = this;
    return { at, zoneAsking, panel, line, asking, help, handing, ticket: structuredClone(this.ticket) };
  }
  restore(looks) {
    Object.assign(this, looks);
    this.focus = null;
    this.changed();
  }

  save() { return tickets.put(structuredClone(this.ticket)).catch((error) => this.say(t("shelf.failed", { why: error.message }))); }

  say(message) { byId("says").textContent = message; }
  print() { print(); }

  leaveSoles() {
    this.at = null;
    this.enterLedger();
  }
  enterLedger() { enter(this); }

  #lookedFor = "";

  // lookForPairs asks which open pairs the runner has, when runner or model changed. A pair known by its slip is known.
  async lookForPairs() {
    const { runner } = this.reading, model = this.ticket.model?.id, asked = `${runner} ${model}`;
    if (asked === this.#lookedFor || (this.ticket.known && !this.ticket.ownRef)) return;
    this.#lookedFor = asked;
    const pairs = runner ? await openPairs(runner, model) : [];
    if (asked === this.#lookedFor) { this.pairs = pairs; this.redraw(); }
  }

  // openLine opens a check wherever it stands.
  openLine(check, shoe) {
    this.panel = more.some((c) => c.name === check) ? "more" : "checks";
    this.line = check;
    this.asking = null;
    this.focus = shoe === "pair" ? `${check}-pair,0` : `line-${check}`;
  }

  redraw() {
    drawTicket(this);
    if (this.handing) drawHandover(this);
    else {
      drawHandover(this);
      drawSoles(this);
      if (!isAside(this.panel)) drawLedger(this);
      drawAside(this);
      drawAlso(this);
      drawView(this);
    }
    drawHelp(this);
    drawStub(this);
    const history = byId("way-history"); // a pair that is new has none
    history.hidden = !this.ticket.known || Boolean(this.ticket.of); // a second reader looks at nothing else
    history.href = `/pairs/${this.reading.pair_ref}`;
    byId("sign-in-again").hidden = this.why !== "signed-out" && !this.signedOut;
    this.place();
  }

  // place puts the focus where the next thing is to be tapped, for whoever works by keys.
  place() {
    if (this.focusPanel) byId("aside").querySelector("input, button")?.focus({ preventScroll: true });
    else if (this.focusZone && this.at) focusOn(`z-${this.at.shoe}-${this.at.zone}`);
    else if (this.focus) focusOn(this.focus);
    this.focusPanel = this.focusZone = false;
    this.focus = null;
  }

  async act(name, value) {
    if (this.ticket.state !== "open" && !["print", "leave", "reopen"].includes(name)) return;
    await acts[name](this, value);
    this.changed();
  }
}

// Acts that change nothing of the reading need no new verdict.
const LOOKS = new Set(["zone", "line", "panel", "zone-ask", "print", "leave", "view-line", "view-move", "view-turn", "view-point", "help"]);

function bind(bench) {
  document.addEventListener("click", (event) => {
    bench.say("");
    const target = event.target.closest("[data-act]");
    if (!target || target.getAttribute("aria-disabled") === "true") return;
    const { act, v } = target.dataset;
    if (LOOKS.has(act)) {
      if (bench.ticket.state === "open" || ["print", "leave"].includes(act)) { acts[act](bench, v); bench.redraw(); }
    } else bench.act(act, v);
  });

  byId("tilt-photo").addEventListener("click", (event) => { tap(event); bench.redraw(); });
  byId("tilt-yaw").addEventListener("input", (event) => { mark(event.target, turned(event.target.value)); bench.redraw(); });

  // What is typed is stored at every letter; what can't stand there is marked and stays to be mended.
  document.addEventListener("input", (event) => {
    const input = event.target, { col, measure, override, sign } = input.dataset;
    if (col) mark(input, typed(bench, col, input.value));
    else if (measure) mark(input, write(bench, ...measure.split(","), input.value));
    else if (override) mark(input, typedOver(bench, override, input.value));
    else if (sign) mark(input, signTyped(bench, ...sign.split(","), input.value));
    else return;
    bench.changed();
  });

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const { target } = event, typing = target.matches("input, select, textarea");
    if (event.key === "Escape") {
      if (bench.help) { acts.help(bench, bench.help); bench.redraw(); }
      else if (viewing()) bench.act("view-leave");
      else if (isAside(bench.panel) || bench.panel === "more") bench.act("panel", "checks");
      else if (bench.handing && bench.ticket.state === "open") bench.act("hand", "back");
      return;
    }
    if (typing) return;
    if (event.key === "?" && bench.ticket.state === "open") { acts.help(bench, askedHelp(bench)); bench.redraw(); return; }
    if (arrows(event)) return;
    const spot = target.closest(".spot");
    if (spot && (event.key === "Enter" || event.key === " ")) {
      event.preventDefault();
      acts.zone(bench, spot.dataset.v);
      bench.redraw();
    } else if (!bench.handing && !viewing() && bench.ticket.state === "open" && zoneKey(bench, event)) {
      event.preventDefault();
      if (event.key.startsWith("Arrow")) bench.redraw();
      else bench.changed();
    }
  });

  // What a scan's keys did before it was known for one is taken back.
  let before = null;
  watchScans(() => { before = bench.looks(); }, (code) => {
    bench.restore(before);
    if (bench.handing || bench.ticket.state !== "open") return;
    const ref = parsePairRef(code);
    if (ref) bench.say(t("scan.slip", { ref: spaced(ref) }));
    else scanned(bench, code);
  });

  // A runner's code is looked for when it is written to the end, not at every letter.
  document.addEventListener("change", (event) => { if (["runner", "shoe"].includes(event.target.id)) bench.lookForPairs(); });

  // The soles' text is fitted to the room they have, which changes with what stands around them.
  const room = new ResizeObserver(() => { if (!bench.handing) { fitSoles(); drawSoles(bench); } });
  for (const shoe of ["left", "right"]) room.observe(byId(`sole-${shoe}`));
}

const mark = (input, fine) => (fine ? input.removeAttribute("aria-invalid") : input.setAttribute("aria-invalid", "true"));

// outboxChanged says in the bar what waits, and brings what became of this ticket.
async function outboxChanged(bench, state) {
  const { signedOut, items } = state;
  byId("kept").textContent = outbox.inWords(state);
  bench.signedOut = signedOut;
  byId("sign-in-again").hidden = !signedOut && bench.why !== "signed-out";
  if (bench.ticket.state === "open") return;
  const mine = items.filter((i) => i.group === bench.ticket.id), bad = mine.find((i) => i.state === "refused");
  const next = bad ? "refused" : mine.length ? "waiting" : "sent";
  if (next === bench.ticket.state && bad?.problem === bench.ticket.problem) return;
  bench.ticket.state = next;
  bench.ticket.problem = bad?.problem;
  await bench.save();
  bench.redraw();
}

// begin returns the ticket of an address: the one on the shelf, or a new one.
async function begin(id, context) {
  const kept = await tickets.get(id);
  if (kept) return kept;
  const stored = await fetch(`/api/v1/inspections/${id}`).catch(() => null);
  if (stored?.ok) { location.replace(`/slip/${id}`); return null; }
  return newTicket(id, "trade-in", context);
}

async function start() {
  const id = location.pathname.split("/").pop(), page = byId("main");
  const context = await bringContext();
  const ticket = await begin(/^[0-9a-f-]{36}$/.test(id) ? id : uuidv7(), context);
  if (!ticket) return;
  noteShown(ticket, context);
  const bench = new Bench(ticket, context);
  byId("ticket-name").textContent = t(ticket.of ? "blind.name" : ticket.amends ? "amend.name" : "ticket.name", { id: ticket.id.slice(-4).toUpperCase() });
  bindTicket(bench);
  bind(bench);
  bench.lookForPairs();
  bench.changed();
  bringPhotos(bench);
  bringSecond(bench);
  bringSaw(bench);
  page.dataset.ready = "true";
  outbox.watch((state) => outboxChanged(bench, state));
  addEventListener("online", () => bench.changed());
  setInterval(() => bench.why === "line" && bench.changed(), outbox.RETRY);
  new Image().src = `/pairs/${bench.reading.pair_ref}/qr.svg`; // so that the slip has it when the line goes
  if (page.dataset.engine === "true") {
    await load();
    bench.changed();
  }
  const worker = await navigator.serviceWorker?.register("/worker.js").catch(() => null);
  if (worker?.active) worker.active.postMessage("refresh");
}

start();
