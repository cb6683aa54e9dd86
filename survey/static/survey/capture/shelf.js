// @ts-check
/** One shelf in walking order: what is left, and what stands here that is not on the list. */
import { h, symbol } from "./dom.js";
import { operation } from "./operations.js";
import { append } from "./store.js";

/** @typedef {import("./app.js").App} App */
/** @typedef {import("./types.js").PackObject} PackObject */

/** Objects of a shelf in walking order. @param {App} app @param {string} shelf @returns {Promise<PackObject[]>} */
export async function onShelf(app, shelf) {
  const objects = await app.db.getAllFromIndex("objects", "shelf", shelf);
  return objects.sort((/** @type {PackObject} */ a, /** @type {PackObject} */ b) => a.order - b.order);
}

/** The next object to look at after one, going round. @param {PackObject[]} objects @param {string} [id] */
export function nextOf(objects, id) {
  const at = objects.findIndex((object) => object.id === id);
  const onward = [...objects.slice(at + 1), ...objects.slice(0, at < 0 ? 0 : at)];
  return onward.find((object) => !object.seen && object.id !== id) ?? null;
}

/** @param {PackObject} object */
function mark(object) {
  if (object.last?.handling === "do_not_lift") return "do-not-lift";
  if (object.last?.found === "missing") return "mark-misplaced";
  const stages = object.parts.map((part) => part.last?.stage).filter((stage) => typeof stage === "number");
  if (object.seen && stages.length) return `stage-${Math.max(.../** @type {number[]} */ (stages))}`;
  return object.seen ? "mark-seen" : "mark-unseen";
}

/** @param {App} app @param {string} id */
export async function shelfPage(app, id) {
  const [shelf, objects, drafts] = await Promise.all([app.db.get("shelves", id), onShelf(app, id), app.db.getAllKeys("drafts")]);
  const next = nextOf(objects);
  const seen = objects.filter((object) => object.seen).length;
  const list = objects.map((object) => {
    const alarm = object.last?.handling === "do_not_lift";
    const small = [object.simple_name, drafts.includes(object.id) ? "begun" : object.seen ? "looked at" : "", alarm ? "do not lift" : ""];
    return h("li", {}, h("a", { class: `tile${alarm ? " alarm" : ""}`, href: `#/object/${object.id}` }, symbol(mark(object)),
      h("span", {}, object.number, h("small", {}, small.filter(Boolean).join(", ")))));
  });
  return [
    app.head(shelf?.name ?? "Without a shelf", `${seen} of ${objects.length} looked at. ${shelf?.full_name ?? ""}`),
    h("div", { class: "stack" }, h("ol", { class: "mark-list" }, ...list), strayForm(app, id)),
    h("div", { class: "capture-foot" }, h("a", { class: "button", href: "#/" }, symbol("previous"), "Shelves"),
      next ? h("a", { class: "button primary main", id: "next", href: `#/object/${next.id}` }, `Next object: ${next.number}`, symbol("next"))
        : h("p", { class: "notice done", role: "status" }, symbol("done"), h("span", {}, "Every object on this shelf is looked at."))),
  ];
}

/** @param {App} app @param {string} shelf */
function strayForm(app, shelf) {
  const number = /** @type {HTMLInputElement} */ (h("input", { id: "stray", name: "number", maxlength: 120, placeholder: "Number on the object", "aria-label": "Number on the object", required: true, autocomplete: "off" }));
  const submit = (/** @type {Event} */ event) => {
    event.preventDefault();
    find(app, shelf, number.value).catch((/** @type {Error} */ error) => app.say(error.message));
  };
  return h("form", { class: "stack close", onsubmit: submit }, h("h2", {}, "Something stands here that is not on the list"),
    h("div", { class: "look-up" }, number, h("button", { class: "button" }, symbol("search"), "Look it up")),
    h("p", { class: "row" }, h("a", { class: "button", id: "scan", href: `#/scan/${shelf}` }, symbol("scan"), "Scan a label")));
}

/** @param {string} number */
const plain = (number) => number.replace(/\s+/g, "").toLowerCase();

/** Open the object of that number, as found on a shelf if one is walked; whether there is one. @param {App} app @param {string} shelf @param {string} number */
export async function openKnown(app, shelf, number) {
  const objects = await app.db.getAll("objects");
  const known = objects.find((/** @type {PackObject} */ object) => plain(object.number) === plain(number));
  if (known) location.hash = `#/object/${known.id}${shelf && known.shelf !== shelf ? `/${shelf}` : ""}`;
  return Boolean(known);
}

/** Open the object of that number as found here; tell of it if no list holds it. @param {App} app @param {string} shelf @param {string} number */
export async function find(app, shelf, number) {
  if (await openKnown(app, shelf, number)) return;
  const body = { number: number.trim(), simple_name: "", place: shelf || null, note: "" };
  const told = operation(await app.who(), { kind: "unlisted", object_id: crypto.randomUUID(), based_on: {}, body });
  /** @type {PackObject} */
  const object = {
    id: told.object_id, number: body.number, simple_name: "not on the list", title: "", restriction: "", place: shelf || null, shelf,
    order: await app.db.count("objects"), seen: false, place_after: [told.id], assessments: [], last: null, restorations: [], parts: [], photographs: [],
  };
  await append(app.db, [told], { objects: [object] });
  app.saved(`${body.number} is noted as found here.`);
  location.hash = `#/object/${object.id}`;
}
