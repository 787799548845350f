// sign.js owns how somebody else proves on this screen who they are and stands by something of the ticket: a manager by
// another credit, a second person by a verdict. The server checks a secret of their own, by PIN on a store's tablet, by
// password elsewhere, and keeps what they signed for; the record that is sent later uses it up.

import { html, key } from "./dom.js";
import { t } from "./words.js";

// A secret is held while it is typed, and never on the shelf.
let secret = "", asking = false;
const onTablet = "quiet" in document.body.dataset;

// signRow asks for a code and a secret, or says who signed. of names what is signed, in words and in keys; state is
// what the ticket keeps of it: { code, by, denied }.
export function signRow(of, state, { label, button, fixed }) {
  if (state.by) return html`<p class="note" role="status">${t("sign.by", { code: state.by })}</p>`;
  const line = (name, words, value, more) => html`<label class="field"><span>${words}</span><input data-k="f-${of}-${name}" data-sign="${of},${name}" autocomplete="off" value="${value}"${more}></label>`;
  return html`${line("code", label, fixed ?? state.code ?? "", html` maxlength="32" autocapitalize="characters" spellcheck="false"${fixed ? html` readonly` : ""}`)}${line("secret", t(onTablet ? "me.pin" : "me.password"), "", html` type="password" autocomplete="new-password"${onTablet ? html` inputmode="numeric"` : ""}`)}${key({ k: `sign-${of}`, act: "sign", v: of, text: button })}`;
}

export const deniedRow = (state) => (state.denied ? html`<p class="failed" role="alert">${t(`sign.${state.denied}`)}</p>` : "");

// typedSign keeps what was written on a line of signRow. What was signed is not what stands there now.
export function typedSign(state, name, text) {
  if (name === "secret") secret = text;
  else state.code = text.trim();
  state.by = undefined;
}

const WHY = { 401: "signed-out", 403: "not-allowed", 429: "locked" };

// sign has the server check the secret for what is signed. It leaves in state who signed, or why nobody did: a word of
// the catalogue, "no-line" where the server can't be asked.
export async function sign(ticket, state, what) {
  if (asking) return; // the key was tapped again while the server looks
  if (!state.code || !secret) { state.denied = "empty"; return; }
  asking = true;
  const body = { staff: state.code, ...what, [onTablet ? "pin" : "password"]: secret };
  secret = "";
  const answer = await fetch(`/api/v1/inspections/${ticket.id}/sign-off`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) }).catch(() => null).finally(() => { asking = false; });
  if (answer?.ok) {
    state.by = (await answer.json()).staff;
    state.denied = undefined;
  } else state.denied = !answer || answer.status >= 500 ? "no-line" : WHY[answer.status] ?? "denied";
}
