// Sends what waits, one tab at a time, in the order of entering. An answer is one of three: kept,
// definitely refused (with the reason), or nothing worth the name - then the same again, later.
{
  const { queue, FORM } = window.bench;
  const TAB = window.bench.newKey();
  const EXCHANGE = "1"; // the form in which the server is asked; it says when it has another
  const PATIENCE_MS = 10_000;
  const LEASE_MS = 15_000;
  const HELD_ELSEWHERE_MS = 250;
  const FIRST_WAIT_MS = 500;
  const LONGEST_WAIT_MS = 15_000;

  const line = document.getElementById("bench-line");
  const me = { pk: Number(line.dataset.person), name: line.dataset.personName };
  const state = {
    network: "kept", // kept | away | sign-in | other-person | reload
    stranger: "",
    waiting: [],
    unsettled: [],
    foreign: [],
    asOf: line.dataset.at || "",
  };
  let token = line.dataset.token;
  let draining = null;
  let wanted = false;
  let wait_ms = FIRST_WAIT_MS;
  let timer = 0;

  const tell = (name, detail) => document.dispatchEvent(new CustomEvent(name, { detail }));
  const channel = "BroadcastChannel" in window ? new BroadcastChannel("bench") : null;

  const ask = (url, options = {}) =>
    fetch(url, {
      redirect: "manual",
      cache: "no-store",
      signal: AbortSignal.timeout(PATIENCE_MS),
      ...options,
      headers: {
        Accept: "application/json",
        "X-Bench-Form": EXCHANGE,
        "X-CSRFToken": token,
        ...options.headers,
      },
    });

  // Every kind of answer becomes {kind, ...}; what is no answer of this server's is 'away'.
  const answerOf = async (response) => {
    if (response.type === "opaqueredirect") return { kind: "sign-in" };
    if (response.status === 204) return { kind: "nothing" };
    const isJson = response.headers.get("Content-Type")?.startsWith("application/json");
    if (!isJson) return { kind: response.status === 403 ? "token" : "away" };
    if (response.status === 429 || response.status >= 500) return { kind: "away" };
    return { status: response.status, ...(await response.json()) };
  };

  // A page whose session is over is empty: it asks nothing more, and what waits goes on waiting.
  let isOver = false;
  document.addEventListener("session:over", () => {
    isOver = true;
  });

  const exchange = async (url, options) => {
    if (isOver) return { kind: "sign-in" };
    try {
      const answer = await answerOf(await ask(url, options));
      return isOver ? { kind: "sign-in" } : answer;
    } catch {
      return { kind: "away", lost: true };
    }
  };

  const FIELDS = ["slot", "position", "increment", "text", "tare_text", "key", "observed_at",
    "person", "reason", "over", "number"]; // prettier-ignore

  const bodyOf = (entry) => {
    const body = new URLSearchParams();
    for (const name of FIELDS) if (entry[name] !== undefined) body.set(name, entry[name]);
    if (entry.drying) body.set("sent_at", new Date().toISOString());
    if (!entry.drying && entry.run === Number(line.dataset.run)) {
      for (const [name, value] of Object.entries(window.bench.seen?.() || {})) body.set(name, value);
    }
    return body;
  };

  const send = async (entry) => {
    const post = () => exchange(entry.url, { method: "POST", body: bodyOf(entry) });
    const answer = await post();
    if (answer.kind !== "token") return answer;
    return (await checkPerson()) ? post() : { kind: "sign-in" };
  };

  // Who is signed in here now? The same person with a new token goes on; anybody else does not.
  const checkPerson = async () => {
    const answer = await exchange(line.dataset.personUrl);
    if (answer.kind === "person" && answer.person.pk === me.pk) {
      token = answer.token;
      setNetwork("kept");
      return true;
    }
    state.stranger = answer.kind === "person" ? answer.person.name : "";
    if (answer.kind === "person") setNetwork("other-person");
    else if (answer.kind !== "away") setNetwork(answer.kind === "reload" ? "reload" : "sign-in");
    return false;
  };

  const setNetwork = (network) => {
    if (state.network === network) return;
    state.network = network;
    tell("bench:state", state);
  };

  const BARRED = { "sign-in": true, "other-person": true, reload: true, token: true };

  // Gives whether the next reading may be sent.
  const settle = async (entry, answer) => {
    if (answer.kind === "kept") {
      await queue.forget(entry);
      wait_ms = FIRST_WAIT_MS;
      setNetwork("kept");
    } else if (answer.kind === "away") {
      await queue.change({ ...entry, tries: entry.tries + 1 });
    } else if (BARRED[answer.kind]) {
      if (answer.kind === "other-person") await checkPerson();
      else setNetwork(answer.kind === "token" ? "sign-in" : answer.kind);
      return false;
    } else {
      const clash = answer.kind === "clash";
      const said = { said: answer.message, code: answer.code, theirs: answer.theirs };
      await queue.change({ ...entry, ...said, state: clash ? "clash" : "refused" });
      setNetwork("kept");
    }
    if (answer.kind !== "away") {
      tell("bench:answered", { entry, answer });
      channel?.postMessage({ run: entry.run, drying: entry.drying });
    }
    return !answer.lost;
  };

  // The weighings of a drying go one after the other: the second says nothing before the first.
  const fieldOf = ({ drying, run, slot, position, increment }) =>
    drying ? `drying ${drying}` : [run, slot, position, increment].join("|");

  // Whether an entry belongs to what this page shows: its run or its drying.
  const isHere = (entry) =>
    entry.drying
      ? entry.drying === Number(line.dataset.drying)
      : entry.run === (Number(line.dataset.run) || 0);
  const mine = (entry) => entry.person === me.pk && entry.format === FORM;

  const look = async () => {
    const rows = await queue.readings();
    state.waiting = rows.filter((it) => mine(it) && it.state === "waiting");
    state.unsettled = rows.filter((it) => mine(it) && it.state !== "waiting");
    state.foreign = rows.filter((it) => !mine(it));
    tell("bench:state", state);
    return state.waiting;
  };

  // A reading that the server chokes on holds back its own field only.
  const sendAll = async () => {
    const held = new Set();
    for (;;) {
      const next = (await look()).find((entry) => !held.has(fieldOf(entry)));
      if (!next) return held.size === 0;
      if (!(await queue.takeLease(TAB, LEASE_MS))) return false;
      const answer = await send(next);
      if (!(await settle(next, answer))) return false;
      if (answer.kind === "away") held.add(fieldOf(next));
    }
  };

  const later = (after_ms) => {
    clearTimeout(timer);
    timer = setTimeout(drain, after_ms * (0.8 + 0.4 * Math.random()));
  };

  const round = async () => {
    if (!(await look()).length) return;
    if (BARRED[state.network] && !(await checkPerson())) {
      later(LONGEST_WAIT_MS);
      return;
    }
    if (!(await queue.takeLease(TAB, LEASE_MS))) {
      later(HELD_ELSEWHERE_MS);
      return;
    }
    const done = await sendAll().finally(() => queue.dropLease(TAB));
    await look();
    if (done || !state.waiting.length) return;
    if (!BARRED[state.network]) setNetwork("away");
    wait_ms = Math.min(wait_ms * 2, LONGEST_WAIT_MS);
    later(wait_ms);
  };

  const drain = async () => {
    if (draining) {
      wanted = true;
      return draining;
    }
    draining = round().finally(() => {
      draining = null;
      if (wanted) {
        wanted = false;
        drain();
      }
    });
    return draining;
  };

  const atOnce = () => {
    wait_ms = FIRST_WAIT_MS;
    return drain();
  };

  // Without a database (some private windows) a reading is sent straight away and only then counts.
  const record = async (entry, draftIds) => {
    try {
      await queue.add(entry, draftIds);
    } catch {
      tell("bench:unkept");
      const answer = await send(entry);
      tell("bench:answered", { entry, answer });
      return;
    }
    await drain();
  };

  const claim = async () => {
    for (const entry of state.foreign.filter((it) => it.person === 0 && it.format === FORM)) {
      await queue.change({ ...entry, person: me.pk, person_name: me.name });
    }
    return atOnce();
  };

  const heard = (message) => {
    if (message.signedIn && BARRED[state.network]) checkPerson().then((ok) => ok && atOnce());
    else if (message.run || message.drying) {
      look();
      tell("bench:elsewhere", message);
    }
  };

  window.addEventListener("online", atOnce);
  window.addEventListener("focus", atOnce);
  window.addEventListener("pagehide", () => queue.dropLease(TAB).catch(() => {}));
  if (channel) {
    channel.onmessage = (event) => heard(event.data);
    channel.postMessage({ signedIn: me.pk });
  }

  Object.assign(window.bench, { me, line, state, exchange, setNetwork, checkPerson, isHere });
  Object.assign(window.bench, { record, drain: atOnce, look, claim, tell });
}
