// Keeps each step on the device as it is made: in IndexedDB, else in localStorage. A step waits in
// localStorage until the database says that it is written, so that a page closed at once loses none.

const PREFIX = "patchnet-survey/";
const store = { kind: "none", base: null };

const asked = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("blocked"));
  });

const written = (change) =>
  new Promise((resolve, reject) => {
    change.oncomplete = () => resolve();
    change.onabort = () => reject(change.error || new Error("aborted"));
    change.onerror = () => reject(change.error);
  });

function local() {
  try {
    const probe = `${PREFIX}probe`;
    localStorage.setItem(probe, "1");
    const works = localStorage.getItem(probe) === "1";
    localStorage.removeItem(probe);
    return works ? localStorage : null;
  } catch {
    return null;
  }
}

const LOCAL = local();
const entryKey = (round, n) => `${PREFIX}entry/${round}/${n}`;
const roundKey = (round) => `${PREFIX}round/${round}`;
const put = (table, value, way = "put") => {
  const change = store.base.transaction(table, "readwrite", { durability: "strict" });
  const done = written(change);
  change.objectStore(table)[way](value);
  if (change.commit) change.commit();
  return done;
};

store.open = async () => {
  try {
    const opening = indexedDB.open("patchnet-survey", 1);
    opening.onupgradeneeded = () => {
      opening.result.createObjectStore("rounds", { keyPath: "id" });
      opening.result.createObjectStore("entries", { keyPath: ["round", "n"] });
    };
    const late = new Promise((_, reject) => {
      setTimeout(() => reject(new Error("no answer")), 4000);
    });
    store.base = await Promise.race([asked(opening), late]);
    store.base.onversionchange = () => store.base.close();
    await put("rounds", { id: "probe", street: "" });
    const probe = await asked(store.base.transaction("rounds").objectStore("rounds").get("probe"));
    if (!probe) throw new Error("not kept");
    store.kind = "database";
  } catch {
    store.base = null;
    store.kind = LOCAL ? "local" : "none";
  }
  if (store.kind !== "none" && navigator.storage && navigator.storage.persist) {
    navigator.storage.persist().catch(() => {});
  }
};

store.rounds = async (street) => {
  let all = [];
  if (store.kind === "database") {
    all = await asked(store.base.transaction("rounds").objectStore("rounds").getAll());
  } else if (store.kind === "local") {
    const keys = Object.keys(LOCAL).filter((key) => key.startsWith(`${PREFIX}round/`));
    all = keys.map((key) => JSON.parse(LOCAL.getItem(key)));
  }
  return all.filter((round) => round.street === street).sort((a, b) => (a.began < b.began ? -1 : 1));
};

function waiting(round) {
  if (!LOCAL) return [];
  const head = `${PREFIX}entry/${round}/`;
  return Object.keys(LOCAL)
    .filter((key) => key.startsWith(head))
    .map((key) => ({ n: Number(key.slice(head.length)), entry: JSON.parse(LOCAL.getItem(key)) }))
    .sort((a, b) => a.n - b.n);
}

// Every step of a round, in order; a step that never reached the database is written to it now.
store.entries = async (round) => {
  const late = waiting(round);
  if (store.kind === "local") return late.map(({ entry }) => entry);
  if (store.kind === "none") return [];
  const range = IDBKeyRange.bound([round, 0], [round, Infinity]);
  const rows = await asked(store.base.transaction("entries").objectStore("entries").getAll(range));
  const entries = rows.map(({ entry }) => entry);
  for (const { n, entry } of late) {
    if (n >= entries.length) {
      await put("entries", { round, n: entries.length, entry });
      entries.push(entry);
    }
    LOCAL.removeItem(entryKey(round, n));
  }
  return entries;
};

// Write step n; refuses (rejects) where another tab has written a step of that number.
store.add = async (round, n, entry) => {
  if (store.kind === "none") return;
  const key = entryKey(round, n);
  if (LOCAL) {
    if (store.kind === "local" && LOCAL.getItem(key) !== null) throw new Error("taken");
    try {
      LOCAL.setItem(key, JSON.stringify(entry));
    } catch (error) {
      if (store.kind === "local") throw error;
    }
  }
  if (store.kind === "local") return;
  await put("entries", { round, n, entry }, "add");
  if (LOCAL) LOCAL.removeItem(key);
};

store.putRound = async (round) => {
  if (store.kind === "database") await put("rounds", round);
  if (store.kind === "local") LOCAL.setItem(roundKey(round.id), JSON.stringify(round));
};

store.drop = async (round) => {
  if (LOCAL) {
    for (const { n } of waiting(round)) LOCAL.removeItem(entryKey(round, n));
    LOCAL.removeItem(roundKey(round));
  }
  if (store.kind !== "database") return;
  const change = store.base.transaction(["rounds", "entries"], "readwrite");
  const done = written(change);
  change.objectStore("rounds").delete(round);
  change.objectStore("entries").delete(IDBKeyRange.bound([round, 0], [round, Infinity]));
  await done;
};
