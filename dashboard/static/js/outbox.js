// outbox.js owns the sending: every request goes onto the shelf first, and leaves it only when the server has
// answered. Requests are PUTs of records with ids of their own, so sending one twice is harmless.

import { outbox, photos } from "./shelf.js";
import { t } from "./words.js";

export const RETRY = 15_000; // ms between tries while something waits for the line; house value

// States of an item: waiting (not tried, or no line), signed-out, refused (the server will not have it as it is).
// changed is told after every change with { waiting, refused, signedOut }.
let changed = () => {};

// watch names the one to tell about changes, begins to send, and goes on whenever the line may be back.
export function watch(tell) {
  changed = tell;
  addEventListener("online", send);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  setInterval(async () => (await state()).waiting > 0 && send(), RETRY);
  return send();
}

// keep puts the requests of a ticket onto the shelf, all before the first is sent, and tries to send them in order. A
// request has a body, or names a photo of the shelf. What the ticket asked for before and does no more is given up.
export async function keep(group, requests) {
  const at = Date.now(), urls = new Set(requests.map((r) => r.url));
  for (const old of await outbox.all()) if (old.group === group && !urls.has(old.url)) await outbox.delete(old.url);
  for (const [order, { url, body, photo }] of requests.entries()) await outbox.put({ url, body, photo, group, order, at, state: "waiting" });
  changed(await state());
  return send();
}

// state counts what waits and what was refused.
export async function state() {
  const items = await outbox.all();
  const count = (s) => items.filter((i) => i.state === s).length;
  return { waiting: items.length - count("refused"), refused: count("refused"), signedOut: count("signed-out") > 0, items };
}

// inWords says in one line what waits.
export const inWords = ({ waiting, refused, signedOut }) => signedOut ? t("kept.signed-out", { n: waiting }) : waiting ? t("kept.waiting", { n: waiting }) : refused ? t("kept.refused", { n: refused }) : t("kept.all-sent");

// One page sends at a time where the browser can arrange that. What comes onto the shelf while it does, or with the line
// back, is sent right after: the sending under way may not see it.
let sending = null, next = null;
function send() {
  if (sending) return next ??= sending.catch(() => {}).then(() => { next = null; return send(); });
  sending = (navigator.locks ? navigator.locks.request("solewright outbox", sendAll) : sendAll()).finally(() => { sending = null; });
  return sending;
}

async function sendAll() {
  const items = (await outbox.all()).filter((i) => i.state !== "refused").sort((a, b) => a.at - b.at || a.order - b.order);
  const stuck = new Set();
  for (const item of items) {
    if (stuck.has(item.group)) continue;
    const { state, problem } = await put(item);
    if (state === "sent") {
      await outbox.delete(item.url);
      if (item.photo) await photos.delete(item.photo);
    } else {
      stuck.add(item.group);
      await outbox.put({ ...item, state, problem });
    }
    if (state === "waiting" || state === "signed-out") break; // the others would fare no better
  }
  changed(await state());
}

// put sends one request and says what became of it.
async function put({ url, body, photo }) {
  const picture = photo && (await photos.get(photo))?.blob;
  if (photo && !picture) return { state: "sent" }; // it was, before the answer was noted
  let answer;
  try {
    answer = await fetch(url, { method: "PUT", headers: { "Content-Type": picture ? picture.type : "application/json", "X-Client-Time": new Date().toISOString() }, body: picture ?? JSON.stringify(body) });
  } catch {
    return { state: "waiting" };
  }
  if (answer.ok) return { state: "sent" };
  if (answer.status === 401) return { state: "signed-out" };
  if (answer.status >= 500 || answer.status === 408 || answer.status === 429) return { state: "waiting" };
  return { state: "refused", problem: await answer.json().catch(() => ({ status: answer.status, title: answer.statusText })) };
}
