// A scanner types a label's code and sends Enter. It is told from typing by what it says: a code is
// no mass. It never becomes one, wherever the cursor stood, and what stood there before it stays.
{
  const { line, note, unnote, link, button, exchange } = window.bench;
  const rows = () => window.bench.rows;
  const BETWEEN_KEYS_MS = 80; // faster than anybody types four keys in a row
  const WHERE_NOTHING_IS_TYPED_MS = 700; // on a button, in a choice: there a code stands out anyway
  const SHORTEST = 4;

  const isMass = (text) => /^(\d+([.,]\d*)?|[.,]\d+)$/.test(text.trim());
  const isCode = (text) =>
    text.length >= SHORTEST &&
    /^[\p{L}\d./ _-]+$/u.test(text) &&
    /\d/.test(text) &&
    /[\p{L}/-]/u.test(text) &&
    !/^[-.,\d]*\.[-.,\d]*$|^-|^\d+e\d+$/i.test(text);
  const isBareNumber = (text) => /^\d{5,}$/.test(text);

  // The last keys that came faster than a person types, and what stood in their field before.
  const NO_BURST = { text: "", target: null, before: "", at: -Infinity, ended: Infinity };
  let burst = NO_BURST;

  const typesInto = (target) => target.matches?.("input, textarea");
  const pause_ms = (target) => (typesInto(target) ? BETWEEN_KEYS_MS : WHERE_NOTHING_IS_TYPED_MS);

  document.addEventListener(
    "keydown",
    (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const { target, key, timeStamp } = event;
      if (key === "Enter") burst = { ...burst, ended: timeStamp };
      if (key.length !== 1) return;
      const goesOn = target === burst.target && timeStamp - burst.at < pause_ms(target);
      const { text, before } = goesOn ? burst : { text: "", before: target.value ?? "" };
      burst = { target, before, text: text + key, at: timeStamp, ended: Infinity };
      // A stroke within a code is no wish for the search field.
      if (key === "/" && burst.text.length > 1 && !typesInto(target)) event.stopPropagation();
    },
    true,
  );

  const burstIn = (target) => {
    const fresh = burst.target === target && burst.ended - burst.at < 2 * pause_ms(target);
    return fresh && burst.text.length >= SHORTEST ? burst : null;
  };

  const spent = () => {
    burst = NO_BURST;
  };

  const serials = () =>
    [...document.querySelectorAll("tr[data-serial]")].filter((row) => row.dataset.serial);
  const rowOf = (code) =>
    serials().find((row) => row.dataset.serial.toLowerCase() === code.toLowerCase());
  const endsInSerial = (text) =>
    serials()
      .map((row) => row.dataset.serial)
      .find((serial) => serial.length >= SHORTEST && text.length > serial.length &&
        text.toLowerCase().endsWith(serial.toLowerCase()) &&
        /^[\d.,]+$/.test(text.slice(0, -serial.length))); // prettier-ignore

  // What of a field's text is a code, what stood there before, and whether it is surely scanned.
  const readOf = (text, fast) => {
    if (rowOf(text) && (fast || !isMass(text))) {
      return { code: text, rest: fast?.before ?? "", sure: true };
    }
    const serial = endsInSerial(text);
    if (serial) return { code: serial, rest: text.slice(0, -serial.length), sure: true };
    if (fast && isCode(fast.text) && /^[\d.,]*$/.test(fast.before)) {
      return { code: fast.text, rest: fast.before, sure: true, whole: text };
    }
    return isCode(text) ? { code: text, rest: "", sure: fast && isCode(fast.text) } : null;
  };

  // Gives whether the text of a field was a code; then the field holds what it held before.
  const took = (field) => {
    const text = field.value.trim();
    const fast = burstIn(field);
    const read = text && readOf(text, fast);
    spent();
    if (!read && isBareNumber(text)) {
      weighOrScan(field, text, fast);
      return true;
    }
    if (!read) return false;
    field.value = read.rest;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    if (read.rest) field.dataset.half = "1";
    handle(read.code, read.sure ? null : field, read.rest && { field, ...read });
    return true;
  };

  let tail = Promise.resolve();

  const handle = (code, doubted, split) => {
    const row = rowOf(code);
    if (row) toRow(row);
    else tail = tail.then(() => lookUp(code, doubted, split)).catch(() => {});
  };

  const toRow = (row) => {
    const field = row.querySelector("[data-row-field]:not(:disabled)");
    const label = rows().labelOf(row);
    if (field) {
      rows().enter(field);
      row.scrollIntoView({ block: "nearest" });
    } else note("scanned", `${label}, ${row.dataset.serial}: weighed already.`);
  };

  const meaningOf = (code) => exchange(`${line.dataset.codesUrl}?q=${encodeURIComponent(code)}`);

  // A scanner that hesitated: what seemed typed before the code was the beginning of it.
  const joined = async ({ field, rest, whole }) => {
    const answer = await meaningOf(whole);
    if (!answer.url) return false;
    if (field.isConnected && field.value === rest) {
      field.value = "";
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
    if (!window.bench.takeCode?.(answer, whole)) act(answer, whole, `code ${whole}`);
    return true;
  };

  const lookUp = async (code, doubted, split) => {
    const answer = await meaningOf(code);
    if (answer.kind === "unknown" && split?.whole && (await joined(split))) return;
    const about = `code ${code}`;
    unnote(about);
    if (answer.kind === "unknown" && doubted?.isConnected) asTyped(doubted, code, answer.message);
    else if (answer.kind === "unknown") note(about, answer.message);
    else if (!answer.url) {
      const again = button("Look it up again", () => lookUp(code, null));
      const said = `${code} could not be looked up: the server does not answer. It is kept here.`;
      note(about, said, again);
    } else if (!window.bench.takeCode?.(answer, code)) act(answer, code, about);
  };

  // It was typed after all: back into its field, to be kept or refused beside it.
  const asTyped = (field, text, otherwise) => {
    if (field.value && field.value !== text) {
      note(`code ${text}`, otherwise);
      return;
    }
    field.value = text;
    window.bench.enterReading?.(field);
  };

  // Digits alone may be a mass or a serial number. They stay in their field, not entered, until it
  // is known that no label says them; the next row can begin meanwhile.
  const weighOrScan = (field, text, fast) => {
    if (field.dataset.half) return;
    field.dataset.half = "1";
    if (document.activeElement === field) rows().goOn(field);
    tail = tail.then(() => judge(field, text, fast)).catch(() => {});
  };

  const judge = async (field, text, fast) => {
    const answer = await meaningOf(text);
    const isMassAfterAll = answer.kind === "unknown" || (!answer.url && !fast);
    if (!field.isConnected || field.value.trim() !== text) return;
    if (isMassAfterAll) enterMass(field);
    else if (answer.url && fast) {
      field.value = "";
      field.dispatchEvent(new Event("input", { bubbles: true }));
      act(answer, text, `code ${text}`);
    } else {
      const said = answer.url ? `${text} is also on a label` : `${text} could not be looked up`;
      const weighed = button("It is a mass", () => {
        unnote(`code ${text}`);
        enterMass(field);
      });
      note(`code ${text}`, `${said}. It is not entered yet.`, weighed);
    }
  };

  const enterMass = (field) => {
    delete field.dataset.half;
    window.bench.enterReading(field);
  };

  const act = (answer, code, about) => {
    const opens = answer.kind === "portion" || answer.kind === "sample";
    if (answer.kind === "portion" && answer.key === line.dataset.portion) {
      note(about, `${code} is the portion on this screen.`);
    } else if (opens) location.assign(answer.url);
    else if (answer.kind === "equipment") {
      const where = line.dataset.run ? "does not stand in this run" : "is in the equipment file";
      note(about, `${code} is a ${answer.what}; it ${where}.`, link(answer.url, "Its card"));
    } else note(about, `${code} is a ${answer.kind}.`, link(answer.url, "Go there"));
  };

  // Where no reading is typed: on a button, in a choice, on the bare page, in a field of figures.
  const isForCodes = (target) =>
    !target.matches("textarea, [type=search], [type=password]") &&
    (!typesInto(target) ||
      target.inputMode === "decimal" ||
      target.matches("[type=checkbox], [type=radio]"));

  document.addEventListener(
    "keydown",
    (event) => {
      if (event.key !== "Enter" || event.target.matches("input[data-slot]")) return;
      const fast = burstIn(event.target);
      if (!fast || !isCode(fast.text) || !isForCodes(event.target)) return;
      event.preventDefault();
      event.stopPropagation();
      if (event.target.inputMode === "decimal" || event.target.matches("select")) {
        event.target.value = fast.before;
      }
      spent();
      handle(fast.text, null);
    },
    true,
  );

  window.bench.scan = { isMass, isCode, took, handle };
}
