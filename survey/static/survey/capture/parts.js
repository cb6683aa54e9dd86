// @ts-check
/** Joints, fills and overpaint of one object, and the lasting facts of each. */
import { h, fold, notice, signDrawing, symbol, tile, tiles } from "./dom.js";
import { addPart, noOtherSign, partsOf, removePart, seeSign, seeStage, signsFor, told } from "./drafts.js";
import { factChanged, factOf, operation } from "./operations.js";
import { append } from "./store.js";

/** @typedef {import("./object.js").Desk} Desk */
/** @typedef {import("./types.js").Draft} Draft */
/** @typedef {import("./types.js").Part} Part */
/** @typedef {import("./types.js").PackObject} PackObject */

const KINDS = /** @type {const} */ ({ joint: "joint", fill: "fill", overpaint: "overpaint" });
const EXTENTS = [[5, "at a spot"], [25, "along a quarter"], [50, "along half"], [75, "three quarters"], [100, "all along"]];
const WHERE = ["rim", "neck", "shoulder", "body", "base", "foot", "handle", "spout", "lid"];
const SIZES = /** @type {Record<string, [string, string]>} */ ({ length_mm: ["Length", "mm"], wall_mm: ["Wall", "mm"], lever_mm: ["Overhang", "mm"], held_mass_kg: ["Mass that hangs on it", "kg"], area_cm2: ["Area", "cm²"] });
const FIELDS = { joint: ["length_mm", "wall_mm", "lever_mm", "held_mass_kg"], fill: ["area_cm2"], overpaint: ["area_cm2"] };
const ADHESIVES = { animal_glue: "Animal glue", natural_resin: "Natural resin (shellac)", cellulose_nitrate: "Cellulose nitrate", rubber_cement: "Rubber cement", pvac: "Poly(vinyl acetate)", epoxy: "Epoxy", cyanoacrylate: "Cyanoacrylate", polyester: "Polyester", acrylic: "Acrylic copolymer", plaster_cement: "Plaster or cement", mechanical: "Mechanical (rivets, wire, dowel)" };
const BASES = { date: "Date and hand", look: "Look", uv: "Ultraviolet fluorescence", solvent: "Solvent swab", spot_test: "Spot test", record: "Written record of this object", ftir: "Instrumental analysis (FTIR)" };
const MATERIALS = { plaster: "Plaster", wax: "Wax", putty: "Putty", resin: "Bulked resin paste" };

/** Where "Go on" leads: the next part of which nothing is said, else the step. @param {Draft} draft @param {PackObject} object @param {string | null} step */
export function openPart(draft, object, step) {
  if (step === null) return { opened: null };
  const untold = partsOf(object, draft).find((part) => !told(draft, part));
  return { step, opened: step === "parts" ? (untold?.id ?? null) : null };
}

/** @param {Desk} desk */
export function partsStep(desk) {
  const { object, draft } = desk;
  const parts = partsOf(object, draft);
  const opened = parts.find((part) => part.id === draft.opened);
  if (opened) return partOpened(desk, opened);
  return [
    h("h2", {}, "What is old restoration, and how does it look?"),
    tiles("Parts", "", parts.map((part) => tile(`part-${part.label}`, `${part.label}${part.facts.part ? `, ${part.facts.part}` : ""}`, () => desk.change((now) => { now.opened = part.id; }), { draw: drawn(desk, part), small: words(desk, part), kind: told(draft, part) ? "told" : "" }))),
    tiles("Add a part", "", Object.entries(KINDS).map(([kind, word]) => tile(`add-${kind}`, `Add ${kind === "overpaint" ? "an" : "a"} ${word}`, () => desk.change((now) => addPart(now, object, /** @type {Part["kind"]} */ (kind), () => crypto.randomUUID())), { draw: symbol("add") }))),
  ];
}

/** @param {Desk} desk @param {Part} part */
function drawn(desk, part) {
  const stage = desk.draft.seen[part.id]?.stage ?? part.last?.stage;
  if (part.kind !== "joint") return symbol(told(desk.draft, part) ? "mark-seen" : "mark-unseen");
  return symbol(typeof stage === "number" ? `stage-${stage}` : "stage-unknown");
}

/** What is said of a part, in a line. @param {Desk} desk @param {Part} part */
function words(desk, part) {
  const seen = desk.draft.seen[part.id];
  if (!told(desk.draft, part)) return part.last?.stage != null ? "nothing said yet; drawn as when last seen" : "nothing said yet";
  const { definitions } = desk.pack;
  const names = seen.signs.filter((sign) => sign.answer === "present").map((sign) => signsFor(definitions, part.kind).find((term) => term.code === sign.code)?.name.toLowerCase() ?? sign.code);
  const first = seen.stage !== null ? definitions.stages[seen.stage].name.toLowerCase() : seen.answer ? seen.answer.replace("_", " ") : "";
  return [first, ...names].filter(Boolean).join(", ") || "no sign";
}

/** @param {Desk} desk @param {Part} part */
function partOpened(desk, part) {
  const { draft, pack } = desk;
  const isNew = draft.made.some((each) => each.id === part.id);
  return [
    h("h2", {}, `How does ${part.label}${part.facts.part ? ` at the ${part.facts.part}` : ""} look?`),
    part.kind === "joint" && stages(desk, part),
    part.last && tile("part-as-last", "As when last seen", () => desk.change((now) => { now.seen[part.id] = structuredClone(/** @type {any} */ (part.last)); now.opened = null; }), { draw: symbol("done") }),
    signs(desk, part),
    tiles("Other signs", "", [tile("no-other", draft.seen[part.id]?.signs.length ? "No other sign" : "No sign", () => desk.change((now) => { noOtherSign(now, part, pack.definitions); if (part.kind !== "joint" || now.seen[part.id].answer) now.opened = null; }), { draw: symbol("mark-seen") })]),
    (draft.seen[part.id]?.stage ?? 0) >= 3 && notice("caution", "caution", h("p", {}, "Heavy or unsafe objects: two people, or do not lift. Follow your local rules.")),
    fold("Where it is, its size, what holds it", facts(desk, part, isNew)),
    h("div", { class: "row" }, h("button", { class: "button", type: "button", id: "close-part", onclick: () => desk.change((now) => { now.opened = null; }) }, symbol("previous"), "All parts"),
      isNew && h("button", { class: "button", type: "button", id: "remove-part", onclick: () => desk.change((now) => removePart(now, part.id)) }, symbol("remove"), `Take ${part.label} back`)),
  ];
}

/** @param {Desk} desk @param {Part} part */
function stages(desk, part) {
  const seen = desk.draft.seen[part.id];
  const say = (/** @type {number | string} */ said) => desk.change((now) => { seeStage(now, part, said); now.opened = null; });
  return h("div", { class: "stack close" }, tiles("Stage", "stages", [
    ...desk.pack.definitions.stages.map((/** @type {any} */ term, /** @type {number} */ stage) => tile(`stage-${stage}`, term.name, () => say(stage), { draw: symbol(`stage-${stage}`), pressed: seen?.stage === stage, small: part.last?.stage === stage ? "when last seen" : "" })),
    tile("stage-not_seen", "Not seen", () => say("not_seen"), { pressed: seen?.answer === "not_seen" }),
    tile("stage-not_known", "Not known", () => say("not_known"), { pressed: seen?.answer === "not_known" }),
  ]), fold("What the stages mean", h("dl", { class: "facts" }, ...desk.pack.definitions.stages.flatMap((/** @type {any} */ term) => [h("dt", {}, term.name), h("dd", {}, term.definition)]))));
}

/** @param {Desk} desk @param {Part} part */
function signs(desk, part) {
  const { definitions } = desk.pack;
  const there = new Map((desk.draft.seen[part.id]?.signs ?? []).map((sign) => [sign.code, sign]));
  const say = (/** @type {string} */ code, /** @type {number | null} */ extent) => desk.change((now) => seeSign(now, part, code, "present", extent, definitions));
  const rows = signsFor(definitions, part.kind).map((term) => {
    const sign = there.get(term.code);
    return tile(`sign-${term.code}`, term.name, () => say(term.code, sign?.extent_percent ?? null), { draw: signDrawing(term.code), pressed: sign?.answer === "present", kind: sign?.answer === "present" ? "present" : "", small: sign && sign.answer !== "present" ? sign.answer.replace("_", " ") : "" });
  });
  const present = [...there.values()].filter((sign) => sign.answer === "present");
  return h("div", { class: "stack close" }, h("h3", {}, "Which signs does it show?"), tiles("Signs", "signs narrow", rows),
    ...present.map((sign) => tiles(`How far ${sign.code} runs`, "extents", [h("span", { class: "tiles-name" }, `${signsFor(definitions, part.kind).find((term) => term.code === sign.code)?.name}, how far?`),
      ...EXTENTS.map(([percent, name]) => tile(`extent-${sign.code}-${percent}`, String(name), () => say(sign.code, Number(percent)), { pressed: sign.extent_percent === percent }))])),
    fold("What the signs mean", h("dl", { class: "facts" }, ...signsFor(definitions, part.kind).flatMap((term) => [h("dt", {}, term.name), h("dd", {}, term.definition)]))));
}

/** Lasting facts: of a new part they belong to the draft, of one on record each change is an operation of its own. @param {Desk} desk @param {Part} part @param {boolean} isNew */
function facts(desk, part, isNew) {
  const say = (/** @type {string} */ field, /** @type {any} */ value) => (isNew
    ? desk.change((now) => { const mine = now.made.find((each) => each.id === part.id); if (mine) mine.facts[field] = value; })
    : changeFact(desk, part, field, value));
  const yesNo = (/** @type {string} */ field, /** @type {string} */ legend) => tiles(legend, "narrow", [h("span", { class: "tiles-name" }, legend), ...(/** @type {[string, boolean | null][]} */ ([["Yes", true], ["No", false], ["Not known", null]])).map(([name, value]) => tile(`${field}-${value}`, name, () => say(field, value), { pressed: (part.facts[field] ?? null) === value }))]);
  return h("div", { class: "stack" },
    tiles("Where on the object", "narrow", WHERE.map((where) => tile(`where-${where}`, where, () => say("part", where), { pressed: part.facts.part === where }))),
    ...FIELDS[part.kind].map((field) => sizeField(part, field, say)),
    part.kind === "joint" && yesNo("structural", "Carries weight or a projecting part"),
    part.kind === "overpaint" && yesNo("over_original", "Spreads over original surface"),
    part.kind === "fill" && tiles("Material", "narrow", Object.entries(MATERIALS).map(([value, name]) => tile(`material-${value}`, name, () => say("material", value), { pressed: part.facts.material === value }))),
    part.kind === "joint" && adhesive(part, say));
}

/** @param {Part} part @param {string} field @param {(field: string, value: any) => void} say */
function sizeField(part, field, say) {
  const [name, unit] = SIZES[field];
  const onchange = (/** @type {Event} */ event) => {
    const input = /** @type {HTMLInputElement} */ (event.target);
    const value = input.value === "" ? null : Number(input.value);
    if (input.checkValidity()) say(field, value);
    else input.reportValidity();
  };
  return h("div", { class: "field" }, h("label", { for: field }, `${name} in ${unit}`), h("input", { id: field, type: "number", inputmode: "decimal", min: 0.1, max: field === "area_cm2" ? 50000 : 500, step: "any", value: part.facts[field] ?? "", onchange }));
}

/** @param {Part} part @param {(field: string, value: any) => void} say */
function adhesive(part, say) {
  const { adhesive: is = "", basis = "look" } = part.facts.adhesive ?? {};
  return h("div", { class: "stack close" },
    tiles("Adhesive", "narrow", [...Object.entries(ADHESIVES).map(([value, name]) => tile(`adhesive-${value}`, name, () => say("adhesive", { adhesive: value, basis }), { pressed: is === value })), tile("adhesive-none", "Not known", () => say("adhesive", null), { pressed: !is })]),
    is ? tiles("Known by, weakest first", "narrow", Object.entries(BASES).map(([value, name]) => tile(`basis-${value}`, name, () => say("adhesive", { adhesive: is, basis: value }), { pressed: basis === value }))) : null);
}

/** @param {Desk} desk @param {Part} part @param {string} field @param {any} value */
async function changeFact({ app, object }, part, field, value) {
  const sent = operation(await app.who(), factOf(object, part, field, value));
  const changed = factChanged(part, field, value, sent.id);
  const parts = object.parts.map((each) => (each.id === part.id ? changed : each));
  await append(app.db, [sent], { objects: [{ ...object, parts }] });
  app.saved(`${part.label} is changed.`);
  await app.show();
}
