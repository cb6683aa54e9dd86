// @ts-check
/** What is kept on this tablet, in one IndexedDB: the pack, drafts, the outbox, photographs, thumbnails. */
import { openDB } from "../../media/vendor/idb/idb.js";

/** @typedef {import("./types.js").Operation} Operation */
/** @typedef {import("./types.js").Kept} Kept */
/** @typedef {import("./types.js").PackObject} PackObject */
/** @typedef {import("./types.js").Draft} Draft */
/** @typedef {any} Database */

const NAME = "fettle-capture";
const VERSION = 1;
const STRICT = /** @type {IDBTransactionOptions} */ ({ durability: "strict" });
const WEEK = 7 * 24 * 3600 * 1000;

/** @param {string} [name] @returns {Promise<Database>} */
export function open(name = NAME) {
  return openDB(name, VERSION, {
    upgrade(db) {
      db.createObjectStore("meta");
      db.createObjectStore("shelves", { keyPath: "id" });
      db.createObjectStore("objects", { keyPath: "id" }).createIndex("shelf", "shelf");
      db.createObjectStore("drafts", { keyPath: "object" });
      db.createObjectStore("outbox", { keyPath: "sequence" }).createIndex("state", "state");
      db.createObjectStore("photographs", { keyPath: "sha256" }).createIndex("state", "state");
      db.createObjectStore("thumbnails");
    },
    blocking() {
      // A newer version of the app waits in another tab: nothing here is unsaved, so let it go on.
      location.reload();
    },
  });
}

/** This tablet's own name for itself, made once. @param {Database} db @returns {Promise<string>} */
export async function deviceOf(db) {
  const tx = db.transaction("meta", "readwrite", STRICT);
  let id = await tx.store.get("device");
  if (!id) {
    id = crypto.randomUUID();
    tx.store.put(id, "device");
  }
  await tx.done;
  return id;
}

/** @param {Database} db @param {string} name */
export const remembered = (db, name) => db.get("meta", name);

/** @param {Database} db @param {string} name @param {any} value */
export const remember = (db, name, value) => db.put("meta", value, name);

/**
 * All of a transaction or nothing of it, also where a request is refused before it is made.
 * @template T @param {any} tx @param {() => Promise<T>} act @returns {Promise<T>} once it is on disk
 */
async function whole(tx, act) {
  const done = tx.done; // watched from the start, so that an abort is never left unheard
  done.catch(() => {});
  try {
    const result = await act();
    await done;
    return result;
  } catch (error) {
    try {
      tx.abort();
    } catch {
      // it has ended by itself
    }
    throw tx.error ?? error;
  }
}

/**
 * Put operations on disk with what follows from them, together or not at all.
 * @param {Database} db
 * @param {Omit<Operation, "sequence">[]} operations
 * @param {{objects?: PackObject[]}} [with_] objects as they are from now on
 * @returns {Promise<number[]>} places in this tablet's order; once it resolves, "saved" may show
 * @throws {DOMException} QuotaExceededError when the tablet is full: nothing was written
 */
export async function append(db, operations, { objects = [] } = {}) {
  const tx = db.transaction(["meta", "outbox", "objects"], "readwrite", STRICT);
  return whole(tx, async () => {
    const places = await queue(tx, operations);
    for (const object of objects) tx.objectStore("objects").put(object);
    return places;
  });
}

/** @param {any} tx @param {Omit<Operation, "sequence">[]} operations @returns {Promise<number[]>} */
async function queue(tx, operations) {
  let sequence = (await tx.objectStore("meta").get("sequence")) ?? 0;
  const places = [];
  for (const operation of operations) {
    sequence += 1;
    places.push(sequence);
    const whole = { ...operation, sequence };
    tx.objectStore("outbox").add({ sequence, state: "unsent", operation: whole, answer: null, sentAt: null });
  }
  tx.objectStore("meta").put(sequence, "sequence");
  return places;
}

/**
 * Turn a draft into its operations, once however often it is asked: the draft goes in the same transaction.
 * @param {Database} db @param {string} object
 * @param {(draft: Draft, object: PackObject) => {told: Omit<Operation, "sequence">[], after: PackObject} | null} make
 *   its operations in their order, and the object from then on; nothing if the draft is not whole after all
 * @returns {Promise<boolean>} whether it was finished now; once true, "saved" may show
 * @throws {DOMException} QuotaExceededError when the tablet is full: nothing was written
 */
export async function finishDraft(db, object, make) {
  const tx = db.transaction(["meta", "outbox", "objects", "drafts"], "readwrite", STRICT);
  return whole(tx, async () => {
    const [draft, known] = await Promise.all([tx.objectStore("drafts").get(object), tx.objectStore("objects").get(object)]);
    const made = draft && known ? make(draft, known) : null;
    if (!made) return false;
    await queue(tx, made.told);
    tx.objectStore("objects").put(made.after);
    tx.objectStore("drafts").delete(object);
    return true;
  });
}

/** @param {string} sha256 @param {Blob} bytes */
const photographOf = (sha256, bytes) => ({ sha256, bytes, state: "unsent", sentAt: null, reason: "" });

/**
 * One touch: change a draft on disk, with photographs if it brings any.
 * @param {Database} db @param {string} object @param {(draft: Draft | undefined) => Draft | undefined} change
 * @param {Map<string, Blob>} [photographs]
 * @returns {Promise<Draft | undefined>} as it is now; undefined if there is none
 */
export async function touch(db, object, change, photographs = new Map()) {
  const tx = db.transaction(["drafts", "photographs"], "readwrite", STRICT);
  return whole(tx, async () => {
    const became = change(await tx.objectStore("drafts").get(object));
    for (const [sha256, bytes] of photographs) {
      const there = await tx.objectStore("photographs").get(sha256);
      if (!there) tx.objectStore("photographs").put(photographOf(sha256, bytes));
    }
    if (became) tx.objectStore("drafts").put(became);
    else tx.objectStore("drafts").delete(object);
    return became;
  });
}

/**
 * Keep a pack. What this tablet has said and not sent yet is never written over.
 * @param {Database} db @param {any} pack as the server gave it
 */
export async function keepPack(db, pack) {
  const tx = db.transaction(["meta", "shelves", "objects", "drafts", "outbox"], "readwrite", STRICT);
  const done = tx.done;
  done.catch(() => {});
  const unsent = await tx.objectStore("outbox").index("state").getAll("unsent");
  const spoken = new Set([
    ...unsent.map((/** @type {Kept} */ kept) => kept.operation.object_id),
    ...(await tx.objectStore("drafts").getAllKeys()),
  ]);
  const objects = tx.objectStore("objects");
  for (const key of await objects.getAllKeys()) if (!spoken.has(key)) objects.delete(key);
  pack.objects.forEach((/** @type {PackObject} */ object, /** @type {number} */ order) => {
    if (!spoken.has(object.id)) objects.put({ ...object, shelf: object.shelf ?? "", order });
  });
  const shelves = tx.objectStore("shelves");
  await shelves.clear();
  pack.shelves.forEach((/** @type {any} */ shelf, /** @type {number} */ order) => shelves.put({ ...shelf, order }));
  const meta = tx.objectStore("meta");
  const { definitions, round, places, made_at } = pack;
  meta.put({ definitions, round, places, made_at, objects: pack.objects.length }, "pack");
  await done;
}

/**
 * How much has not left this tablet.
 * @param {Database} db
 * @returns {Promise<{operations: number, photographs: number, refused: number, drafts: number, oldest: string | null}>}
 */
export async function unsentOf(db) {
  const tx = db.transaction(["outbox", "photographs", "drafts"]);
  const states = tx.objectStore("outbox").index("state");
  const first = await states.openCursor("unsent");
  const [operations, refused, photographs, drafts] = await Promise.all([
    states.count("unsent"),
    states.count("refused"),
    tx.objectStore("photographs").index("state").count("unsent"),
    tx.objectStore("drafts").count(),
  ]);
  return { operations, refused, photographs, drafts, oldest: first?.value.operation.wall_clock ?? null };
}

/** The next operations to send, in this tablet's order. @param {Database} db @param {number} most @returns {Promise<Kept[]>} */
export const unsentOperations = (db, most) => db.getAllFromIndex("outbox", "state", "unsent", most);

/**
 * Photographs that an operation on its way or on the server names, and that are not sent: those of drafts wait.
 * @param {Database} db @returns {Promise<{sha256: string, bytes: Blob}[]>}
 */
export async function unsentPhotographs(db) {
  const named = new Set();
  for (const kept of await db.getAll("outbox")) for (const name of kept.operation.photographs) named.add(name);
  const rows = await db.getAllFromIndex("photographs", "state", "unsent");
  return rows.filter((/** @type {{sha256: string}} */ row) => named.has(row.sha256));
}

/**
 * Note what the server answered to operations.
 * @param {Database} db @param {{sequence: number, state: string, answer: any}[]} answers @param {number} now
 */
export async function noteAnswers(db, answers, now) {
  const tx = db.transaction("outbox", "readwrite", STRICT);
  const done = tx.done;
  done.catch(() => {});
  for (const { sequence, state, answer } of answers) {
    const kept = await tx.store.get(sequence);
    if (kept) tx.store.put({ ...kept, state, answer, sentAt: now });
  }
  await done;
}

/** @param {Database} db @param {string} sha256 @param {"sent" | "refused"} state @param {string} reason @param {number} now */
export async function notePhotograph(db, sha256, state, reason, now) {
  const tx = db.transaction("photographs", "readwrite", STRICT);
  const done = tx.done;
  done.catch(() => {});
  const row = await tx.store.get(sha256);
  if (row) tx.store.put({ ...row, state, reason, sentAt: now });
  await done;
}

/** Let go of what the server has had for a week. @param {Database} db @param {number} now */
export async function forget(db, now) {
  const tx = db.transaction(["outbox", "photographs"], "readwrite");
  for (const name of ["outbox", "photographs"]) {
    let cursor = await tx.objectStore(name).index("state").openCursor("sent");
    while (cursor) {
      if (cursor.value.sentAt && now - cursor.value.sentAt > WEEK) cursor.delete();
      cursor = await cursor.continue();
    }
  }
  await tx.done;
}
