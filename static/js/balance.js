// The balance at the bench: says which field the next reading goes to, reads a balance at this
// computer's own serial port where the browser can, and answers for readings that found no field.
{
  const panel = document.getElementById("balance");
  const NAME_AFTER_MS = 250;
  const NAME_AGAIN_MS = 10 * 60 * 1000;
  const RETRY_MS = 3000;
  const LOOK_MS = 5000;
  const LONGEST = 200;
  const LINES = "gradation-balance-lines";
  const CHOSEN = "gradation-balance";
  const PARITIES = { none: "none", even: "even", odd: "odd" };

  const stateLine = panel.querySelector("[data-balance-state]");
  const shownLine = panel.querySelector("[data-balance-line]");
  const waiting = panel.querySelector("[data-balance-waiting]");
  const which = panel.querySelector("[data-balance-which]");
  const say = (words) => {
    stateLine.textContent = words;
  };
  const isGross = document.getElementById("bench-line")?.dataset.gross === "1";
  const newKey = () => window.bench?.newKey?.() ?? crypto.randomUUID();

  const post = async (url, values) => {
    const token = document.getElementById("bench-line")?.dataset.token || panel.dataset.token;
    const answer = await fetch(url, {
      method: "POST",
      headers: { "X-CSRFToken": token, Accept: "application/json" },
      body: new URLSearchParams(values),
      signal: AbortSignal.timeout(15000),
    });
    const told = answer.headers.get("Content-Type")?.includes("json") ? await answer.json() : {};
    return { status: answer.status, told };
  };

  // The field that the next reading goes to.
  let place = null;
  let named = { words: "", at: 0 };
  let naming = null;

  const tareAt = ({ slot, position, increment }) =>
    [...document.querySelectorAll("[data-tare]")].find(
      (field) =>
        field.dataset.slot === slot &&
        Number(field.dataset.position) === Number(position) &&
        Number(field.dataset.increment) === Number(increment),
    );

  const fieldValues = () => {
    if (place.drying) return { drying: place.drying, number: place.number };
    const { run, slot, position, increment } = place;
    const values = { run: run ?? panel.dataset.run, slot, position, increment: increment ?? 1 };
    if (isGross) Object.assign(values, { gross: "1", tare_text: tareAt(place)?.value.trim() ?? "" });
    return values;
  };

  const nameField = async () => {
    if (!place) return;
    const values = fieldValues();
    const words = JSON.stringify(values);
    if (words === named.words && Date.now() - named.at < NAME_AGAIN_MS) return;
    try {
      const { status, told } = await post(panel.dataset.placeUrl, values);
      if (status < 300) named = { words, at: Date.now() };
      else if (status < 500) say(told.message || "The server does not know where readings go now.");
      else later();
    } catch {
      later();
    }
  };
  const soon = (ms = NAME_AFTER_MS) => {
    clearTimeout(naming);
    naming = setTimeout(nameField, ms);
  };
  const later = () => soon(RETRY_MS);

  const goneTo = (detail) => {
    place = detail;
    soon();
  };
  document.addEventListener("bench:place", (event) => goneTo(event.detail));
  document.addEventListener("change", (event) => event.target.matches("[data-tare]") && soon());
  window.addEventListener("focus", () => soon());
  const first = document.activeElement;
  if (first?.matches("[data-reading]")) goneTo({ run: panel.dataset.run, ...first.dataset });

  // Lines that the server has not acknowledged: kept in this browser, sent in order.
  const kept = () => {
    try {
      return JSON.parse(localStorage.getItem(LINES)) ?? [];
    } catch {
      return [];
    }
  };
  const keep = (lines) => localStorage.setItem(LINES, JSON.stringify(lines));
  let sending = false;
  let settler = null;

  const tellOutcome = (line, told) => {
    const mass = told.mass_g ? `${told.mass_g} g` : `“${line.line.trim()}”`;
    if (told.outcome === "placed") say(`${line.balance}: ${mass} is in its field.`);
    else say(`${line.balance}: ${mass} ${told.outcome || "was not taken"}. ${told.reason || told.message || ""}`);
    if (told.outcome === "refused") {
      settler?.forget();
      rememberLoad(line.balance);
    }
    if (told.outcome === "placed") window.bench?.poll?.();
    else lookForWaiting();
  };

  const sendOne = async (line) => {
    const values = { ...line, sent_at: new Date().toISOString() };
    delete values.url;
    const { status, told } = await post(line.url, values);
    if (status >= 500 || status === 429 || status === 401 || (status === 403 && !told.kind)) {
      say(told.message || "The server does not take readings now. They are kept here and sent later.");
      return false;
    }
    keep(kept().filter((one) => one.key !== line.key));
    tellOutcome(line, told);
    return true;
  };

  const send = async () => {
    if (sending) return;
    sending = true;
    try {
      let line = kept()[0];
      while (line && (await sendOne(line))) line = kept()[0];
    } catch {
      say("No network. What the balance sends is kept in this browser and sent when it is back.");
    }
    sending = false;
    if (kept().length) setTimeout(send, RETRY_MS);
  };

  // The load that was taken last: after a reload of the page it still stands there.
  const loadName = (balance) => `${CHOSEN}-load-${balance}`;
  const rememberLoad = (balance) => {
    const load = settler?.last;
    if (load === undefined || String(load) === localStorage.getItem(loadName(balance))) return;
    if (load === null) localStorage.removeItem(loadName(balance));
    else localStorage.setItem(loadName(balance), String(load));
  };
  const rememberedLoad = (balance) => {
    const text = localStorage.getItem(loadName(balance));
    return text === null ? null : Number(text);
  };

  const take = (balance, text) => {
    const line = text.slice(0, LONGEST);
    shownLine.textContent = line.trim();
    const isNew = settler.take(line, performance.now());
    rememberLoad(balance);
    if (!isNew) return;
    const observed = new Date().toISOString();
    keep([...kept(), { key: newKey(), balance, line, observed_at: observed, url: panel.dataset.lineUrl }]);
    send();
  };

  // The serial port, where the browser has one (Web Serial).
  const settingsOf = (option) => ({
    baudRate: Number(option.dataset.baud),
    dataBits: Number(option.dataset.dataBits),
    stopBits: Number(option.dataset.stopBits),
    parity: PARITIES[option.dataset.parity] ?? "none",
  });
  let open = null;

  // What is no printable sign is written as its code, as the gateway does: nothing is lost.
  const written = (bytes) =>
    Array.from(bytes, (byte) =>
      (byte > 31 && byte < 127) || byte === 9 ? String.fromCharCode(byte) : `\\x${byte.toString(16).padStart(2, "0")}`,
    ).join("");

  const lineCutter = (streams, onLine) => {
    let rest = [];
    let isSkipping = streams;
    return (bytes) => {
      for (const byte of bytes) {
        if (byte !== 10 && byte !== 13) {
          rest.push(byte);
          if (rest.length > LONGEST) [rest, isSkipping] = [[], true];
          continue;
        }
        const line = written(rest);
        const isWhole = !isSkipping && line.trim();
        [rest, isSkipping] = [[], false];
        if (isWhole) onLine(line);
      }
    };
  };

  const read = async (port, balance, streams) => {
    const cut = lineCutter(streams, (line) => take(balance, line));
    while (port.readable) {
      const reader = port.readable.getReader();
      try {
        for (;;) {
          const { value, done } = await reader.read();
          if (done) return;
          cut(value);
        }
      } catch (error) {
        if (error.name === "NetworkError") return; // the cable was pulled
        say(`${balance}: the port garbled something (${error.name}). Check speed and parity.`);
      } finally {
        reader.releaseLock();
      }
    }
  };

  const work = async (port, option) => {
    if (open) return;
    open = port;
    const balance = option.value;
    try {
      await port.open(settingsOf(option));
      const streams = option.dataset.streams === "1";
      settler = window.balanceSettler(streams, rememberedLoad(balance));
      localStorage.setItem(CHOSEN, balance);
      say(`${balance} is connected. Its readings land in the field you are in.`);
      panel.dataset.port = "open";
      await read(port, balance, streams);
      say(`${balance} is not connected any more. Put the cable back, or type.`);
    } catch (error) {
      say(`${balance} cannot be opened: ${error.message}. Is another program using its port?`);
    }
    panel.dataset.port = "closed";
    await port.close().catch(() => {});
    open = null;
  };

  const optionOf = (serial) => [...(which?.options ?? [])].find((one) => one.value === serial);

  const again = async () => {
    const option = optionOf(localStorage.getItem(CHOSEN));
    const ports = await navigator.serial.getPorts();
    if (option && ports.length === 1) {
      which.value = option.value;
      work(ports[0], option);
    }
  };

  if (which && "serial" in navigator) {
    panel.querySelector("[data-balance-port]").hidden = false;
    panel.querySelector("[data-balance-connect]").addEventListener("click", async () => {
      try {
        work(await navigator.serial.requestPort(), which.selectedOptions[0]);
      } catch {
        say("No port was chosen.");
      }
    });
    navigator.serial.addEventListener("connect", again);
    again();
  }

  // Readings that found no field.
  const lookForWaiting = async () => {
    if (document.hidden || !panel.isConnected || waiting.contains(document.activeElement)) return;
    try {
      const answer = await fetch(panel.dataset.waitingUrl, { signal: AbortSignal.timeout(8000) });
      if (answer.ok && !answer.redirected && !waiting.contains(document.activeElement)) {
        waiting.innerHTML = await answer.text();
      }
    } catch {
      // Shown again at the next look.
    }
  };
  setInterval(lookForWaiting, LOOK_MS);

  const takeWaiting = async (button) => {
    const row = button.closest("[data-waiting]");
    const said = row.querySelector(".balance__said");
    const tell = (words) => {
      said.textContent = words;
      said.hidden = false;
    };
    if (!place) return tell("Go to the field first that it belongs to.");
    const reason = row.querySelector("[data-waiting-reason]").value.trim();
    try {
      const { status, told } = await post(button.dataset.waitingTake, { ...fieldValues(), reason });
      if (status < 300) {
        row.remove();
        say(`${told.mass_g} g is in its field.`);
        window.bench?.poll?.();
        return lookForWaiting();
      }
      row.querySelector(".balance__correct").hidden = told.code !== "reading-clash";
      tell(told.message || "The server did not take it. Try again.");
    } catch {
      tell("No network. Try again when it is back.");
    }
  };

  waiting.addEventListener("click", (event) => {
    const button = event.target.closest("[data-waiting-take]");
    const aside = event.target.closest("[data-waiting-aside]");
    if (button) takeWaiting(button);
    if (aside) aside.search = panel.dataset.run ? `?run=${panel.dataset.run}` : `?drying=${panel.dataset.drying}`;
  });

  if (kept().length) send();
}
