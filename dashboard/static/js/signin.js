// signin.js owns the sign-in page: the PIN pad beside the tags, and what waits on this tablet until somebody signs in.

import { arrows, byId } from "./dom.js";
import { state } from "./outbox.js";
import { t } from "./words.js";

const form = document.querySelector("form.wall");

// drawPicked shows whose PIN is asked for, with the mark from the tag.
function drawPicked(pin) {
  const tag = form.querySelector(".staff:has(:checked)");
  if (!tag) return;
  byId("pin-for").replaceChildren(tag.querySelector("svg").cloneNode(true), t("signin.pin.for", { code: form.elements.staff.value }));
  byId("pin-hint").textContent = t(tag.classList.contains("tack") ? "signin.pin.trainee" : "signin.pin.hint");
  pin.focus();
}

const drawDots = (pin) => document.querySelectorAll(".dots i").forEach((dot, i) => dot.classList.toggle("set", i < pin.value.length));

function bindPad() {
  const pin = byId("pin"), whole = pin.maxLength;
  const typed = () => {
    drawDots(pin);
    if (pin.value.length < whole) return;
    if (form.elements.staff.value) form.requestSubmit();
    else { pin.value = ""; drawDots(pin); byId("pin-hint").textContent = t("signin.pin.who"); }
  };
  form.addEventListener("change", (event) => {
    if (event.target.name !== "staff") return;
    pin.value = "";
    drawDots(pin);
    drawPicked(pin);
  });
  form.addEventListener("click", (event) => {
    const key = event.target.closest("[data-n]")?.dataset.n;
    if (key === undefined) return;
    pin.value = key === "clear" ? "" : key === "undo" ? pin.value.slice(0, -1) : (pin.value + key).slice(0, whole);
    typed();
  });
  pin.addEventListener("input", () => { pin.value = pin.value.replace(/\D/g, ""); typed(); });
  form.addEventListener("keydown", (event) => { if (event.target.closest(".pad")) arrows(event); });
  // A PIN is sent once, however fast somebody taps.
  form.addEventListener("submit", () => form.querySelectorAll("[data-n]").forEach((key) => { key.disabled = true; }));
  drawPicked(pin);
}

if (form) bindPad();

const { waiting } = await state(), line = byId("waiting");
const ticket = /^\/bench\/[0-9a-f-]{36}$/.exec(document.querySelector("main [name=next]").value)?.[0];
const said = [ticket && t("signin.ticket", { id: ticket.slice(-4).toUpperCase() }), waiting > 0 && t("signin.waiting", { n: waiting })].filter(Boolean);
if (said.length) {
  line.textContent = said.join(" ");
  line.hidden = false;
}
document.documentElement.dataset.ready = "true";
