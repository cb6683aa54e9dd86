// @ts-check
/** Sending: operations first, photographs after, one sender at a time, and nothing counts but a well-formed answer. */
import { noteAnswers, notePhotograph, unsentOf, unsentOperations, unsentPhotographs } from "./store.js";

/** @typedef {import("./store.js").Database} Database */

const BATCH = 20;
const PIECES = { least: 256 * 1024, first: 512 * 1024, most: 2 * 1024 * 1024 };
const QUICK = 1_000;
const SLOW = 8_000;
const FIRST_PAUSE = 2_000;
const LONGEST_PAUSE = 5 * 60_000;
const SAFE = new Set(["applied", "already had", "conflict", "held"]);

/** Why sending stopped, in words; `kind` says what would help. */
export class Stopped extends Error {
  /** @param {"away" | "sign-in" | "busy" | "refused"} kind @param {string} words */
  constructor(kind, words) {
    super(words);
    this.kind = kind;
  }
}

/**
 * A pause before the next try: doubling, with jitter so that tablets do not come back all at once.
 * @param {number} failures from 1 @param {() => number} [random] @returns {number} milliseconds
 */
export function pause(failures, random = Math.random) {
  const longest = Math.min(LONGEST_PAUSE, FIRST_PAUSE * 2 ** (failures - 1));
  return longest / 2 + (longest / 2) * random();
}

/**
 * Ask the server; only JSON of the server's own counts as an answer.
 * @param {string} path @param {RequestInit} [options]
 * @returns {Promise<{status: number, body: any}>}
 */
export async function ask(path, options = {}) {
  let response;
  try {
    response = await fetch(path, { credentials: "same-origin", redirect: "error", cache: "no-store", ...options });
  } catch {
    throw new Stopped("away", "No network. Everything is safe on this tablet.");
  }
  let body = null;
  if ((response.headers.get("content-type") ?? "").startsWith("application/json")) {
    body = await response.json().catch(() => null);
  }
  if (response.status === 401) throw new Stopped("sign-in", "Sign in again to send. Everything is safe on this tablet.");
  if (response.status >= 500 || response.status === 429) {
    throw new Stopped("busy", "The server is busy. It will be tried again.");
  }
  if (body === null || typeof body !== "object") {
    throw new Stopped("away", "What answers is not the museum's server: perhaps the network wants you to sign in to it.");
  }
  return { status: response.status, body };
}

/** Who is signed in and what the server reads. @returns {Promise<any>} */
export async function status() {
  const { status: code, body } = await ask("/capture/status/");
  if (code !== 200 || typeof body.token !== "string") throw new Stopped("refused", body.error ?? "The server refused.");
  return body;
}

/**
 * Send everything, unless another tab is at it.
 * @param {Database} db @param {string} device @param {string} name @param {(words: string) => void} say
 * @returns {Promise<boolean>} whether this tab was the sender; once true, nothing that can be sent is left
 * @throws {Stopped}
 */
export function drain(db, device, name, say) {
  return navigator.locks.request("fettle-capture-send", { ifAvailable: true }, async (lock) => {
    if (!lock) return false;
    const { token } = await status();
    await sendOperations(db, device, name, token, say);
    await sendPhotographs(db, token, say);
    return true;
  });
}

/** @param {Database} db @param {string} device @param {string} name @param {string} token @param {(words: string) => void} say */
async function sendOperations(db, device, name, token, say) {
  for (;;) {
    const batch = await unsentOperations(db, BATCH);
    if (!batch.length) return;
    const left = await unsentOf(db);
    say(`Sending: ${left.operations} to go`);
    const { status: code, body } = await ask("/capture/operations/", {
      method: "POST",
      headers: { "content-type": "application/json", "x-csrftoken": token },
      body: JSON.stringify({
        device, name, sent_at: new Date().toISOString(), unsent: left.operations + left.photographs,
        operations: batch.map((kept) => kept.operation),
      }),
    });
    if (code !== 200) throw new Stopped("refused", body.error ?? "The server refused what was sent.");
    const answers = answersTo(batch, body);
    if (!answers.length) throw new Stopped("busy", "The server's answer does not fit. It will be tried again.");
    await noteAnswers(db, answers, Date.now());
  }
}

/**
 * Answers that are well-formed and belong to what was sent; the others stay unsent.
 * @param {import("./types.js").Kept[]} batch @param {any} body
 */
export function answersTo(batch, body) {
  const results = Array.isArray(body.results) ? body.results : [];
  const answers = [];
  for (const kept of batch) {
    const answer = results.find((/** @type {any} */ each) => each?.id === kept.operation.id);
    if (answer && SAFE.has(answer.status)) answers.push({ sequence: kept.sequence, state: "sent", answer });
    else if (answer?.status === "refused" && answer.reason) {
      answers.push({ sequence: kept.sequence, state: "refused", answer });
    }
  }
  return answers;
}

/**
 * How large the next piece is: what breaks off is sent again, so a slow network gets small ones, a quick one few.
 * @param {number} size of the last piece, bytes @param {number} taken milliseconds that it took
 */
export function nextPiece(size, taken) {
  if (taken < QUICK) return Math.min(PIECES.most, size * 2);
  return taken > SLOW ? Math.max(PIECES.least, size / 2) : size;
}

/** @param {Database} db @param {string} token @param {(words: string) => void} say */
async function sendPhotographs(db, token, say) {
  const rows = await unsentPhotographs(db);
  let size = PIECES.first;
  for (const [i, row] of rows.entries()) {
    say(`Sending photographs: ${rows.length - i} to go`);
    size = await sendPhotograph(db, token, row, size);
  }
}

/**
 * Piece by piece from wherever the server is.
 * @param {Database} db @param {string} token @param {{sha256: string, bytes: Blob}} row @param {number} size of a piece
 * @returns {Promise<number>} size of the next piece
 */
async function sendPhotograph(db, token, { sha256, bytes }, size) {
  const path = `/capture/photographs/${sha256}/`;
  let { body: stand } = await ask(path);
  let again = 0;
  while (!stand.complete) {
    if (!Number.isInteger(stand.offset) || stand.offset < 0) throw new Stopped("busy", "The server's answer does not fit.");
    // All of it is there and not kept: the server died in between. Any piece makes it look again.
    const first = stand.offset < bytes.size ? stand.offset : 0;
    const piece = bytes.slice(first, first + size);
    const began = performance.now();
    const answer = await ask(path, {
      method: "PUT",
      headers: { "x-csrftoken": token, "content-range": `bytes ${first}-${first + piece.size - 1}/${bytes.size}`, "content-type": "application/octet-stream" },
      body: piece,
    });
    if (piece.size === size) size = nextPiece(size, performance.now() - began);
    if (answer.status === 422) {
      await notePhotograph(db, sha256, "refused", answer.body.error ?? "", Date.now());
      return size;
    }
    if (answer.status !== 200 && answer.status !== 409) throw new Stopped("refused", answer.body.error ?? "The server refused a photograph.");
    if (answer.status === 409 && ++again > 3) throw new Stopped("busy", "A photograph does not get through. It will be tried again.");
    stand = { complete: false, ...answer.body };
  }
  await notePhotograph(db, sha256, "sent", "", Date.now());
  return size;
}
