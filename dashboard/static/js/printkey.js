// printkey.js owns the print key of a page that prints as it stands.

for (const key of document.querySelectorAll("[data-act=print]")) key.addEventListener("click", () => print());
