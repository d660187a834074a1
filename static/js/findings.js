// A reason that was begun stays when the list of findings is drawn again by somebody else's reading,
// when the page is loaded again, and until it is kept.

const shelf = `reasons ${location.pathname}`;
const begun = new Map(Object.entries(JSON.parse(sessionStorage.getItem(shelf) || "{}")));

const keep = () => sessionStorage.setItem(shelf, JSON.stringify(Object.fromEntries(begun)));

let last = "";

const restore = () => {
  for (const field of document.querySelectorAll("[data-reason]")) {
    const text = begun.get(field.dataset.reason);
    if (text && !field.value) field.value = text;
  }
};

document.addEventListener("input", (event) => {
  const key = event.target.dataset?.reason;
  if (!key) return;
  begun.set(key, event.target.value);
  keep();
});

document.addEventListener("focusin", (event) => {
  last = event.target.dataset?.reason || "";
});

// The next reason asked for gets the focus, so that a list is worked off by typing and Enter.
document.addEventListener("htmx:afterSwap", (event) => {
  if (!document.getElementById("findings")) return;
  restore();
  if (event.detail.elt?.id !== "findings" && event.target?.id !== "findings") return;
  if (event.detail.xhr?.status === 200 && last) {
    begun.delete(last);
    keep();
  }
  const wrong = document.querySelector('#findings [aria-invalid="true"]');
  (wrong || document.querySelector("#findings [data-reason]"))?.focus();
});

new MutationObserver(restore).observe(document.body, { childList: true, subtree: true });
restore();
