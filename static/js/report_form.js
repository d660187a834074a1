// The preview of a report form: the certificate is drawn anew by the server a moment after a choice.
(() => {
  "use strict";
  const form = document.querySelector("form[data-preview]");
  const view = document.querySelector("iframe[name=preview]");
  if (!form || !view) return;
  const PAUSE_MS = 400;
  let waiting = 0;

  function address() {
    const chosen = new URLSearchParams();
    for (const [name, value] of new FormData(form)) {
      if (typeof value === "string" && name !== "csrfmiddlewaretoken") chosen.append(name, value);
    }
    if (form.dataset.kept && !chosen.has("drops_logo")) chosen.set("kept", form.dataset.kept);
    return `${form.dataset.preview}?${chosen}`;
  }

  function draw() {
    const next = address();
    if (view.dataset.drawn === next) return;
    view.dataset.drawn = next;
    view.contentWindow.location.replace(next);
  }

  function later() {
    window.clearTimeout(waiting);
    waiting = window.setTimeout(draw, PAUSE_MS);
  }

  form.addEventListener("input", later);
  form.addEventListener("change", later);
  draw();
})();
