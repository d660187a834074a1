// What every page does: fold the areas, jump to the scan field, walk rows with Enter,
// lead to the faults of a refused form.

document.documentElement.classList.add("js");

const typing = (element) => element.closest("input, select, textarea, [contenteditable]");

document.addEventListener("keydown", (event) => {
  if (event.key === "/" && !event.ctrlKey && !event.metaKey && !event.altKey && !typing(event.target)) {
    const scan = document.getElementById("scan");
    if (scan) {
      event.preventDefault();
      scan.focus();
      scan.select();
    }
  }
});

// Enter goes to the next field of a column of readings; it never submits half a nest. This script
// comes early: on a slow network the weighing page's own, which takes over, may be far behind.
document.addEventListener("keydown", (event) => {
  const rows = event.target.closest("[data-rows]");
  if (event.key !== "Enter" || !rows || !event.target.matches("[data-row-field]")) return;
  event.preventDefault();
  const fields = [...rows.querySelectorAll("[data-row-field]:not(:disabled):not([data-aside])")];
  const next = fields[fields.indexOf(event.target) + 1];
  if (next) next.focus();
  else event.target.blur();
});

const fold = document.querySelector(".areas__fold");
if (fold) {
  fold.addEventListener("click", () => {
    fold.setAttribute("aria-expanded", String(fold.getAttribute("aria-expanded") !== "true"));
  });
}

document.getElementById("faults")?.focus();

// A choice in a filter applies itself; without scripts the button beside it does.
document.addEventListener("change", (event) => {
  if (event.target.closest("form[data-apply]")) event.target.form.requestSubmit();
});

// A refused exchange says so; nothing typed is lost.
document.addEventListener("htmx:responseError", (event) => {
  const place = document.getElementById("notice-line");
  if (place) {
    place.hidden = false;
    place.textContent = `The server refused (${event.detail.xhr.status}). What you typed is still in its field.`;
  }
});
