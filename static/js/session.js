// A page does not outlive its session: it knows how long that lasts, asks the server by a request
// that prolongs nothing before it believes its own clock, warns, and then takes everything off the
// screen. What waits in the browser to be sent stays there.
{
  const place = document.getElementById("session");
  const channel = "BroadcastChannel" in window ? new BroadcastChannel("session") : null;
  const me = Number(place?.dataset.person) || 0;
  const TICK_MS = 1000;
  const ASK_EVERY_MS = 60_000;
  const ASK_AGAIN_MS = 3000;
  const PATIENCE_MS = 10_000;

  // Other tabs learn that somebody came or left; each of them asks for itself.
  channel?.postMessage({ person: me });

  // A clock may be set and a computer may sleep: of both ways to count, the longer counts.
  const moment = () => ({ wall: Date.now(), steady: performance.now() });
  const since = (then) => Math.max(Date.now() - then.wall, performance.now() - then.steady);

  const follow = () => {
    const { showUrl, stayUrl } = place.dataset;
    const idle_ms = place.dataset.idleS * 1000;
    const warn_ms = place.dataset.warnS * 1000;
    const warning = place.querySelector("[data-session-warning]");
    const words = place.querySelector("[data-session-words]");
    const face = place.querySelector("[data-session-left]");

    let told = { at: { wall: performance.timeOrigin, steady: 0 }, ...timesOf(place.dataset) };
    let asked = moment();
    let used = moment();
    let stayed = told.at;
    let asking = null;
    let isOver = false;

    const left_ms = () => told.left_ms - since(told.at);
    const mayStay = () => told.longest_ms > told.left_ms;

    const fetched = async (url) => {
      try {
        const answer = await fetch(url, {
          redirect: "manual",
          cache: "no-store",
          headers: { Accept: "application/json" },
          signal: AbortSignal.timeout(PATIENCE_MS),
        });
        return answer.ok || answer.status === 401 ? await answer.json() : { kind: "away" };
      } catch {
        return { kind: "away" };
      }
    };

    // While the server does not answer, work at this page counts as use; the longest time holds.
    const inUse = () => since(used) < idle_ms && since(told.at) < told.longest_ms;

    const judge = (answer, began) => {
      if (answer.kind === "session" && answer.person === me) {
        told = { at: began, ...timesOf({ leftS: answer.left_s, longestS: answer.longest_s }) };
      } else if (answer.kind === "session") clear("other");
      else if (answer.kind === "sign-in") clear("ended");
      else if (left_ms() <= 0 && !inUse()) clear("away");
    };

    const askOnce = async (url) => {
      const began = moment();
      asked = began;
      judge(await fetched(url), began);
      if (isOver) return;
      document.documentElement.classList.remove("session-asked");
      warn();
    };

    const ask = (url = showUrl) => {
      if (url === stayUrl) stayed = moment();
      asking ||= askOnce(url).finally(() => {
        asking = null;
      });
      return asking;
    };

    // Nothing is shown between waking up and the server's word.
    const askUnseen = () => {
      document.documentElement.classList.add("session-asked");
      ask();
    };

    const counted = (ms) => {
      const seconds = Math.max(0, Math.ceil(ms / 1000));
      return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
    };

    const WORDS = {
      stay: "Nobody has used this page for a while. It is about to be signed out and cleared.",
      end: "This sign-in has lasted its longest time. Finish what is begun here; then sign in again.",
    };

    const warn = () => {
      const isSoon = left_ms() <= warn_ms;
      face.textContent = isSoon ? counted(left_ms()) : "";
      if (isSoon !== warning.hidden) return;
      warning.hidden = !isSoon;
      words.textContent = isSoon ? WORDS[mayStay() ? "stay" : "end"] : "";
      warning.querySelector("button").hidden = !mayStay();
    };

    const clear = (why) => {
      isOver = true;
      const page = document.getElementById("session-over").content.cloneNode(true);
      const waits = window.bench?.state?.waiting.length || 0;
      for (const each of page.querySelectorAll("[data-why]")) {
        if (each.dataset.why !== why) each.remove();
      }
      const waiting = page.querySelector("[data-session-waiting]");
      waiting.hidden = !waits;
      waiting.textContent = `${waits === 1 ? "1 reading waits" : `${waits} readings wait`} in this browser until you sign in again.`;
      const back = encodeURIComponent(location.pathname + location.search);
      page.querySelector("[data-session-in]").href += `?next=${back}`;
      document.dispatchEvent(new CustomEvent("session:over"));
      for (const name of document.body.getAttributeNames()) document.body.removeAttribute(name);
      document.body.replaceChildren(page);
      document.title = "Signed out";
      document.documentElement.classList.remove("session-asked");
      document.getElementById("content").focus();
    };

    const tick = () => {
      if (isOver) return;
      const isNear = left_ms() <= warn_ms;
      const isInUse = since(used) < Math.min(warn_ms, since(stayed));
      const asleep_ms = left_ms() <= 0 ? ASK_AGAIN_MS : ASK_EVERY_MS;
      if (isNear && mayStay() && isInUse) ask(stayUrl);
      else if (since(asked) >= asleep_ms && (left_ms() <= 0 || !document.hidden)) ask();
      warn();
    };

    const use = (event) => {
      if (event.isTrusted) used = moment();
    };
    for (const kind of ["keydown", "pointerdown", "input"]) {
      document.addEventListener(kind, use, { capture: true, passive: true });
    }
    place.querySelector("[data-session-stay]").addEventListener("click", () => ask(stayUrl));

    const woken = () => {
      if (isOver || document.hidden) return;
      if (left_ms() <= 0) askUnseen();
      else ask();
    };
    document.addEventListener("visibilitychange", woken);
    window.addEventListener("focus", () => !isOver && left_ms() <= 0 && askUnseen());
    window.addEventListener("pageshow", (event) => event.persisted && !isOver && askUnseen());

    if (channel) {
      channel.onmessage = ({ data: { person } }) => {
        if (isOver && person === me) location.replace(location.pathname + location.search);
        else if (!isOver && person !== me) ask();
      };
    }
    setInterval(tick, TICK_MS);
  };

  const timesOf = ({ leftS, longestS }) => ({
    left_ms: Number(leftS) * 1000,
    longest_ms: Number(longestS) * 1000,
  });

  if (place) follow();
}
