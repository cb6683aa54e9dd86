// @ts-check
/** From a finished draft to the operation that is sent, and to what the object looks like from then on. */
import { AXES, partsOf } from "./drafts.js";

/** @typedef {import("./types.js").Draft} Draft */
/** @typedef {import("./types.js").PackObject} PackObject */
/** @typedef {import("./types.js").Part} Part */
/** @typedef {import("./types.js").Operation} Operation */

export const SCHEMA_VERSION = 1;
const LONGEST_LOOK = 12 * 3600;

/**
 * The outside of an operation, without its place in the order, which the store gives.
 * @param {{device: string, user: {id: number}}} who
 * @param {Pick<Operation, "kind" | "object_id" | "based_on" | "body"> & {photographs?: string[]}} what
 * @returns {Omit<Operation, "sequence">}
 */
export function operation({ device, user }, what) {
  return {
    id: crypto.randomUUID(), device, schema_version: SCHEMA_VERSION, photographs: [], made_by: user.id,
    wall_clock: new Date().toISOString(), monotonic: Math.max(0, performance.now()), ...what,
  };
}

/** @param {Draft} draft @param {PackObject} object @param {{definitions: any, round: {id: string} | null}} pack */
export function assessmentOf(draft, object, pack) {
  const { answers } = draft;
  const missing = answers.found === "missing";
  const parts = missing ? [] : partsOf(object, draft);
  return {
    kind: /** @type {const} */ ("assessment"),
    object_id: object.id,
    based_on: { after: object.place_after, value: object.told_place ?? object.place, here: object.place, assessments: object.assessments },
    photographs: draft.photographs.map((each) => each.sha256),
    body: {
      round: pack.round?.id ?? null, definitions: pack.definitions.version, visit: answers.visit,
      seconds: Math.min(LONGEST_LOOK, Math.round(draft.seconds)), found: answers.found,
      place_found: answers.found === "elsewhere" ? draft.place_found : null,
      old_restoration: answers.old_restoration ?? "",
      ...Object.fromEntries(AXES.map((axis) => [axis, answers[axis] ?? ""])),
      handling: answers.handling ?? "", observation: answers.observation ?? "",
      interpretation: answers.interpretation ?? "", as_last_time: draft.asLastTime,
      restorations: campaignsOf(draft, object), parts: parts.map((part) => partSeen(draft, part)),
      views: Object.fromEntries(draft.photographs.map((each) => [each.sha256, each.view])),
    },
  };
}

/** Campaigns that this tablet made, with every operation that may need them. @param {Draft} draft @param {PackObject} object */
function campaignsOf(draft, object) {
  const earlier = object.restorations.filter((each) => each.made);
  return [...earlier, ...draft.campaigns].map(({ id, date_text, workshop }) => ({ id, date_text, workshop, notes: "" }));
}

/** @param {Draft} draft @param {Part} part */
function partSeen(draft, part) {
  const seen = draft.seen[part.id] ?? { stage: null, answer: null, signs: [] };
  const isNew = draft.made.includes(part);
  const made = isNew ? known(part.facts) : (part.made ?? null);
  return {
    kind: part.kind, id: part.id, made, new: isNew, restoration: part.restoration, stage: seen.stage,
    answer: seen.answer, signs: seen.signs, evidence: draft.evidence[part.id] ?? [],
  };
}

/**
 * What was drawn, one operation for each photograph that is kept; marks of parts taken back since are left out.
 * @param {Draft} draft @param {PackObject} object
 */
export function markupsOf(draft, object) {
  if (draft.answers.found === "missing") return [];
  const known = new Set([null, ...partsOf(object, draft).map((part) => part.id)]);
  return Object.entries(draft.markups ?? {}).flatMap(([photograph, drawing]) => {
    const marks = drawing.marks.filter((mark) => known.has(mark.target));
    if (!marks.length || !draft.photographs.some((each) => each.sha256 === photograph)) return [];
    return [{ kind: /** @type {const} */ ("markup"), object_id: object.id, based_on: { after: [] }, body: { photograph, drawing: { ...drawing, marks } } }];
  });
}

/** The draft with what was measured of its new parts among their facts. @param {Draft} draft @returns {Draft} */
export function withMeasures(draft) {
  const made = draft.made.map((part) => {
    const told = draft.measured?.[part.id];
    return told ? { ...part, facts: { ...part.facts, [told.field]: told.value } } : part;
  });
  return { ...draft, made };
}

/** What was measured of parts on record, and differs from it. @param {Draft} draft @param {PackObject} object @returns {{part: Part, field: string, value: number}[]} */
export function measuredOf(draft, object) {
  if (draft.answers.found === "missing") return [];
  return object.parts.flatMap((part) => {
    const told = draft.measured?.[part.id];
    return told && told.value !== part.facts[told.field] ? [{ part, field: told.field, value: told.value }] : [];
  });
}

/** A part on record once a fact of it was changed here. @param {Part} part @param {string} field @param {any} value @param {string} id of the operation @returns {Part} */
export const factChanged = (part, field, value, id) => ({ ...part, facts: { ...part.facts, [field]: value }, after: { ...part.after, [field]: [id] }, told: { ...part.told, [field]: toldOf(part, field) } });

/**
 * Everything that finishing a draft says, in the order in which it is to be taken in, and the object from then on.
 * @param {{device: string, user: {id: number, name: string}}} who @param {Draft} draft @param {PackObject} object
 * @param {{definitions: any, round: {id: string} | null}} pack
 * @returns {{told: Omit<Operation, "sequence">[], after: PackObject}}
 */
export function finished(who, draft, object, pack) {
  const whole = withMeasures(draft);
  const assessment = operation(who, assessmentOf(whole, object, pack));
  const facts = measuredOf(draft, object).map(({ part, field, value }) => ({ part, field, value, told: operation(who, factOf(object, part, field, value)) }));
  const after = afterwards(whole, object, assessment, who.user.name);
  const parts = after.parts.map((part) => facts.filter((each) => each.part.id === part.id).reduce((now, { field, value, told }) => factChanged(now, field, value, told.id), part));
  const drawn = markupsOf(whole, object).map((each) => operation(who, each));
  return { told: [assessment, ...facts.map((each) => each.told), ...drawn], after: { ...after, parts } };
}

/** Facts that are said. @param {Record<string, any>} facts */
const known = (facts) => Object.fromEntries(Object.entries(facts).filter(([, value]) => value !== null && value !== ""));

/** The object as this tablet shows it once the draft is finished. @param {Draft} draft @param {PackObject} object @param {Omit<Operation, "sequence">} sent @param {string} by @returns {PackObject} */
export function afterwards(draft, object, sent, by) {
  const { answers } = draft;
  const part = (/** @type {Part} */ each) => ({
    ...each,
    made: draft.made.includes(each) ? known(each.facts) : each.made,
    last: draft.seen[each.id] ?? each.last,
  });
  return {
    ...object,
    seen: true,
    place: answers.found === "elsewhere" ? draft.place_found : object.place,
    told_place: object.told_place ?? object.place,
    place_after: answers.found === "missing" ? object.place_after : [sent.id],
    parts: partsOf(object, draft).map(part),
    restorations: [...object.restorations, ...draft.campaigns.map((each) => ({ ...each, made: true }))],
    photographs: [...draft.photographs.map((p) => ({ ...p, on: sent.wall_clock.slice(0, 10) })), ...object.photographs].slice(0, 3),
    last: { id: object.last?.id ?? null, on: sent.wall_clock.slice(0, 10), by, ...answers },
  };
}

/** One lasting fact of a part that is on record. @param {PackObject} object @param {Part} part @param {string} field @param {any} value */
export function factOf(object, part, field, value) {
  return {
    kind: /** @type {const} */ ("fact"),
    object_id: object.id,
    based_on: { after: part.after[field] ?? [], value: toldOf(part, field) },
    body: { thing: part.kind, id: part.id, field, value },
  };
}

/** A fact as the server last said it, whatever was changed here since. @param {Part} part @param {string} field */
export const toldOf = (part, field) => (field in (part.told ?? {}) ? part.told?.[field] : (part.facts[field] ?? (field === "part" ? "" : null)));

/** SHA-256 in hexadecimal digits. @param {Blob} bytes */
export async function sha256(bytes) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", await bytes.arrayBuffer()));
  return [...digest].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
