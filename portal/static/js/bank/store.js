// The phone's own store: visits, their pictures and a few notes. A classic script, for pages and for the worker.
self.phoneStore = (() => {
  const NAME = "rifflebook-bank";
  const SPARE = "rifflebook.visit.";
  // Many browsers do not say how little is left. So some bytes are held for the text of visits alone: they are
  // given up when a text finds no room, and while they cannot be held the phone counts as short of room.
  const RESERVE = "reserve";
  const RESERVED_BYTES = 4_000_000;
  const LOW_BYTES = 20_000_000;
  const LOW_SHARE = 0.05;

  const listeners = new Set();
  const channel = "BroadcastChannel" in self ? new BroadcastChannel(NAME) : null;
  let opening = null;

  // -- the database

  const open = () => {
    opening ??= new Promise((resolve, reject) => {
      const request = indexedDB.open(NAME, 1);
      request.onupgradeneeded = () => build(request.result);
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    }).then(watched, (error) => {
      opening = null;
      throw error;
    });
    return opening;
  };

  const build = (database) => {
    database.createObjectStore("visits", { keyPath: "number" });
    database.createObjectStore("photos", { keyPath: "number" }).createIndex("visit", "visit");
    database.createObjectStore("meta", { keyPath: "name" });
  };

  // A newer page may want to change the tables, and a full device may throw the database out.
  const watched = (database) => {
    database.onclose = database.onversionchange = () => {
      database.close();
      opening = null;
    };
    return database;
  };

  // Runs `work` in one transaction and resolves once it is on the disk, with what `work` gave.
  const within = async (stores, mode, work) => {
    const database = await open();
    return new Promise((resolve, reject) => {
      let result;
      const transaction = database.transaction(stores, mode, { durability: "strict" });
      transaction.oncomplete = () => resolve(result);
      transaction.onabort = () => reject(transaction.error ?? new DOMException("Not kept.", "AbortError"));
      work(...stores.map((name) => transaction.objectStore(name)), (value) => (result = value));
    });
  };

  const read = (store, ask) =>
    within([store], "readonly", (table, give) => {
      ask(table).onsuccess = (event) => give(event.target.result);
    });

  // -- the spare copy: text that the database has no room for, in the browser's other, smaller place

  const place = () => {
    try {
      return self.localStorage ?? null;
    } catch {
      return null;
    }
  };

  const spareOf = (number) => {
    try {
      return JSON.parse(place()?.getItem(SPARE + number) ?? "null") ?? undefined;
    } catch {
      return undefined;
    }
  };

  const spares = () => {
    const names = Object.keys(place() ?? {}).filter((name) => name.startsWith(SPARE));
    return names.map((name) => spareOf(name.slice(SPARE.length))).filter(Boolean);
  };

  const setSpare = (visit) => place()?.setItem(SPARE + visit.number, JSON.stringify({ ...visit, isSpare: true }));

  const dropSpare = (number, changedAt = Infinity) => {
    const spare = spareOf(number);
    if (spare && spare.changedAt <= changedAt) place().removeItem(SPARE + number);
  };

  const newer = (one, other) => ((other?.changedAt ?? 0) > (one?.changedAt ?? 0) ? other : one);

  // -- visits

  const visit = async (number) => newer(await read("visits", (table) => table.get(number)).catch(nothing), spareOf(number));

  const visits = async () => {
    const found = new Map();
    const kept = (await read("visits", (table) => table.getAll()).catch(nothing)) ?? [];
    for (const each of [...kept, ...spares()]) found.set(each.number, newer(found.get(each.number), each));
    return [...found.values()].sort((one, other) => one.changedAt - other.changedAt);
  };

  const nothing = () => undefined;

  const dated = (record, before) => {
    const { isSpare, ...rest } = record;
    // The clock of a phone may be set back; a later change must still count as the later one.
    return { ...rest, changedAt: Math.max(Date.now(), (before?.changedAt ?? 0) + 1) };
  };

  // Reads a visit, lets `change(visit or undefined)` make the next one, and keeps it, with nobody in between.
  // `change` gives undefined where all is to stay. What is too much for the database is kept as a spare copy.
  const changeVisit = async (number, change) => {
    let kept;
    try {
      kept = await changeInDatabase(number, change).catch(async () => {
        await release();
        return changeInDatabase(number, change);
      });
      dropSpare(number, kept?.changedAt);
    } catch (error) {
      kept = await changeSpare(number, change, error);
    }
    tell(number);
    return kept;
  };

  const changeInDatabase = (number, change) =>
    within(["visits"], "readwrite", (table, give) => {
      table.get(number).onsuccess = (event) => {
        const before = newer(event.target.result, spareOf(number));
        const next = change(before);
        const record = next ? dated(next, before) : before;
        if (next) table.put(record);
        give(record);
      };
    });

  const changeSpare = async (number, change, error) => {
    if (!place()) throw error;
    const before = await visit(number);
    const next = change(before);
    if (!next) return before;
    const record = { ...dated(next, before), isSpare: true };
    setSpare(record);
    return record;
  };

  // At once and without waiting, for a page that is about to go.
  const keepInHaste = (record, before) => {
    try {
      setSpare(dated(record, before));
    } catch {
      // The ordinary way, begun at the same moment, may still succeed.
    }
  };

  const removeVisit = async (number) => {
    await within(["visits", "photos"], "readwrite", (table, pictures) => {
      table.delete(number);
      eachPhoto(pictures, number, (cursor) => cursor.delete());
    }).catch(nothing);
    dropSpare(number);
    tell(number);
  };

  // The same visit with its pictures under a new number.
  const renumber = async (number, change) => {
    const next = dated(change(await visit(number)));
    await within(["visits", "photos"], "readwrite", (table, pictures) => {
      table.delete(number);
      table.put(next);
      eachPhoto(pictures, number, (cursor) => cursor.update({ ...cursor.value, visit: next.number, problem: "" }));
    });
    dropSpare(number);
    tell(number);
    return next;
  };

  // -- pictures

  const eachPhoto = (pictures, number, act) => {
    pictures.index("visit").openCursor(IDBKeyRange.only(number)).onsuccess = (event) => {
      const cursor = event.target.result;
      if (!cursor) return;
      act(cursor);
      cursor.continue();
    };
  };

  const photos = async (number) => {
    const found = await read("photos", (table) => (number ? table.index("visit").getAll(number) : table.getAll())).catch(nothing);
    return (found ?? []).sort((one, other) => one.addedAt - other.addedAt);
  };

  // Raises QuotaExceededError when only the room reserved for text is left.
  const addPhoto = async (photo) => {
    if (!(await reserve())) throw new DOMException("Only text fits.", "QuotaExceededError");
    await within(["photos"], "readwrite", (table) => table.put({ caption: "", sent: false, addedAt: Date.now(), ...photo }));
    tell(photo.visit);
  };

  const changePhoto = async (number, change) => {
    const kept = await within(["photos"], "readwrite", (table, give) => {
      table.get(number).onsuccess = (event) => {
        const next = event.target.result && change(event.target.result);
        if (next) table.put(next);
        give(next);
      };
    });
    if (kept) tell(kept.visit);
    return kept;
  };

  const removePhoto = async (photo) => {
    await within(["photos"], "readwrite", (table) => table.delete(photo.number));
    tell(photo.visit);
  };

  // -- notes and room

  const note = async (name) => (await read("meta", (table) => table.get(name)).catch(nothing))?.value;

  const setNote = async (name, value) => {
    await within(["meta"], "readwrite", (table) => table.put({ name, value })).catch(nothing);
    tell(null);
  };

  // Whether so little is left that it should be said.
  const isShort = async () => {
    const { usage = 0, quota = Infinity } = (await navigator.storage?.estimate?.().catch(nothing)) ?? {};
    const left = quota - usage;
    return left < LOW_BYTES || left < quota * LOW_SHARE || !(await isReserved());
  };

  const isReserved = async () => Boolean(await read("meta", (table) => table.getKey(RESERVE)).catch(nothing));

  // Holds the bytes for text where they are not held yet; resolves to whether they are.
  const reserve = async () => {
    if (await isReserved()) return true;
    const filling = { name: RESERVE, value: new Uint8Array(RESERVED_BYTES) };
    return within(["meta"], "readwrite", (table) => table.put(filling)).then(() => true, () => false);
  };

  const release = async () => {
    await within(["meta"], "readwrite", (table) => table.delete(RESERVE)).catch(nothing);
    tell(null);
  };

  // Asks the browser not to clear this away when the device runs short.
  const askToStay = async () => (await navigator.storage?.persist?.().catch(nothing)) ?? false;

  const isStaying = async () => (await navigator.storage?.persisted?.().catch(nothing)) ?? false;

  const isUsable = () => open().then(() => true, () => place() !== null);

  // -- telling others: this page, other tabs, the worker

  const tell = (number) => {
    for (const listener of listeners) listener(number);
    channel?.postMessage(number);
  };

  const listen = (listener) => listeners.add(listener);

  channel?.addEventListener("message", (event) => {
    for (const listener of listeners) listener(event.data);
  });

  return {
    visit,
    visits,
    changeVisit,
    keepInHaste,
    removeVisit,
    renumber,
    photos,
    addPhoto,
    changePhoto,
    removePhoto,
    note,
    setNote,
    isShort,
    reserve,
    askToStay,
    isStaying,
    isUsable,
    listen,
  };
})();
