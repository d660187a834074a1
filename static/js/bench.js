// The weighing page: what is typed is kept at every key, entered by Enter, an arrow or by leaving
// the field, kept in this browser first and then sent. The server alone computes and judges.
{
  const { rows, scan, queue, drafts, me, line, state } = window.bench;
  const { newKey, note, unnote, link, button } = window.bench;
  const { table, placeOf, isAt, fieldAt } = rows;
  const run = Number(line.dataset.run);
  const isGross = line.dataset.gross === "1";
  const EVERY_MS = 1200;
  const AWAY_MS = 3000;
  const PROMPT = { changed: true, nothing: true };

  const readingOf = (field) => fieldAt(placeOf(field));
  const tareOf = (field) => fieldAt(placeOf(field), "tare");
  const draftId = (field) => {
    const place = placeOf(field);
    return [run, place.slot, place.position, place.increment, field.name, me.pk].join("|");
  };

  let isTyping = false;

  // Fields typed in since this page opened: what they hold is newer than any draft of before.
  const typedIn = new Set();

  const keepDraft = (field) => {
    const id = draftId(field);
    typedIn.add(id);
    if (!field.value) return drafts.forget(id).catch(() => {});
    const draft = { id, run, person: me.pk, name: field.name, text: field.value, ...placeOf(field) };
    return drafts.keep(draft).catch(() => {});
  };

  const entryOf = (field) => ({
    ...placeOf(field),
    key: newKey(),
    run,
    run_name: line.dataset.runName,
    page: location.pathname + location.search,
    url: line.dataset.readingsUrl,
    text: readingOf(field).value.trim(),
    tare_text: tareOf(field)?.value.trim() || "",
    person: me.pk,
    person_name: me.name,
    observed_at: new Date().toISOString(),
    state: "waiting",
    tries: 0,
  });

  // What a field was last entered as: leaving it after Enter enters nothing twice.
  const last = new Map();
  const nameOf = (entry) => [entry.slot, entry.position, entry.increment].join("|");
  const wordsOf = (entry) => `${entry.text}|${entry.tare_text}`;

  const forgetRefused = (place) => {
    const here = state.unsettled.filter((it) => it.run === run && isAt(place)(it));
    return Promise.all(here.filter((it) => it.state === "refused").map(queue.forget));
  };

  const enterReading = async (field) => {
    const reading = readingOf(field);
    if (!reading) return;
    const entry = entryOf(field);
    if (!entry.text) {
      leaveEmpty(field);
      return;
    }
    if (isGross && !entry.tare_text && tareOf(field)) {
      rows.say(entry, "Enter the tare as well, or weigh net.");
      return;
    }
    if (last.get(nameOf(entry)) === wordsOf(entry)) return;
    last.set(nameOf(entry), wordsOf(entry));
    rows.say(entry);
    rows.show(entry);
    await forgetRefused(entry);
    await window.bench.record(entry, [reading, tareOf(field)].filter(Boolean).map(draftId));
  };

  const leaveEmpty = (field) => {
    const place = placeOf(field);
    last.delete(nameOf(place));
    rows.mark(place, "");
    rows.say(place);
    forgetRefused(place);
    const cell = field.closest("[data-behind]");
    if (cell) poll(0);
  };

  // A mass that no balance shows stays where it is; anything else lets the next row begin at once.
  const finish = (field, back) => {
    const isDone = "tare" in field.dataset || !field.value.trim() || scan.isMass(field.value);
    if (isDone) rows.goOn(field, back);
    enterReading(field);
  };

  const BACK = { ArrowUp: true, ArrowDown: false };

  table.addEventListener("keydown", (event) => {
    const field = event.target.closest("[data-row-field]");
    if (!field || event.isComposing) return;
    const arrow = event.key in BACK;
    if (event.key !== "Enter" && !arrow) return;
    event.preventDefault();
    event.stopPropagation();
    if (!arrow && scan.took(field)) return;
    finish(field, arrow ? BACK[event.key] : event.shiftKey);
  });

  table.addEventListener("input", (event) => {
    if (!event.target.matches("input[data-slot]")) return;
    isTyping = true;
    delete event.target.dataset.half;
    keepDraft(event.target);
  });

  table.addEventListener("change", (event) => {
    if (!event.target.matches("input[data-slot]") || event.target.dataset.half) return;
    if (!scan.took(event.target)) enterReading(event.target);
  });

  table.addEventListener("focusin", (event) => {
    if (!event.target.matches("[data-reading]")) return;
    const detail = { run, ...placeOf(event.target) };
    document.dispatchEvent(new CustomEvent("bench:place", { detail }));
  });

  // What the page has been told, for the server to tell only the rest.
  window.bench.seen = () => {
    const axis = document.querySelector('[data-chart-url][aria-pressed="true"]');
    const query = new URL(axis?.dataset.chartUrl || "?", location.href).searchParams;
    const seen = { since: line.dataset.last };
    for (const name of ["scale", "direction"]) if (query.get(name)) seen[name] = query.get(name);
    if (isGross) seen.gross = "1";
    return seen;
  };

  const take = async (answer, own) => {
    const { owns, lacking } = rows.apply(answer, own);
    rows.tellNews(answer.news);
    for (const entry of owns) if (entry !== own) await queue.forget(entry).catch(() => {});
    state.asOf = answer.at;
    if (answer.state !== "open" && answer.state !== "returned") {
      const said = `This run is ${answer.state} now; readings are no longer taken.`;
      note("state", said, button("Reload", () => location.reload()));
    } else if (lacking) {
      const show = button("Show them", () => location.reload());
      await rows.addRows().catch(() => note("rows", "Rows were added to this run.", show));
    }
    await window.bench.look();
  };

  let polling = null;
  let next = 0;

  const asked = async (since) => {
    const query = new URLSearchParams({ ...window.bench.seen(), version: line.dataset.version });
    if (since !== undefined) query.set("since", since);
    const answer = await window.bench.exchange(`${line.dataset.changesUrl}?${query}`);
    if (answer.kind === "changed") await take(answer);
    if (answer.kind === "sign-in" || answer.kind === "reload") window.bench.setNetwork(answer.kind);
    else if (answer.kind === "away") window.bench.setNetwork("away");
    else if (state.network === "away") {
      window.bench.setNetwork("kept");
      window.bench.drain();
    }
    return answer.kind;
  };

  const poll = async (since) => {
    clearTimeout(next);
    polling = (polling || Promise.resolve()).then(() => asked(since)).catch(() => "away");
    const kind = await polling;
    clearTimeout(next);
    if (!document.hidden) next = setTimeout(poll, kind in PROMPT ? EVERY_MS : AWAY_MS);
  };

  document.addEventListener("visibilitychange", () => document.hidden || poll());
  document.addEventListener("bench:elsewhere", (event) => event.detail.run === run && poll());
  window.addEventListener("online", () => poll());

  document.addEventListener("bench:answered", async ({ detail: { entry, answer } }) => {
    if (entry.run !== run) return;
    if (answer.kind === "kept") {
      await take(answer, entry);
      if (fieldAt(entry) && answer.pk <= Number(line.dataset.last)) await poll(answer.pk - 1);
      return;
    }
    const known = { ...entry, said: answer.message, code: answer.code, theirs: answer.theirs };
    rows.show({ ...known, state: answer.kind === "clash" ? "clash" : "refused" });
    last.delete(nameOf(entry));
    if (answer.kind === "clash") return;
    const row = rows.labelOf(rows.rowOf(entry)) || entry.slot;
    const there = button("Go there", () => fieldAt(entry)?.focus());
    if (document.activeElement === fieldAt(entry)) return;
    note(`refused ${nameOf(entry)}`, `${row}: ${answer.message}`, there);
  });

  // Handing over waits for what waits: a run is not complete before its readings are kept.
  const form = document.querySelector("#hand-over form");
  let handing = false;

  const unsettledHere = () => state.unsettled.filter((entry) => entry.run === run);

  const handOver = async () => {
    await window.bench.drain();
    const here = state.waiting.filter((entry) => entry.run === run);
    if (unsettledHere().length) {
      const said = "Not handed over: a reading is not settled. Look at its row first.";
      note("hand-over", said, link("#bench-rows", "To the rows"));
    } else if (here.length) {
      const said = "Not handed over: readings still wait in this browser.";
      note("hand-over", `${said} Hand over when they are kept.`);
    } else {
      handing = true;
      form.requestSubmit();
    }
  };

  form?.addEventListener("submit", (event) => {
    if (handing) return;
    event.preventDefault();
    unnote("hand-over");
    handOver();
  });

  // Back after a reload, a crash, a closed tab: what was entered and what was half typed.
  const restore = async () => {
    await window.bench.look();
    for (const entry of [...state.waiting, ...state.unsettled]) {
      if (entry.run !== run) continue;
      rows.show(entry);
      if (entry.state === "waiting") last.set(nameOf(entry), wordsOf(entry));
    }
    const mine = (it) => it.run === run && it.person === me.pk && !typedIn.has(it.id);
    const left = (await drafts.all()).filter(mine);
    left.forEach(restoreDraft);
    return left;
  };

  const restoreDraft = (draft) => {
    const field = fieldAt(draft, draft.name === "tare_text" ? "tare" : "reading");
    if (field) {
      field.value ||= draft.text;
      return;
    }
    const forget = button("Forget it", () => drafts.forget(draft.id).then(() => unnote(draft.id)));
    const label = rows.labelOf(rows.rowOf(draft)) || draft.slot;
    const said = `you had begun to type ${draft.text}; a value is kept there meanwhile.`;
    note(draft.id, `${label}: ${said}`, forget);
  };

  // What was typed while the scripts were still on their way is taken up.
  const takeUp = () => {
    for (const field of rows.inputs()) {
      if (!field.value.trim()) continue;
      if (field === document.activeElement) keepDraft(field);
      else if ("reading" in field.dataset && !field.closest("[data-kept]")) enterReading(field);
    }
  };

  const begin = async () => {
    takeUp();
    if (!document.activeElement?.matches("[data-row-field]")) {
      const open = rows.onTheWay().find((field) => !field.value);
      if (open) rows.enter(open);
    }
    const begun = (await restore()).map((it) => fieldAt(it)).find(Boolean);
    if (begun && !isTyping) rows.enter(begun);
    poll();
    window.bench.drain();
  };

  Object.assign(window.bench, { poll, enterReading });
  begin();
}
