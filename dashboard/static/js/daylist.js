// daylist.js owns the tablet's part of the day's list: tickets that were begun here and not sent, how a new one
// begins, and the way in by a slip.

import { amend, knownPair, start, stored } from "./begin.js";
import { byId, draw, html, key } from "./dom.js";
import { wanted } from "./reading.js";
import { verdictWords } from "./findings.js";
import { parsePairRef } from "./ids.js";
import * as outbox from "./outbox.js";
import { choose, context as bringContext } from "./place.js";
import { second } from "./second.js";
import { photos, tickets } from "./shelf.js";
import { capital, clock, t, word } from "./words.js";

const SENT = 14 * 86_400_000; // ms that a sent ticket stays on the tablet; house value

const { store } = byId("main").dataset;
if (store) choose(store);
const context = await bringContext();

function row(ticket) {
  const { reading: r, result } = ticket, all = wanted(r, ticket.asNew), read = all.filter((w) => w.value !== undefined).length;
  const shoe = [r.brand, r.model, r.version].filter(Boolean).join(" ") || t("list.no-shoe");
  // Who knows a verdict can't read the pair blind: everybody sees this list.
  const known = !ticket.readers?.length || ticket.readers.includes(context.who?.code);
  const words = !known ? t("list.shut") : result ? verdictWords(result) : t("verdict.waits");
  return html`<tr><td class="when"><a class="wide" href="/bench/${ticket.id}">${clock(new Date(ticket.started))}</a></td><th scope="row" class="which"><a class="wide" href="/bench/${ticket.id}">${shoe}${r.size_label ? `, ${r.size_label}` : ""}</a></th><td>${r.runner ?? ""}</td><td>${capital(word(r.kind))}</td><td class="what">${known ? html`<span class="verdict"><svg aria-hidden="true"><use href="#v-${result?.verdict ?? "incomplete"}"/></svg>${words}</span>` : html`<span class="note">${words}</span>`}</td><td class="state">${ticket.amends && ticket.state === "open" ? t("amend.list") : ticket.state === "open" ? t("stub.read", { read, all: all.length }) : t(`list.${ticket.state}`)}</td><td class="mend">${ticket.state === "open" ? key({ k: `drop-${ticket.id}`, act: "drop", v: ticket.id, text: t("list.drop"), quiet: true, label: t("list.drop.long", { shoe }) }) : ""}</td></tr>`;
}

async function redraw() {
  const mine = (await tickets.all()).filter((x) => x.state !== "sent" && (!context.store || !x.reading.store || x.reading.store === context.store.code)).sort((a, b) => b.started.localeCompare(a.started));
  draw(byId("unfinished"), mine.length ? mine.map(row) : html`<tr class="none"><td colspan="7" class="note">${t("list.none-open")}</td></tr>`);
}

// told brings the tickets on the shelf in line with the outbox, and says in the bar what waits.
async function told(outcome) {
  const { items } = outcome;
  byId("kept").textContent = outbox.inWords(outcome);
  for (const ticket of await tickets.all()) {
    if (ticket.state === "open") continue;
    const open = items.filter((i) => i.group === ticket.id), bad = open.find((i) => i.state === "refused");
    const state = bad ? "refused" : open.length ? "waiting" : "sent";
    if (state === "sent" && Date.now() - new Date(ticket.started) > SENT) await tickets.delete(ticket.id);
    else if (state !== ticket.state) await tickets.put({ ...ticket, state, problem: bad?.problem });
  }
  await redraw();
}

// A ticket is thrown away by two taps on the same key, and only while it was never finished.
let sure = null;

document.addEventListener("click", async (event) => {
  const target = event.target.closest("[data-act]");
  if (!target) return;
  const { act, v } = target.dataset;
  if (act === "begin") await start(v, context);
  else if (act === "drop" && sure === v) {
    for (const { sha } of (await tickets.get(v))?.photos ?? []) await photos.delete(sha);
    await tickets.delete(v);
    await redraw();
  }
  else if (act === "drop") { sure = v; target.textContent = t("list.drop.sure"); target.classList.remove("quiet"); }
});

byId("slip-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const input = byId("slip-ref"), said = byId("slip-said"), ref = parsePairRef(input.value), kind = event.submitter?.value || "check";
  if (!ref) { said.textContent = t("slip-in.wrong"); input.setAttribute("aria-invalid", "true"); return; }
  input.removeAttribute("aria-invalid");
  if (kind === "history") { location.assign(`/pairs/${ref}`); return; }
  const pair = await knownPair(ref);
  if (pair.why === "none") said.textContent = t("slip-in.unknown");
  else await start(kind, context, pair.why ? { known: { pair_ref: ref } } : pair);
});

// A link elsewhere says which stored reading is to be corrected, or read a second time.
const again = new URLSearchParams(location.search).get("second");
if (again) {
  const first = await stored(again);
  if (first.why || !await second(first, first.reading.staff, context)) byId("slip-said").textContent = t(`amend.${first.why ?? "line"}`);
}
const wrong = new URLSearchParams(location.search).get("amend");
if (wrong) {
  const { id, why } = await amend(wrong, context);
  if (id) location.replace(`/bench/${id}`);
  else byId("slip-said").textContent = t(`amend.${why}`);
}

await redraw();
outbox.watch(told);
byId("main").dataset.ready = "true";
const worker = await navigator.serviceWorker?.register("/worker.js").catch(() => null);
if (worker?.active) worker.active.postMessage("refresh");
