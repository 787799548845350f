// fleet.js owns the filters of the manager's pages: the fleet is shown as soon as one is chosen. Without it, the key "Show" does.
for (const form of document.querySelectorAll("[data-filters]")) {
  form.addEventListener("change", () => form.requestSubmit());
  // An empty filter has no place in the address.
  form.addEventListener("formdata", (e) => { for (const [name, value] of [...e.formData]) if (value === "") e.formData.delete(name); });
}
