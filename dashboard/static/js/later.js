// later.js owns the parts of a page that take long to find: it puts them in their places once they are found. Without it, the link there shows the page with them.
const pages = new Map(); // by address: several parts may wait for one
const fetched = (link) => {
  const at = new URL(link, location.href);
  at.searchParams.set("wait", "parts"); // the link asks for the whole page
  const address = at.href;
  if (!pages.has(address)) {
    pages.set(address, fetch(address).then((answer) => { if (!answer.ok) throw new Error(answer.status); return answer.text(); })
      .then((text) => new DOMParser().parseFromString(text, "text/html")));
  }
  return pages.get(address);
};
// What the page opens with goes by what stands out: it follows, unless the reader has begun to work with it.
let begun = false;
for (const kind of ["pointerdown", "keydown", "wheel"]) addEventListener(kind, () => { begun = true; }, { once: true, passive: true });
for (const part of document.querySelectorAll("[data-follows]")) {
  fetched(document.querySelector("[data-part=look] [data-later]").dataset.later)
    .then((page) => { if (!begun) part.replaceWith(document.importNode(page.querySelector(`[data-part="${part.dataset.part}"]`), true)); })
    .catch(() => {}); // it stays as it is
}
for (const note of document.querySelectorAll("[data-later]")) {
  const part = note.closest("[data-part]");
  fetched(note.dataset.later)
    .then((page) => {
      const found = page.querySelector(`[data-part="${part.dataset.part}"]`);
      if (found && !found.querySelector("[data-later]")) part.replaceWith(document.importNode(found, true));
    })
    .catch(() => {}); // the link stays
}
