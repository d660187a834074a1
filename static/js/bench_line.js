// The line at the foot of every bench page: what waits in this browser and why, what was scanned
// and not understood, what somebody else entered. It is always there, so that nothing jumps.
{
  const { line, state, me, claim, checkPerson, drain, isHere } = window.bench;
  const status = line.querySelector("[data-line-status]");
  const others = line.querySelector("[data-line-others]");
  const notes = line.querySelector("[data-line-notes]");
  const PATIENCE_MS = 700;
  const MOST = 6;
  let shown = 0;

  const counted = (n) => (n === 1 ? "1 reading waits" : `${n} readings wait`);
  const link = (href, textContent) =>
    Object.assign(document.createElement("a"), { href, textContent });

  const button = (words, act) => {
    const made = document.createElement("button");
    Object.assign(made, { type: "button", textContent: words, className: "button button--word" });
    made.addEventListener("click", act);
    return made;
  };

  const signIn = () => {
    const back = encodeURIComponent(location.pathname + location.search);
    return link(`${line.dataset.signIn}?next=${back}`, "Sign in again to send");
  };

  const asOf = () => (state.asOf && line.dataset.run ? ` Figures are as of ${state.asOf}.` : "");

  const here = (n) => (n ? `${counted(n)} in this browser. ` : "");

  const WORDS = {
    away: (n) => [
      "away",
      n
        ? `The server does not answer. ${counted(n)} in this browser and will be sent.${asOf()}`
        : `The server does not answer. Go on; what you enter is kept in this browser.${asOf()}`,
    ],
    "sign-in": (n) => ["away", `${here(n)}Nobody is signed in any more. `, signIn()],
    "other-person": (n) => [
      "away",
      `${state.stranger} is signed in here now; this page is ${me.name}'s. `,
      n ? `${counted(n)} for ${me.name}. ` : "",
      signIn(),
    ],
    reload: (n) => [
      "away",
      `The server was renewed. ${here(n)}`,
      button("Reload this page", () => location.reload()),
    ],
    kept: (n) => {
      if (n) return ["sending", `${counted(n)} in this browser; sending.`];
      return ["kept", `Everything entered is kept${state.asOf ? `, ${state.asOf}` : ""}.`];
    },
  };

  const foreignNames = () => {
    const names = new Map();
    for (const entry of state.foreign) {
      const name = entry.format > window.bench.FORM ? "a newer page: reload" : entry.person_name;
      names.set(name, (names.get(name) || 0) + 1);
    }
    return names;
  };

  const elsewhere = () => state.unsettled.filter((entry) => !isHere(entry));
  const workOf = (entry) =>
    entry.drying ? `the drying of ${entry.drying_name}` : `run ${entry.run_name || entry.run}`;

  const drawOthers = () => {
    const parts = [];
    for (const [name, n] of foreignNames()) {
      if (name) parts.push(`${counted(n)} for ${name}.`);
      else {
        const mine = button("They are mine: send them", claim);
        parts.push(`${counted(n)} without a name, from before an upgrade. `, mine);
      }
    }
    for (const entry of elsewhere()) {
      const what = `${entry.text} g of ${workOf(entry)}`;
      parts.push(`${what} is not settled. `, link(entry.page, "Look at it"));
    }
    others.replaceChildren(...parts.flatMap((part) => [part, " "]));
  };

  const draw = () => {
    const [kept, ...words] = WORDS[state.network](state.waiting.length);
    line.dataset.kept = kept;
    if (status.textContent === words.map((it) => it.textContent ?? it).join("")) return;
    status.replaceChildren(...words);
  };

  // Most readings are kept before anybody could read that they are being sent.
  const render = () => {
    clearTimeout(shown);
    const brief = state.network === "kept" && state.waiting.length;
    shown = setTimeout(draw, brief ? PATIENCE_MS : 0);
    drawOthers();
  };

  // A note stays until it is waved off; notes about the same thing replace one another.
  const put = (about, ...words) => {
    const made = document.createElement("p");
    made.dataset.about = about;
    made.append(...words.flatMap((it) => [it, " "]));
    unnote(about);
    notes.append(made);
    made.scrollIntoView({ block: "nearest" });
    return made;
  };

  const note = (about, ...words) => {
    const wave = button("Heard", () => made.remove());
    const made = put(about, ...words, wave);
    made.dataset.passing = "";
    [...notes.querySelectorAll("[data-passing]")].slice(0, -MOST).forEach((it) => it.remove());
    return made;
  };

  const unnote = (about) => notes.querySelector(`[data-about="${CSS.escape(about)}"]`)?.remove();

  // What grows at the foot must not hide the row in which one types.
  new ResizeObserver(() => {
    document.documentElement.style.setProperty("--bench-line", `${line.offsetHeight}px`);
    const active = document.activeElement;
    if (active?.matches("[data-row-field]")) active.closest("tr").scrollIntoView({ block: "nearest" });
  }).observe(line);

  document.addEventListener("bench:state", render);
  document.addEventListener("bench:outdated", () => window.bench.setNetwork("reload"));
  document.addEventListener("bench:unkept", () =>
    note(
      "unkept",
      "This browser keeps nothing: a private window, or a full disk. ",
      "Leave a row only when its value is shown as kept.",
    ),
  );

  Object.assign(window.bench, { note, question: put, unnote, link, button });
  window.bench.queue.moveOldReadings().catch(() => {}).then(drain).then(window.bench.look);
  window.addEventListener("pageshow", (event) => event.persisted && checkPerson());
}
