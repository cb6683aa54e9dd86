// @ts-check
/** Shapes shared by the tablet's modules; no code. */

/**
 * @typedef {object} Operation as `openapi.json` describes it
 * @property {string} id
 * @property {string} device
 * @property {number} sequence
 * @property {number} schema_version
 * @property {"assessment" | "fact" | "unlisted" | "markup"} kind
 * @property {string} object_id
 * @property {any} based_on
 * @property {any} body
 * @property {string[]} photographs
 * @property {number} made_by
 * @property {string} wall_clock
 * @property {number} monotonic
 */
/** @typedef {{sequence: number, state: "unsent" | "sent" | "refused", operation: Operation, answer: any, sentAt: number | null}} Kept */
/** @typedef {{code: string, answer: string, extent_percent: number | null}} SignSeen */
/** @typedef {{stage: number | null, answer: string | null, signs: SignSeen[]}} Seen */
/**
 * @typedef {object} Part
 * @property {string} id
 * @property {"joint" | "fill" | "overpaint"} kind
 * @property {string} label
 * @property {string} restoration
 * @property {Record<string, any>} facts
 * @property {Record<string, string[]>} after
 * @property {Seen | null} last
 * @property {Record<string, any>} [told] facts changed here since the server last said them, as it said them
 * @property {Record<string, any> | null} [made] the facts it was first recorded with, if this tablet made it
 */
/**
 * @typedef {object} PackObject
 * @property {string} id
 * @property {string} number
 * @property {string} simple_name
 * @property {string} title
 * @property {string} restriction
 * @property {string | null} place
 * @property {string | null} [told_place] its place as the server last said it, if it was found elsewhere since
 * @property {string} shelf
 * @property {number} order
 * @property {boolean} seen
 * @property {string[]} place_after
 * @property {string[]} assessments
 * @property {Record<string, any> | null} last
 * @property {{id: string, date_text: string, workshop: string, made?: boolean}[]} restorations
 * @property {Part[]} parts
 * @property {{sha256: string, view: string, on: string}[]} photographs
 */
/**
 * @typedef {object} Draft
 * @property {string} object
 * @property {Record<string, string>} answers
 * @property {string | null} place_found
 * @property {Record<string, Seen>} seen by part
 * @property {Part[]} made parts first recorded in this draft
 * @property {{id: string, date_text: string, workshop: string, notes: string}[]} campaigns first recorded in this draft
 * @property {Record<string, {basis: string, finding: string, note: string}[]>} evidence by part
 * @property {{sha256: string, view: string}[]} photographs
 * @property {string | null} asLastTime
 * @property {number} seconds
 * @property {number} touchedAt milliseconds, this tablet's clock
 * @property {string} step
 * @property {string | null} opened the part that is open
 * @property {Record<string, import("../../media/markup/geometry.js").Drawing>} [markups] by photograph
 * @property {Record<string, {on: string, field: string, value: number}>} [measured] by part: what goes into its record, and on which photograph
 * @property {Omit<Draft, "before">[]} before for undo, the oldest first
 */
export {};
