// theme.js owns day and evening. It is a classic script in the head, so that the page is never drawn in the wrong one.
{
  const root = document.documentElement, kept = "solewright.theme";
  const show = (theme) => {
    root.dataset.theme = theme;
    for (const key of document.querySelectorAll("[data-theme-key]")) key.textContent = key.dataset[theme === "evening" ? "day" : "evening"];
  };
  let theme = "day";
  try { theme = localStorage.getItem(kept) || theme; } catch { /* storage is switched off: day it is */ }
  show(theme);
  document.addEventListener("DOMContentLoaded", () => {
    show(root.dataset.theme);
    for (const key of document.querySelectorAll("[data-theme-key]")) {
      key.addEventListener("click", () => {
        show(root.dataset.theme === "evening" ? "day" : "evening");
        try { localStorage.setItem(kept, root.dataset.theme); } catch { /* it holds for this page */ }
      });
    }
  });
}
