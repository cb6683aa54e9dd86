// @ts-check
/** Drawing on a photograph of the object that is being looked at: each change is kept with the draft at once. */
import { Panel } from "../../media/markup/panel.js";
import { h, symbol } from "./dom.js";
import { partsOf } from "./drafts.js";
import { touch } from "./store.js";

/** @typedef {import("./app.js").App} App */
/** @typedef {import("./types.js").Draft} Draft */
/** @typedef {import("./types.js").PackObject} PackObject */
/** @typedef {import("../../media/markup/geometry.js").Drawing} Drawing */

const LARGEST = 2400; // pixels of the longer side that is drawn upon: enough for eight times, and light for the tablet
const MOST_BYTES = 200_000; // of one drawing on its way: the server takes little more
const MEASURES = /** @type {const} */ ({ joint: ["line", "length_mm", "mm"], fill: ["area", "area_cm2", "cm²"], overpaint: ["area", "area_cm2", "cm²"] });

/** @param {App} app @param {string} id of the object @param {string} name of the photograph, its SHA-256 */
export async function markPage(app, id, name) {
  const [object, draft, kept] = await Promise.all([app.db.get("objects", id), app.db.get("drafts", id), app.db.get("photographs", name)]);
  const back = h("a", { class: "button primary main", id: "drawn", href: `#/object/${id}` }, symbol("done"), "Done drawing");
  const foot = h("div", { class: "capture-foot" }, h("span", {}), back);
  if (!object || !draft || !kept) return [app.head("This photograph is not open on this tablet", "Draw on it at the desk, from the object's page."), foot];
  const picture = await upright(kept.bytes).catch(() => null);
  if (!picture) return [app.head("This photograph cannot be drawn on here", "Its bytes are safe: draw on it at the desk once they are sent."), foot];
  const { width, height } = picture;
  const drawing = draft.markups?.[name] ?? { width, height, scale: null, marks: [] };
  const panel = new Panel({
    src: app.address(picture.bytes), label: `${object.number}, photograph`, drawing, parts: partsFor(object, draft),
    taking: Object.keys(draft.measured ?? {}),
    changed: () => keep(app, id, name, panel),
  });
  panel.said.textContent = partsOf(object, draft).length ? "" : "No part is recorded yet: record joints and fills first, or draw samples and tests.";
  return [app.head("Where do joints and fills run?", `${object.number}${object.simple_name ? `, ${object.simple_name}` : ""}`), panel.element, foot];
}

/** Parts as the panel takes them, with what is on record or was measured before. @param {PackObject} object @param {Draft} draft */
function partsFor(object, draft) {
  return partsOf(object, draft).map((part) => {
    const [shape, field, unit] = MEASURES[part.kind];
    return { kind: part.kind, id: part.id, label: part.label, where: part.facts.part ?? "", value: part.facts[field] ?? null, shape, unit };
  });
}

/** One change at a time, in their order. @param {App} app @param {string} id @param {string} name @param {Panel} panel */
async function keep(app, id, name, panel) {
  const drawing = structuredClone(panel.board.drawing);
  const taken = panel.taken().map(({ part, value }) => ({ id: part.id, field: MEASURES[/** @type {keyof MEASURES} */ (part.kind)][1], value }));
  if (JSON.stringify(drawing).length > MOST_BYTES) {
    app.say("That is more than one drawing holds: take something back.");
    return;
  }
  await touch(app.db, id, (now) => now && withDrawing(now, name, drawing, taken));
}

/** @param {Draft} draft @param {string} name @param {Drawing} drawing @param {{id: string, field: string, value: number}[]} taken @returns {Draft} */
function withDrawing(draft, name, drawing, taken) {
  const earlier = Object.entries(draft.measured ?? {}).filter(([, told]) => told.on !== name);
  const measured = Object.fromEntries([...earlier, ...taken.map(({ id, field, value }) => [id, { on: name, field, value }])]);
  return { ...draft, markups: { ...draft.markups, [name]: drawing }, measured };
}

/** A photograph turned upright and no larger than is drawn upon, with the size of the upright original. @param {Blob} bytes */
async function upright(bytes) {
  const picture = await createImageBitmap(bytes); // turned as its own notes say, which is the default
  const { width, height } = picture;
  const scale = Math.min(1, LARGEST / Math.max(width, height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(width * scale);
  canvas.height = Math.round(height * scale);
  canvas.getContext("2d")?.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const smaller = await new Promise((/** @type {(blob: Blob | null) => void} */ resolve) => canvas.toBlob(resolve, "image/jpeg", 0.9));
  return smaller && { width, height, bytes: smaller };
}
