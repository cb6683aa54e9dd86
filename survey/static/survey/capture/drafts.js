// @ts-check
/** An assessment while it is made: every touch gives a new draft. No database and no page here. */

/** @typedef {import("./types.js").Draft} Draft */
/** @typedef {import("./types.js").PackObject} PackObject */
/** @typedef {import("./types.js").Part} Part */
/** @typedef {import("./types.js").Seen} Seen */

export const AXES = ["instability", "damage", "disfigurement"];
export const STEPS = ["look", "parts", "grades", "handling", "photographs", "notes"];
const UNDO = 20;
const LONGEST_PAUSE = 120;
const ANSWERED = [...AXES, "old_restoration", "handling", "found"];
const VOCABULARY = { joint: "joint", fill: "fill", overpaint: "paint" };
const LETTERS = { joint: "J", fill: "F", overpaint: "P" };

/** @param {PackObject} object @param {number} now @returns {Draft} */
export function begin(object, now) {
  return {
    object: object.id, answers: { found: "here", visit: "round" }, place_found: null, seen: {}, made: [], campaigns: [],
    evidence: {}, photographs: [], asLastTime: null, seconds: 0, touchedAt: now, step: "look", opened: null, before: [],
  };
}

/**
 * A touch that can be taken back. Time goes on counting, but for pauses.
 * @param {Draft} draft @param {number} now @param {(draft: Draft) => void} change
 * @returns {Draft}
 */
export function touched(draft, now, change) {
  const { before, ...was } = structuredClone(draft);
  const became = structuredClone(draft);
  change(became);
  const paused = Math.max(0, (now - draft.touchedAt) / 1000);
  became.seconds = draft.seconds + Math.min(paused, LONGEST_PAUSE);
  became.touchedAt = now;
  became.before = [...before, was].slice(-UNDO);
  return became;
}

/** The draft before its last touch. @param {Draft} draft @returns {Draft} */
export function undone(draft) {
  const was = draft.before.at(-1);
  if (!was) return draft;
  // What is drawn has an undo of its own, on its own page.
  const { markups, measured } = draft;
  return { ...structuredClone(was), markups, measured, seconds: draft.seconds, touchedAt: draft.touchedAt, before: draft.before.slice(0, -1) };
}

/** Parts of an object with those that the draft adds. @param {PackObject} object @param {Draft} draft @returns {Part[]} */
export const partsOf = (object, draft) => [...object.parts, ...draft.made];

/** What one touch says of an object that gives no cause for remark. @param {Draft} draft */
export function clear(draft) {
  Object.assign(draft.answers, { old_restoration: "none", handling: "free" });
  for (const axis of AXES) draft.answers[axis] = "good";
}

/** Everything as the last assessment says, after looking. @param {Draft} draft @param {PackObject} object */
export function asLastTime(draft, object) {
  if (!object.last) return;
  for (const name of ANSWERED) if (name !== "found" && object.last[name]) draft.answers[name] = object.last[name];
  for (const part of object.parts) if (part.last) draft.seen[part.id] = structuredClone(part.last);
  draft.asLastTime = object.last.id;
}

/** @param {Draft} draft @param {PackObject} object @param {Part["kind"]} kind @param {() => string} fresh */
export function addPart(draft, object, kind, fresh) {
  draft.answers.old_restoration = "present";
  let restoration = draft.made.at(-1)?.restoration ?? object.restorations.at(-1)?.id ?? draft.campaigns.at(-1)?.id;
  if (!restoration) {
    restoration = fresh();
    draft.campaigns.push({ id: restoration, date_text: "", workshop: "", notes: "" });
  }
  const numbers = partsOf(object, draft).filter((part) => part.kind === kind).map((part) => Number(part.label.slice(1)));
  const label = LETTERS[kind] + (Math.max(0, ...numbers) + 1);
  const id = fresh();
  draft.made.push({ id, kind, label, restoration, facts: { part: "" }, after: {}, last: null, made: {} });
  draft.opened = id;
}

/** @param {Draft} draft @param {string} id */
export function removePart(draft, id) {
  draft.made = draft.made.filter((part) => part.id !== id);
  delete draft.seen[id];
  delete draft.evidence[id];
  draft.opened = null;
}

/** @param {Draft} draft @param {string} id @returns {Seen} */
function seenOf(draft, id) {
  draft.seen[id] ??= { stage: null, answer: null, signs: [] };
  return draft.seen[id];
}

/** A joint's stage, or "not_seen" or "not_known". @param {Draft} draft @param {Part} part @param {number | string} said */
export function seeStage(draft, part, said) {
  const seen = seenOf(draft, part.id);
  Object.assign(seen, typeof said === "number" ? { stage: said, answer: "seen" } : { stage: null, answer: said });
  draft.asLastTime = null;
}

/**
 * Answer a sign; the same answer again takes it away. A joint without a stage gets the least that its signs imply.
 * @param {Draft} draft @param {Part} part @param {string} code @param {string} answer @param {number | null} extent
 * @param {any} definitions
 */
export function seeSign(draft, part, code, answer, extent, definitions) {
  const seen = seenOf(draft, part.id);
  const there = seen.signs.find((sign) => sign.code === code);
  seen.signs = seen.signs.filter((sign) => sign.code !== code);
  if (!there || there.answer !== answer || there.extent_percent !== extent) {
    seen.signs.push({ code, answer, extent_percent: extent });
  }
  const least = leastStage(definitions, seen);
  if (part.kind === "joint" && (seen.answer === null || (seen.stage ?? 0) < least) && least > 0) {
    Object.assign(seen, { stage: Math.max(least, seen.stage ?? 0), answer: "seen" });
  }
  draft.asLastTime = null;
}

/** Every sign that has no answer yet: none. @param {Draft} draft @param {Part} part @param {any} definitions */
export function noOtherSign(draft, part, definitions) {
  const seen = seenOf(draft, part.id);
  const answered = new Set(seen.signs.map((sign) => sign.code));
  for (const { code } of signsFor(definitions, part.kind)) {
    if (!answered.has(code)) seen.signs.push({ code, answer: "none", extent_percent: null });
  }
  draft.asLastTime = null;
}

/** @param {any} definitions @param {Part["kind"]} kind @returns {any[]} */
export const signsFor = (definitions, kind) => definitions.signs[VOCABULARY[kind]];

/** The least stage that the signs present imply. @param {any} definitions @param {Seen} seen */
export function leastStage(definitions, seen) {
  let least = 0;
  for (const sign of seen.signs) {
    if (sign.answer !== "present") continue;
    const term = definitions.signs.joint.find((/** @type {any} */ each) => each.code === sign.code);
    for (const floor of term?.floors ?? []) {
      if ((sign.extent_percent ?? 1) >= floor.from_percent) least = Math.max(least, floor.stage);
    }
  }
  return least;
}

/** Whether anything is said of a part. @param {Draft} draft @param {Part} part */
export function told(draft, part) {
  const seen = draft.seen[part.id];
  return Boolean(seen && (part.kind === "joint" ? seen.answer : seen.signs.length));
}

/**
 * What must still be said before this can be finished, in the order of the steps: the survey's own rules.
 * @param {Draft} draft @param {PackObject} object @param {any} definitions
 * @returns {{step: string, words: string}[]}
 */
export function missing(draft, object, definitions) {
  const { answers } = draft;
  /** @type {{step: string, words: string}[]} */
  const found = [];
  if (answers.found === "missing") return found;
  if (answers.found === "elsewhere" && !draft.place_found) found.push({ step: "look", words: "Say where it was found." });
  if (!answers.old_restoration) found.push({ step: "look", words: "Say whether there is old restoration." });
  found.push(...missingOfParts(draft, object, definitions));
  for (const axis of definitions.axes) {
    if (!answers[axis.code]) found.push({ step: "grades", words: `Grade ${axis.name.toLowerCase()}.` });
  }
  if (!answers.handling) found.push({ step: "handling", words: "Say how it may be handled." });
  return found;
}

/** @param {Draft} draft @param {PackObject} object @param {any} definitions */
function missingOfParts(draft, object, definitions) {
  const parts = partsOf(object, draft);
  const said = draft.answers.old_restoration;
  if (said === "none" && parts.length && !(draft.answers.interpretation ?? "").trim()) {
    return [{ step: "notes", words: `${parts.length} old parts are on record: look again, or say in the notes why they are not there.` }];
  }
  if (said !== "present") return [];
  if (!parts.length) return [{ step: "parts", words: "Record a joint, a fill or an area of paint." }];
  const found = [];
  for (const part of parts) {
    if (!told(draft, part)) found.push({ step: "parts", words: `${part.label}: say how it looks.` });
    else if (part.kind === "joint" && contradicts(draft, part, definitions)) {
      found.push({ step: "parts", words: `${part.label}: its signs mean a worse stage. Change one.` });
    }
  }
  return found;
}

/** @param {Draft} draft @param {Part} part @param {any} definitions */
function contradicts(draft, part, definitions) {
  const seen = draft.seen[part.id];
  return seen.stage !== null && seen.stage < leastStage(definitions, seen);
}
