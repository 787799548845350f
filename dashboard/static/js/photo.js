// photo.js owns the photos of a ticket: taken or picked, made small before they are kept, and sent behind the reading
// when it is finished. A picture that is made anew carries nothing but itself: no place, no time, no camera.

import { byId, html, key } from "./dom.js";
import { photos } from "./shelf.js";
import { t } from "./words.js";

const VIEWS = ["back", "sole", "inner", "outer", "lining", "other"]; // as the server's
const SHOES = ["left", "right"];
const SIDE = 1600, QUALITY = 0.86; // the longer side in pixels, and of JPEG: as the server keeps them
const MOST = 12; // photos of a reading, as the server takes them

const hex = (bytes) => [...new Uint8Array(bytes)].map((b) => b.toString(16).padStart(2, "0")).join("");

// shrink draws a picture anew, upright and no larger than what is kept of it.
async function shrink(file) {
  const picture = await createImageBitmap(file), by = Math.min(1, SIDE / Math.max(picture.width, picture.height));
  const canvas = new OffscreenCanvas(Math.round(picture.width * by), Math.round(picture.height * by)), pen = canvas.getContext("2d");
  pen.fillStyle = "#fff"; // what can be seen through lies on white
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await canvas.convertToBlob({ type: "image/jpeg", quality: QUALITY });
  return { sha: hex(await crypto.subtle.digest("SHA-256", await blob.arrayBuffer())), blob };
}

// seen are the addresses of the photos on the screen, by their hash.
const seen = new Map();

// bring reads the photos of a ticket back from the shelf.
export async function bring(bench) {
  for (const { sha } of bench.ticket.photos ?? []) {
    const kept = await photos.get(sha);
    if (kept && !seen.has(sha)) seen.set(sha, URL.createObjectURL(kept.blob));
  }
  if (seen.size) bench.redraw();
}

// attach keeps a picture with the ticket, what it shows beside it; the same picture again takes the newer word.
export async function attach(bench, file, shows) {
  const others = (sha) => (bench.ticket.photos ?? []).filter((p) => p.sha !== sha);
  let made;
  try {
    made = await shrink(file);
  } catch {
    bench.say(t("tilt.no-photo"));
    return;
  }
  if (others(made.sha).length >= MOST) { bench.say(t("photo.full", { n: MOST })); return; }
  await photos.put(made);
  if (!seen.has(made.sha)) seen.set(made.sha, URL.createObjectURL(made.blob));
  bench.ticket.photos = [...others(made.sha), { sha: made.sha, ...shows }];
}

async function drop(bench, gone) {
  for (const { sha } of gone) {
    await photos.delete(sha);
    URL.revokeObjectURL(seen.get(sha));
    seen.delete(sha);
  }
  bench.ticket.photos = (bench.ticket.photos ?? []).filter((p) => !gone.includes(p));
}

// dropMeasured takes away the photos that a shoe's tilt was measured on.
export const dropMeasured = (bench, shoe) => drop(bench, (bench.ticket.photos ?? []).filter((p) => p.shoe === shoe && p.points));

// requests are what is sent of the photos, behind their reading.
export function requests({ ticket, reading, context }) {
  return (ticket.photos ?? []).map(({ sha, shoe, view, points }) => {
    const asked = new URLSearchParams({ inspection: ticket.id, store: reading.store ?? context.store?.code, shoe, view });
    if (points) asked.set("points", points.map((n) => n.toFixed(5)).join(","));
    return { url: `/api/v1/photos/${sha}?${asked}`, photo: sha };
  });
}

// photoPanel is the sheet of photos: a key for each view of each shoe, and what was taken.
export function photoPanel(bench) {
  const all = bench.ticket.photos ?? [], name = (p) => t("photo.of", { shoe: t(`shoe.${p.shoe}`), view: t(`photo.view.${p.view}`) });
  return html`<h2>${t("photo.head")}</h2><p class="note">${t("photo.note")}</p>
${SHOES.map((shoe) => html`<div class="row choice"><span class="lead">${t(`shoe.${shoe}.cap`)}</span><div class="opts n3" role="group" aria-label="${t(`shoe.${shoe}.cap`)}" data-arrows>${VIEWS.map((view) => {
    const n = all.filter((p) => p.shoe === shoe && p.view === view).length;
    return key({ k: `take-${shoe}-${view}`, act: "photo-take", v: `${shoe},${view}`, text: t(`photo.view.${view}`), note: n || "", label: n ? `${t(`photo.view.${view}`)}, ${t("photo.taken", { n })}` : "" });
  })}</div></div>`)}
${all.length ? html`<ul class="shots">${all.map((p) => html`<li>${seen.has(p.sha) ? html`<img src="${seen.get(p.sha)}" alt="${name(p)}">` : ""}<small>${name(p)}</small>${key({ k: `drop-${p.sha}`, act: "photo-drop", v: p.sha, text: t("photo.drop"), label: t("photo.drop.long", { what: name(p) }), quiet: true })}</li>`)}</ul>` : ""}
<div class="opts n1">${key({ k: "back", act: "panel", v: "checks", text: t("back-to-checks") })}</div>`;
}

export const acts = {
  // The picker comes back when it likes; what was picked is then a change of its own.
  "photo-take"(bench, v) {
    const [shoe, view] = v.split(","), pick = byId("photo-file");
    pick.value = "";
    pick.onchange = async () => {
      if (pick.files[0]) await attach(bench, pick.files[0], { shoe, view });
      bench.focus = `take-${shoe}-${view}`;
      bench.changed();
    };
    pick.click();
  },
  async "photo-drop"(bench, sha) { await drop(bench, bench.ticket.photos.filter((p) => p.sha === sha)); },
};
