// The rows of a run: which field is which, what an answer changes in them, what stands beside a
// field that is waiting, refused or disputed. What is being typed is never taken away.
{
  const { line, note, unnote, button, queue, drain, askClash, bothValues } = window.bench;
  const table = document.querySelector("[data-rows]");

  const placeOf = (field) => ({
    slot: field.dataset.slot,
    position: Number(field.dataset.position),
    increment: Number(field.dataset.increment) || 1,
  });
  const isAt = (place) => (it) =>
    it.slot === place.slot && it.position === place.position && it.increment === place.increment;
  const inputs = (root = table) => [...root.querySelectorAll("input[data-slot]")];
  const fieldAt = (place, kind = "reading") =>
    inputs().find((field) => kind in field.dataset && isAt(place)(placeOf(field)));
  const rowOf = (place) =>
    fieldAt(place)?.closest("tr") || table.querySelector(`tr[data-name="${nameOf(place)}"]`);
  const nameOf = (place) =>
    [place.slot.replaceAll(" ", "-"), place.position, place.increment > 1 ? place.increment : ""]
      .filter((it) => it !== "").join("-"); // prettier-ignore
  const labelOf = (row) => row?.querySelector("th")?.firstChild?.textContent.trim() || "";
  const errorOf = (place) => document.getElementById(`error-${rowOf(place)?.dataset.name}`);

  const onTheWay = () =>
    [...table.querySelectorAll("[data-row-field]:not(:disabled):not([data-aside])")];

  const step = (from, back = false) => {
    const wanted = back ? Node.DOCUMENT_POSITION_PRECEDING : Node.DOCUMENT_POSITION_FOLLOWING;
    const there = onTheWay().filter((it) => from.compareDocumentPosition(it) & wanted);
    return back ? there.at(-1) : there[0];
  };

  // What was refused is typed anew; what is only half typed is gone on with.
  const enter = (field) => {
    field.focus({ preventScroll: true });
    field.closest("tr").scrollIntoView({ block: "nearest" });
    if (field.closest("[data-kept]")) field.select?.();
    else field.setSelectionRange?.(field.value.length, field.value.length);
  };

  const goOn = (from, back = false) => {
    const next = step(from, back);
    if (next) enter(next);
    else if (!back) {
      from.blur?.();
      document.querySelector("[data-after-rows]")?.focus();
    }
  };

  const mark = (place, kept) => {
    const field = fieldAt(place);
    if (!field) return;
    const box = field.closest(".weigh");
    if (kept) box.dataset.kept = kept;
    else delete box.dataset.kept;
    field.toggleAttribute("aria-invalid", kept === "refused" || kept === "clash");
    if (kept === "waiting") field.setAttribute("aria-description", "waits in this browser");
    else field.removeAttribute("aria-description");
  };

  const say = (place, ...words) => {
    const error = errorOf(place);
    if (!error) return;
    error.hidden = words.length === 0;
    error.replaceChildren(...words);
  };

  const fill = (entry) => {
    const field = fieldAt(entry);
    if (field && !field.value) field.value = entry.text;
    const tare = fieldAt(entry, "tare");
    if (tare && !tare.value) tare.value = entry.tare_text;
  };

  const clear = (place) => {
    for (const kind of ["reading", "tare"]) {
      const field = fieldAt(place, kind);
      if (field) field.value = "";
    }
    mark(place, "");
    say(place);
  };

  const clash = (entry) => {
    mark(entry, "clash");
    say(entry, bothValues(entry));
    const label = labelOf(rowOf(entry)) || entry.slot;
    askClash(entry, { about: aboutOf(entry), label, keep: settle, correct: correctTo });
  };

  const aboutOf = (entry) => `clash ${nameOf(entry)}`;

  const settle = async (entry) => {
    await queue.forget(entry);
    unnote(aboutOf(entry));
    clear(entry);
    await window.bench.poll(entry.theirs.pk - 1);
    await window.bench.look();
  };

  const correctTo = async (entry, again) => {
    unnote(aboutOf(entry));
    say(entry);
    mark(entry, "waiting");
    entered.set(again.key, { ...entry, ...again });
    await drain();
  };

  // What this page has shown as entered and not seen kept yet, by key.
  const entered = new Map();

  const show = (entry) => {
    entered.set(entry.key, entry);
    fill(entry);
    if (entry.state === "clash") clash(entry);
    else if (entry.state === "refused") {
      mark(entry, "refused");
      say(entry, entry.said || "It was not kept.");
    } else mark(entry, "waiting");
  };

  const isOf = (entry, field) =>
    isAt(entry)(placeOf(field)) && ("tare" in field.dataset || field.value === entry.text);
  const isBeingEdited = (part, owns) =>
    inputs(part).some((field) => field.value.trim() && !owns.some((own) => isOf(own, field)));

  const swap = (part, here) => {
    const focused = here.contains(document.activeElement) ? document.activeElement : null;
    here.replaceWith(part);
    window.htmx?.process(part);
    if (!focused) return;
    const heir = focused.id && part.querySelector(`#${CSS.escape(focused.id)}`);
    if (heir) enter(heir);
    else goOn(part);
  };

  // Puts the new content of one element in its place; says whether the page lacks a row for it.
  const exchangePart = (id, html, owns) => {
    const here = document.getElementById(id);
    if (!here) return id.startsWith("cell-");
    const part = here.cloneNode(false);
    part.innerHTML = html;
    if (part.innerHTML === here.innerHTML) return false;
    if (isBeingEdited(here, owns)) {
      here.dataset.behind = "";
      return false;
    }
    delete part.dataset.behind;
    swap(part, here);
    return false;
  };

  const exchangeFindings = (html) => {
    const here = document.getElementById("findings");
    const told = document.createElement("template");
    told.innerHTML = html;
    const part = told.content.firstElementChild;
    if (here && part && here.outerHTML !== part.outerHTML) swap(part, here);
  };

  // Shows an answer. Gives the entries that it proves to be kept, and whether the page lacks a row.
  const apply = (answer, own) => {
    const keys = new Set(answer.news.map((it) => it.key));
    const owns = [own, ...entered.values()].filter((it) => it && (it === own || keys.has(it.key)));
    const parts = Object.entries(answer.parts);
    const lacking = parts.map(([id, html]) => exchangePart(id, html, owns)).some(Boolean);
    exchangeFindings(answer.findings);
    owns.forEach(close);
    if (answer.figure) document.getElementById("figure").textContent = JSON.stringify(answer.figure);
    document.dispatchEvent(new CustomEvent("chart:renew"));
    Object.assign(line.dataset, { last: answer.last, version: answer.version, state: answer.state });
    return { owns, lacking };
  };

  const close = (own) => {
    entered.delete(own.key);
    mark(own, "");
    say(own);
    const tare = fieldAt(own, "tare");
    if (tare && !fieldAt(own)) tare.closest(".weigh").replaceWith(own.tare_text);
  };

  // A row that somebody else added, a further increment or a split, is taken from the page itself.
  const addRows = async () => {
    const answer = await fetch(location.href, { redirect: "error", cache: "no-store" });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    let before = null;
    for (const row of page.querySelectorAll("[data-rows] tr[data-name]")) {
      const here = table.querySelector(`tr[data-name="${row.dataset.name}"]`);
      if (!here && before) before.after(document.adoptNode(row));
      before = here || row;
    }
  };

  // Somebody else's readings: said on the line, and beside a field in which one is typing.
  const tellNews = (news) => {
    for (const it of news.filter((one) => one.by_pk !== window.bench.me.pk || one.was)) {
      const label = labelOf(rowOf(it)) || it.slot;
      const field = fieldAt(it);
      if (field?.value.trim() && !field.closest("[data-kept]")) {
        say(it, `${it.at} ${it.by} ${it.mass} g is kept here. What you typed is not sent yet.`);
      }
      if (it.was) note(`news ${nameOf(it)}`, `${it.at} ${it.by}: ${label} ${it.was} → ${it.mass} g.`);
    }
  };

  Object.assign(window.bench, {
    rows: {
      ...{ table, placeOf, isAt, fieldAt, inputs, labelOf, nameOf, rowOf },
      ...{ onTheWay, goOn, enter, mark, say, show, clear, apply, addRows, tellNews },
    },
  });
}
