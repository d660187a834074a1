// The page of a drying: the next weighing is kept in this browser first and then sent, as a reading
// of a run is. The server alone says what is constant.
{
  const { line, me, state, queue, drafts, scan, isHere, newKey } = window.bench;
  const { note, unnote, question, button, askClash } = window.bench;
  const form = document.getElementById("drying-weigh");
  const field = form.elements.text;
  const label = form.querySelector("label");
  const pending = form.querySelector("[data-drying-pending]");
  const drying = Number(line.dataset.drying);
  const DRAFT = `drying ${drying} | ${me.pk}`;
  const EVERY_MS = 1500;
  const AWAY_MS = 3000;
  let next = Number(line.dataset.next);
  let mark = line.dataset.mark;

  field.dataset.slot = "drying mass"; // scans into it are judged here, not by the page

  const mine = () => [...state.waiting, ...state.unsettled].filter(isHere);
  const waiting = () => state.waiting.filter(isHere);
  const number = () => Math.max(next, ...waiting().map((it) => it.number + 1));
  const aboutOf = (entry) => `weighing ${entry.key}`;

  const named = { number: 0 };
  const nameField = () => {
    if (named.number === number() || document.activeElement !== field) return;
    named.number = number();
    const detail = { drying, number: named.number };
    document.dispatchEvent(new CustomEvent("bench:place", { detail }));
  };

  const draw = () => {
    label.firstChild.textContent = `Weighing ${number()}`;
    form.elements.number.value = number();
    const items = mine().map((entry) => {
      const how = { waiting: "waits in this browser", clash: "is not settled" };
      const words = `Weighing ${entry.number}: ${entry.text} g ${how[entry.state] || "was not kept"}`;
      const item = Object.assign(document.createElement("li"), { textContent: words });
      item.dataset.kept = entry.state;
      return item;
    });
    pending.replaceChildren(...items);
    nameField();
  };

  const look = async () => {
    await window.bench.look();
    draw();
  };

  const show = (answer) => {
    for (const [id, html] of Object.entries(answer.parts)) {
      const part = document.getElementById(id);
      if (part && part.innerHTML !== html) part.innerHTML = html;
    }
    next = answer.next;
    mark = answer.mark;
    state.asOf = answer.at;
    if (!answer.open) {
      const reload = button("Reload", () => location.reload());
      note("state", "This drying has ended; weighings are no longer taken.", reload);
    }
  };

  const keepDraft = () => {
    if (!field.value) return drafts.forget(DRAFT).catch(() => {});
    const draft = { id: DRAFT, run: 0, drying, person: me.pk, text: field.value };
    return drafts.keep(draft).catch(() => {});
  };

  const entryOf = (text) => ({
    ...{ key: newKey(), drying, drying_name: line.dataset.dryingName, run: 0 },
    ...{ slot: "drying mass", position: number(), increment: 1, number: number() },
    ...{ page: location.pathname, url: line.dataset.readingsUrl, text, tare_text: "" },
    ...{ person: me.pk, person_name: me.name, observed_at: new Date().toISOString() },
    ...{ state: "waiting", tries: 0 },
  });

  const enterReading = async () => {
    const text = field.value.trim();
    if (!text) return;
    unnote("mass");
    if (!scan.isMass(text)) {
      note("mass", `${text} is no mass that a balance shows. Enter the figure, such as 512.4.`);
      return;
    }
    const entry = entryOf(text);
    field.value = "";
    await window.bench.record(entry, [DRAFT]);
    await look();
  };

  const forget = async (entry) => {
    await queue.forget(entry);
    unnote(aboutOf(entry));
    await poll(true);
    await look();
  };

  const sendAgain = async (entry, again) => {
    unnote(aboutOf(entry));
    await queue.change({ ...entry, ...again });
    await window.bench.drain();
    await look();
  };

  // One that was refused or found another value stays in this browser until somebody says what to do.
  const ask = (entry) => {
    const asNext = button("", async () => {
      const to = number();
      await sendAgain(entry, { number: to, position: to, state: "waiting", tries: 0 });
    });
    asNext.textContent = `Enter it as weighing ${number()}`;
    const what = `Weighing ${entry.number}`;
    if (entry.theirs) {
      const more = [asNext];
      askClash(entry, { about: aboutOf(entry), label: what, keep: forget, correct: afterwards, more });
    } else {
      const away = button("Forget it", () => forget(entry));
      question(aboutOf(entry), `${what}: ${entry.text} g. ${entry.said}`, away, asNext);
    }
  };

  // The correction stands in the queue already.
  const afterwards = async (entry) => {
    unnote(aboutOf(entry));
    await window.bench.drain();
    await look();
  };

  document.addEventListener("bench:answered", async ({ detail: { entry, answer } }) => {
    if (!isHere(entry)) return;
    if (answer.kind === "kept") show(answer);
    await look();
    const left = state.unsettled.find((it) => it.key === entry.key);
    if (!left) return;
    await poll(true); // the number that is free now is the server's to say
    ask(left);
  });

  let polling = 0;
  const poll = async (all = false) => {
    clearTimeout(polling);
    const seen = all ? "" : mark;
    const answer = await window.bench.exchange(
      `${line.dataset.changesUrl}?${new URLSearchParams({ mark: seen })}`,
    );
    if (answer.kind === "changed") show(answer);
    if (["sign-in", "reload", "away"].includes(answer.kind)) window.bench.setNetwork(answer.kind);
    else if (state.network === "away") {
      window.bench.setNetwork("kept");
      window.bench.drain();
    }
    draw();
    const isAway = answer.kind === "away" || answer.kind === "sign-in";
    if (!document.hidden) polling = setTimeout(poll, isAway ? AWAY_MS : EVERY_MS);
  };

  document.addEventListener("visibilitychange", () => document.hidden || poll());
  document.addEventListener("bench:elsewhere", ({ detail }) => detail.drying === drying && poll());
  document.addEventListener("bench:state", draw);
  window.addEventListener("online", () => poll());
  field.addEventListener("focus", nameField);
  field.addEventListener("input", keepDraft);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (!scan.took(field)) enterReading();
  });

  const begin = async () => {
    await look();
    state.unsettled.filter(isHere).forEach(ask);
    const draft = (await drafts.all()).find((it) => it.id === DRAFT);
    if (draft && !field.value) field.value = draft.text;
    nameField();
    poll();
    window.bench.drain();
  };

  const rows = { goOn: () => {}, enter: (it) => it.focus(), labelOf: () => "" };
  Object.assign(window.bench, { poll, enterReading, rows });
  begin();
}
