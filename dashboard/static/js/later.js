// later.js owns the parts of a page that take long to find: it puts them in their places once they are found. Without it, the link there shows the page with them.
for (const note of document.querySelectorAll("[data-later]")) {
  const part = note.closest("[data-part]");
  fetch(note.dataset.later)
    .then((answer) => { if (!answer.ok) throw new Error(answer.status); return answer.text(); })
    .then((text) => {
      const found = new DOMParser().parseFromString(text, "text/html").querySelector(`[data-part="${part.dataset.part}"]`);
      if (found && !found.querySelector("[data-later]")) part.replaceWith(document.importNode(found, true));
    })
    .catch(() => {}); // the link stays
}
