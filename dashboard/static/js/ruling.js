// ruling.js owns by which rules a ticket is judged: those that hold now. Where others held when it was read, the ticket
// says so, with what the pair was by both, and takes a tap before it is kept.

import { html, key } from "./dom.js";
import { verdictWords } from "./findings.js";
import { judgeByServer } from "./judge.js";
import { t } from "./words.js";

const same = (a, b) => a.verdict === b.verdict && (a.how ?? "") === (b.how ?? "");

// note keeps by which rules a ticket was judged, and what it was by others before.
export function note({ ticket }, { rules, verdict, how }) {
  const was = ticket.judged;
  ticket.judged = { rules, verdict, how };
  if (was && was.rules !== rules) ticket.ruled ??= { was };
  if (ticket.ruled?.was.rules === rules) delete ticket.ruled;
}

// weigh asks what the reading as it stands now would be by the rules before. Without a line it is what it was then.
export async function weigh(bench) {
  const { ruled } = bench.ticket;
  if (!ruled || bench.ticket.state !== "open") return;
  const [result] = await judgeByServer({ ...bench.body(), rules: ruled.was.rules });
  if (!result || ruled !== bench.ticket.ruled) return;
  ruled.was = { rules: result.rules, verdict: result.verdict, how: result.how };
  bench.redraw();
  bench.save();
}

// The tap is for two verdicts; other two take it anew.
const mark = ({ ticket: { ruled }, result }) => [ruled.was.verdict, ruled.was.how, result.rules, result.verdict, result.how].join();
const seen = (bench) => bench.ticket.ruled.seen === mark(bench);

// asks reports whether a changed verdict is still to be looked at.
export const asks = (bench) => Boolean(bench.ticket.ruled && !bench.ticket.of && !same(bench.ticket.ruled.was, bench.result) && !seen(bench));

// ruledRow says what the change of rules means for the pair, and nothing where there was none.
export function ruledRow(bench) {
  const { ticket: { ruled, amends }, result } = bench;
  if (!ruled) return "";
  const { was } = ruled, rules = { was: was.rules, now: result.rules };
  if (same(was, result)) return html`<div class="ruled"><p class="note">${t("ruled.same", rules)}</p></div>`;
  return html`<div class="ruled"><h2>${t(amends ? "ruled.amended" : "ruled.head")}</h2><p>${t("ruled.by", { rules: was.rules })} <b>${verdictWords(was)}</b><br>${t("ruled.now", { rules: result.rules })} <b>${verdictWords(result)}</b></p>${key({ k: "ruled", act: "ruled", text: t("ruled.go", { rules: result.rules }), state: seen(bench) })}</div>`;
}

export const acts = {
  ruled(bench) {
    const { ruled } = bench.ticket;
    ruled.seen = seen(bench) ? undefined : mark(bench);
  },
};
