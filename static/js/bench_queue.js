// What this browser keeps until the server has acknowledged it: readings, half-typed text, running
// timers. Everything is in the browser's own database, so that a reload, a closed tab, a crash or
// a power cut loses nothing. A page of another version leaves alone what it does not know.
{
  const FORM = 1;
  const NAME = "bench";
  const STORES = { readings: "n", drafts: "id", timers: "run", leases: "name" };

  const build = (db) => {
    for (const [name, path] of Object.entries(STORES)) {
      const numbered = name === "readings";
      const store = db.createObjectStore(name, { keyPath: path, autoIncrement: numbered });
      if (numbered) store.createIndex("key", "key", { unique: true });
    }
  };

  const opening = new Promise((resolve) => {
    let request;
    try {
      request = indexedDB.open(NAME, FORM);
    } catch {
      resolve(null);
      return;
    }
    request.onupgradeneeded = () => build(request.result);
    request.onsuccess = () => {
      const db = request.result;
      db.onversionchange = () => {
        db.close();
        document.dispatchEvent(new CustomEvent("bench:outdated"));
      };
      resolve(db);
    };
    request.onerror = () => resolve(null);
  });

  // One transaction; resolves when what it wrote is on the disk.
  const during = async (names, mode, work) => {
    const db = await opening;
    if (!db) throw new Error("this browser keeps nothing");
    return new Promise((resolve, reject) => {
      const transaction = db.transaction(names, mode, { durability: "strict" });
      const stores = Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)]));
      let result;
      transaction.oncomplete = () => resolve(result?.result ?? result);
      transaction.onerror = () => reject(transaction.error);
      transaction.onabort = () => reject(transaction.error);
      result = work(stores);
    });
  };

  const all = async (name) => {
    try {
      return await during([name], "readonly", (stores) => stores[name].getAll());
    } catch {
      return [];
    }
  };
  const put = (name, row) => during([name], "readwrite", (stores) => stores[name].put(row));
  const remove = (name, id) => during([name], "readwrite", (stores) => stores[name].delete(id));

  // A database writes in its own time, and a page that goes meanwhile takes the write with it. For
  // that moment the reading stands in the local storage too, which has it at once.
  const HELD = "held ";

  const hold = (entry, draftIds) => {
    try {
      localStorage.setItem(HELD + entry.key, JSON.stringify({ entry, draftIds }));
    } catch {
      // No room, or a window that keeps nothing: then the database alone has to do.
    }
  };

  const letGo = (entry) => {
    try {
      localStorage.removeItem(HELD + entry.key);
    } catch {
      // What could not be held need not be let go.
    }
  };

  // A reading is added and its half-typed text forgotten in one step: it is never in neither.
  const write = (entry, draftIds) =>
    during(["readings", "drafts"], "readwrite", (stores) => {
      draftIds.forEach((id) => stores.drafts.delete(id));
      return stores.readings.add({ ...entry, format: FORM });
    });

  const add = async (entry, draftIds = []) => {
    hold(entry, draftIds);
    await write(entry, draftIds).catch(isThere).finally(() => letGo(entry));
  };

  // Another page of this browser has taken the reading in already.
  const isThere = (error) => {
    if (error?.name !== "ConstraintError") throw error;
  };

  // What a page that is gone held: it is taken in before anybody asks what waits here.
  const takeHeld = async () => {
    for (const name of Object.keys(localStorage).filter((it) => it.startsWith(HELD))) {
      const held = JSON.parse(localStorage.getItem(name));
      if (!held) continue;
      await write(held.entry, held.draftIds).catch(isThere);
      letGo(held.entry);
    }
  };
  const heldTaken = takeHeld().catch(() => {});

  // Whoever holds the lease sends; it runs out by itself should that tab die. Web Locks would need
  // a secure origin, which a bench on the laboratory's own network may not have.
  const takeLease = (holder, lasts_ms) =>
    during(["leases"], "readwrite", (stores) => {
      const outcome = { result: false };
      const asked = stores.leases.get("sender");
      asked.onsuccess = () => {
        const present = asked.result;
        const free = !present || present.holder === holder || present.until < Date.now();
        const stale = present && present.until > Date.now() + 60_000;
        if (!free && !stale) return;
        stores.leases.put({ name: "sender", holder, until: Date.now() + lasts_ms });
        outcome.result = true;
      };
      return outcome;
    });

  const dropLease = (holder) =>
    during(["leases"], "readwrite", (stores) => {
      const asked = stores.leases.get("sender");
      asked.onsuccess = () => {
        if (asked.result?.holder === holder) stores.leases.delete("sender");
      };
    });

  // A key of the client's own; randomUUID exists on secure origins only, random numbers everywhere.
  const newKey = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  };

  // The version before this one kept readings in the local storage, without a name. They wait here
  // until somebody says that they are theirs.
  const moveOldReadings = async () => {
    for (const name of Object.keys(localStorage).filter((it) => it.startsWith("readings /"))) {
      const page = name.slice("readings ".length);
      for (const { path, values } of Object.values(JSON.parse(localStorage.getItem(name)))) {
        await add(oldReading(page, path, values));
      }
      localStorage.removeItem(name);
    }
  };

  const oldReading = (page, path, values) => ({
    key: values.key, page, run: Number(page.match(/runs\/(\d+)/)?.[1]), run_name: "", label: "",
    url: path.split("?")[0], slot: values.slot, position: Number(values.position), increment: 1,
    text: values.text, tare_text: values.tare_text || "", person: 0, person_name: "",
    observed_at: "", state: "waiting", tries: 1,
  }); // prettier-ignore

  window.bench = {
    FORM,
    opening,
    newKey,
    queue: {
      add,
      readings: () => heldTaken.then(() => all("readings")),
      change: (entry) => put("readings", entry),
      forget: (entry) => remove("readings", entry.n),
      takeLease,
      dropLease,
      moveOldReadings,
    },
    drafts: {
      all: () => all("drafts"),
      keep: (draft) => put("drafts", draft),
      forget: (id) => remove("drafts", id),
    },
    timers: { all: () => all("timers"), keep: (timer) => put("timers", timer) },
  };
}
