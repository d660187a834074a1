// Readings that did not reach the server are kept in the browser and sent again under the same
// key, so that a repeat is harmless. The server alone computes and judges.

const table = document.querySelector("[data-rows]");
const shelf = `readings ${location.pathname}`;
const PATIENCE_MS = 5000;

const kept = () => JSON.parse(localStorage.getItem(shelf) || "{}");
const keep = (readings) => {
  if (Object.keys(readings).length) localStorage.setItem(shelf, JSON.stringify(readings));
  else localStorage.removeItem(shelf);
};

const forget = (key) => {
  const readings = kept();
  delete readings[key];
  keep(readings);
  say(Object.keys(readings).length);
};

const say = (waiting) => {
  const line = document.getElementById("notice-line");
  line.hidden = waiting === 0;
  line.textContent =
    waiting === 1
      ? "One reading waits for the network. It is kept in this browser and sent when the server answers."
      : `${waiting} readings wait for the network. They are kept in this browser and sent when the server answers.`;
};

const box = (element) => element.closest(".weigh");

document.addEventListener("htmx:sendError", (event) => {
  const values = Object.fromEntries(event.detail.requestConfig.formData);
  if (!values.key) return;
  box(event.detail.elt)?.setAttribute("data-kept", "waiting");
  const readings = kept();
  readings[values.key] = { path: event.detail.requestConfig.path, values };
  keep(readings);
  say(Object.keys(readings).length);
});

document.addEventListener("htmx:afterRequest", (event) => {
  const key = event.detail.requestConfig.formData?.get("key");
  if (!key || event.detail.xhr.status === 0) return;
  forget(key);
  const field = event.detail.elt;
  const refused = event.detail.xhr.status >= 400;
  if (refused) {
    box(field)?.setAttribute("data-kept", "refused");
    field.setAttribute?.("aria-invalid", "true");
    field.focus?.();
  }
});

const sendAgain = () => {
  for (const { path, values } of Object.values(kept())) {
    const field = [...document.querySelectorAll("[data-reading]")].find(
      (one) => one.closest("tr").querySelector('[name="key"]')?.value === values.key,
    );
    const request = { values, target: "#live", swap: "innerHTML", source: field || table };
    window.htmx.ajax("POST", path, request);
  }
};

window.addEventListener("online", sendAgain);
setInterval(() => {
  if (Object.keys(kept()).length) sendAgain();
}, PATIENCE_MS);

// While scripts were still on their way over a slow network nobody heard what was typed. When htmx
// listens (it begins at this event, having asked for it first), those readings are handed on.
document.addEventListener("DOMContentLoaded", () => {
  for (const field of document.querySelectorAll("[data-reading]")) {
    const left = field !== document.activeElement;
    if (left && field.value.trim()) field.dispatchEvent(new Event("change", { bubbles: true }));
  }
});

say(Object.keys(kept()).length);
if (Object.keys(kept()).length) sendAgain();
if (!document.activeElement?.matches("[data-row-field]")) {
  document.querySelector("[data-row-field]")?.focus({ preventScroll: true });
}
