// dom.js owns how markup is made and put on the page: everything filled into a template is escaped, a part is
// redrawn only when it changed, and the focus stays on the same key through a redraw.

class Markup {
  constructor(text) { this.text = text; }
  toString() { return this.text; }
}

const ESCAPES = { "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;" };

function fill(value) {
  if (value === null || value === undefined) return "";
  if (value instanceof Markup) return value.text;
  if (Array.isArray(value)) return value.map(fill).join("");
  return String(value).replace(/[&<>"']/g, (c) => ESCAPES[c]);
}

// html is the tag of a template: html`<b>${text}</b>`. Markup made by it, and lists of such, go in as they are.
export function html(parts, ...values) {
  return new Markup(parts.reduce((out, part, i) => out + fill(values[i - 1]) + part));
}

export const byId = (id) => document.getElementById(id);

const drawn = new WeakMap();

// draw puts markup into an element unless it stands there already.
export function draw(element, markup) {
  const text = fill(markup);
  if (drawn.get(element) === text) return;
  drawn.set(element, text);
  const at = element.contains(document.activeElement) ? document.activeElement : null;
  const typing = at?.matches("input:not([type=date])") && { value: at.value, start: at.selectionStart, end: at.selectionEnd, invalid: at.getAttribute("aria-invalid") };
  element.innerHTML = text;
  if (at?.dataset.k === undefined || !focusOn(at.dataset.k, element) || !typing) return;
  // What is being typed stays as it is typed: "2." is not yet a number, and no reason to lose the point.
  const input = document.activeElement;
  input.value = typing.value;
  input.setSelectionRange(typing.start, typing.end);
  if (typing.invalid) input.setAttribute("aria-invalid", typing.invalid);
}

// focusOn moves the focus to the element that carries the key, without scrolling.
export function focusOn(key, within = document) {
  const element = within.querySelector(`[data-k="${CSS.escape(key)}"]`);
  if (element) element.focus({ preventScroll: true });
  return Boolean(element);
}

// key is the markup of a key: k names it across redraws, act and v say what it does.
export function key({ k, act, v = "", text, note, state, role, off, main, quiet, label, reason }) {
  const small = off && reason ? reason : note;
  const checked = state === undefined ? "" : role === "radio" ? html` role="radio" aria-checked="${state}"` : html` aria-pressed="${state}"`;
  return html`<button type="button" class="key${main ? " main" : ""}${quiet ? " quiet" : ""}" data-k="${k}" data-act="${act}" data-v="${v}"${checked}${off ? html` aria-disabled="true"` : ""}${label ? html` aria-label="${label}"` : ""}>${text}${small ? html` <small>${small}</small>` : ""}</button>`;
}

// radios is the markup of a row of keys of which one can be picked.
export function radios({ name, label, act, options, value, columns }) {
  return html`<div class="opts${columns ? ` n${columns}` : ""}" role="radiogroup" aria-label="${label}">${options.map((o) => key({ k: `${name}-${o.v}`, act, role: "radio", state: o.v === value, ...o, v: `${name},${o.v}` }))}</div>`;
}

// arrows moves the focus among the keys of a group; the keys themselves pick with Enter or Space. It reports
// whether it did.
export function arrows(event) {
  const step = { ArrowLeft: -1, ArrowUp: -1, ArrowRight: 1, ArrowDown: 1 }[event.key];
  const group = step && event.target.closest("[role=radiogroup], [data-arrows]");
  if (!group) return false;
  const keys = [...group.querySelectorAll("button:not(:disabled)")];
  const at = keys.indexOf(event.target.closest("button"));
  if (at < 0) return false;
  event.preventDefault();
  const next = keys[at + step] ?? (group.dataset.arrows === undefined ? rowBeside(group, at, event.key) : null);
  if (next) next.focus({ preventScroll: true });
  return true;
}

// rowBeside returns the key at the same place of the row above or below.
function rowBeside(group, at, name) {
  const rows = [...group.closest("[data-rows]")?.querySelectorAll("[role=radiogroup]") ?? []];
  const row = rows[rows.indexOf(group) + (name === "ArrowDown" ? 1 : name === "ArrowUp" ? -1 : 0)];
  if (!row || row === group) return null;
  const keys = row.querySelectorAll("button:not(:disabled)");
  return keys[Math.min(at, keys.length - 1)];
}
