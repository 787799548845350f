// ticket.js owns the row above the soles: which shoe, whose, how far, and the gait that is recorded before the wear
// is read.

import { byId, draw, html } from "./dom.js";
import { asNewOf, lists } from "./columns.js";
import { set, wearRead } from "./reading.js";
import { models } from "./shelf.js";
import { t, word } from "./words.js";

const PAUSE = 120; // ms after a key before the catalogue is asked; house value
const GTIN = /^\d{8,14}$/; // what a scanner types
const SHOWN = 6;

const nameOf = (m) => [m.brand, m.model, m.version].filter(Boolean).join(" ");

let found = [], marked = -1, timer = 0, asked = 0, looking = false;

// search asks the catalogue; without a line it looks among the models this tablet has met.
async function search(q) {
  try {
    const answer = await fetch(`/api/v1/shoe-models?${new URLSearchParams(GTIN.test(q) ? { gtin: q } : { q })}&limit=${SHOWN}`);
    if (answer.ok) {
      const { items } = await answer.json();
      for (const m of items) models.put(m);
      return items;
    }
  } catch { /* no line: the tablet's own copies are next */ }
  const parts = q.toLowerCase().split(/\s+/);
  return (await models.all()).filter((m) => m.gtins?.includes(q) || parts.every((p) => nameOf(m).toLowerCase().includes(p))).slice(0, SHOWN);
}

function drawFound(q) {
  const list = byId("shoe-list"), input = byId("shoe"), open = q !== "";
  list.hidden = !open;
  input.setAttribute("aria-expanded", String(open));
  if (marked >= 0) input.setAttribute("aria-activedescendant", `shoe-${marked}`);
  else input.removeAttribute("aria-activedescendant");
  draw(list, open ? html`${found.map((m, i) => html`<li role="option" id="shoe-${i}" data-shoe="${i}" aria-selected="${i === marked}">${nameOf(m)}${m.category ? html` <small>${word(m.category)}</small>` : ""}</li>`)}<li role="option" id="shoe-${found.length}" data-shoe="typed" aria-selected="${marked === found.length}">${t("typed.key")}</li>` : "");
}

function choose(bench, m) {
  take(bench, m);
  byId("size").focus();
}

function take(bench, m) {
  looking = false;
  bench.ticket.model = { id: m.model_id, category: m.category };
  bench.asNew = asNewOf(m);
  for (const name of ["brand", "model", "version"]) set(bench.reading, "pair", name, m[name] || undefined);
  models.put(m);
  close();
  bench.changed();
  bench.lookForPairs();
}

// close also drops what is still asked for: a late answer must not open the list over the soles.
function close() {
  clearTimeout(timer);
  asked++;
  found = [];
  marked = -1;
  drawFound("");
}

function pickMarked(bench, i) {
  if (i === found.length || i === "typed") {
    const name = byId("shoe").value.trim();
    looking = false;
    close();
    if (name && !GTIN.test(name)) set(bench.reading, "pair", "model", name);
    bench.panel = "typed";
    bench.focusPanel = true;
    bench.changed();
  } else if (found[i]) choose(bench, found[i]);
}

// scanned takes the shoe whose code was scanned, or says that the list has none.
export async function scanned(bench, code) {
  const [m] = await search(code);
  if (m) choose(bench, m);
  else bench.say(t("scan.no-shoe", { code }));
}

function bindShoe(bench) {
  const input = byId("shoe"), list = byId("shoe-list");
  const look = async (q) => {
    const mine = ++asked, answer = await search(q);
    if (mine !== asked) return false;
    found = answer;
    marked = found.length ? 0 : -1;
    return true;
  };
  input.addEventListener("input", () => {
    looking = true;
    clearTimeout(timer);
    const q = input.value.trim();
    if (q === "") { close(); return; }
    timer = setTimeout(async () => { if (await look(q)) drawFound(q); }, PAUSE);
  });
  input.addEventListener("keydown", async (event) => {
    if (event.key === "Escape") close();
    else if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      marked = Math.max(0, Math.min(found.length, marked + (event.key === "ArrowDown" ? 1 : -1)));
      drawFound(input.value.trim());
    } else if (event.key === "Enter") {
      event.preventDefault();
      clearTimeout(timer);
      const q = input.value.trim();
      // A scanner types faster than the list comes: its Enter waits for the answer to what it typed.
      if (q && (list.hidden || GTIN.test(q)) && !(await look(q))) return;
      if (q) pickMarked(bench, marked >= 0 ? marked : found.length);
    } else return;
    event.stopPropagation();
  });
  // Who types a shoe's whole name and goes on has picked it. What is no shoe's name isn't dropped in silence.
  input.addEventListener("blur", () => {
    const q = looking ? input.value.trim() : "", whole = q.toLowerCase();
    looking = false;
    setTimeout(async () => {
      close();
      const named = q && q !== nameOf(bench.reading) && await look(q) && found.find((m) => nameOf(m).toLowerCase() === whole);
      if (named) { take(bench, named); return; }
      if (q && q !== nameOf(bench.reading)) bench.say(t("shoe.not-taken", { q }));
      drawTicket(bench);
    }, 200);
  });
  // The line keeps the focus while the finger is down, so that the list stays until it is up again.
  list.addEventListener("pointerdown", (event) => event.preventDefault());
  list.addEventListener("mousedown", (event) => event.preventDefault());
  list.addEventListener("click", (event) => {
    const option = event.target.closest("[data-shoe]");
    if (option) pickMarked(bench, option.dataset.shoe === "typed" ? "typed" : Number(option.dataset.shoe));
  });
}

// Unit and source of a distance are one choice, "km, logged", so that they cost one tap.
const distance = (r) => (r.km_source === "unknown" ? "unknown" : r.km_source ? `${r.km_unit ?? "km"},${r.km_source}` : "");

export function bindTicket(bench) {
  bindShoe(bench);
  draw(byId("km-how"), html`<option value=""></option>${lists.km_unit.flatMap((unit) => lists.km_source.filter((s) => s !== "unknown").map((source) => html`<option value="${unit},${source}">${t("km-how", { unit, source: word(source) })}</option>`))}<option value="unknown">${word("unknown")}</option>`);
  byId("km-how").addEventListener("change", (event) => {
    const [unit, source] = event.target.value === "unknown" ? [undefined, "unknown"] : event.target.value.split(",");
    set(bench.reading, "pair", "km_source", source);
    set(bench.reading, "pair", "km_unit", source && unit);
    if (source === "unknown") set(bench.reading, "pair", "km", undefined);
    bench.changed();
  });
  byId("gait").addEventListener("change", (event) => {
    const gait = event.target.value;
    set(bench.reading, "pair", "gait", gait);
    set(bench.reading, "pair", "gait_before", gait && (wearRead(bench.reading) ? "no" : "yes"));
    bench.changed();
  });
}

export function drawTicket(bench) {
  const r = bench.reading, active = document.activeElement;
  const show = (id, value) => { const e = byId(id); if (e !== active) e.value = value ?? ""; };
  show("shoe", nameOf(r));
  show("size", r.size_label);
  show("runner", r.runner);
  show("gait", r.gait);
  show("km", r.km);
  show("km-how", distance(r));
  const setup = byId("setup"), pain = byId("pain");
  setup.setAttribute("aria-pressed", String(r.setup === "ready"));
  draw(setup, t(r.setup === "not" ? "setup.not" : "setup.ready"));
  pain.setAttribute("aria-pressed", String(r.pain_mentioned === "yes"));
}

// typed stores what was written on a line of the ticket or an aside; it reports whether it may stand there.
export function typed(bench, name, text) {
  const value = text.trim();
  if (name === "km") {
    const n = value === "" ? undefined : Number(value.replace(",", "."));
    if (Number.isNaN(n) || n < 0 || n > 99_999) return false;
    set(bench.reading, "pair", "km", n === undefined ? undefined : Math.round(n * 10) / 10);
    if (n !== undefined && (bench.reading.km_source ?? "unknown") === "unknown") {
      set(bench.reading, "pair", "km_source", "estimated"); // until somebody says that it was logged
      set(bench.reading, "pair", "km_unit", bench.reading.km_unit ?? bench.context.store?.unit ?? "km");
    }
    return true;
  }
  if (["runner", "second_reader"].includes(name) && !/^[A-Za-z0-9._-]*$/.test(value)) return false;
  set(bench.reading, "pair", name, value);
  if (["brand", "model", "version"].includes(name)) { bench.ticket.model = null; bench.asNew = null; }
  return true;
}

export const acts = {
  setup(bench) { set(bench.reading, "pair", "setup", bench.reading.setup === "ready" ? "not" : "ready"); },
};

