// @ts-check
/** One object: the photograph and what was said before above, large touches below, the next object always in one place. */
import { h, day, fold, notice, symbol, tile, tiles } from "./dom.js";
import { AXES, STEPS, asLastTime, begin, clear, missing, touched, undone } from "./drafts.js";
import { finished, sha256 } from "./operations.js";
import { openPart, partsStep } from "./parts.js";
import { nextOf, onShelf } from "./shelf.js";
import { finishDraft, remembered, touch } from "./store.js";

/** @typedef {import("./app.js").App} App */
/** @typedef {import("./types.js").Draft} Draft */
/** @typedef {import("./types.js").PackObject} PackObject */
/**
 * @typedef {object} Desk all that a step needs
 * @property {App} app
 * @property {PackObject} object
 * @property {Draft} draft as on disk, or one not begun yet
 * @property {any} pack
 * @property {(change: (draft: Draft) => void, photographs?: Map<string, Blob>) => Promise<void>} change one touch
 */

const STEP_WORDS = { look: "Look", parts: "Parts", grades: "Condition", handling: "Handling", photographs: "Photographs", notes: "Notes" };
const HANDLING = { free: ["May be lifted", "mark-seen"], care: ["Lift with care, two hands", "caution"], do_not_lift: ["Do not lift", "do-not-lift"], not_known: ["Not known", "stage-unknown"] };
const GRADES = { good: ["Good", "grade-1"], fair: ["Fair", "grade-2"], poor: ["Poor", "grade-3"], unacceptable: ["Unacceptable", "grade-4"], not_seen: ["Not seen", ""], not_known: ["Not known", ""] };
const RESTORED = { present: "Present", none: "None", not_seen: "Not seen", not_known: "Not known" };

/** @param {App} app @param {string} id @param {string} [foundOn] a shelf on which it was found though it belongs elsewhere */
export async function objectPage(app, id, foundOn) {
  const [object, pack] = await Promise.all([app.db.get("objects", id), remembered(app.db, "pack")]);
  if (!object || !pack) return [app.head("This object is not on this tablet", ""), h("a", { class: "button main", href: "#/" }, "Back to the shelves")];
  const there = await app.db.get("drafts", id);
  const draft = there ?? begin(object, Date.now());
  if (!there && foundOn && foundOn !== object.place) {
    Object.assign(draft.answers, { found: "elsewhere" });
    draft.place_found = foundOn;
  }
  /** @type {Desk} */
  const desk = {
    app, object, draft, pack,
    change: async (change, photographs) => {
      await touch(app.db, id, (now) => touched(now ?? draft, Date.now(), change), photographs);
      await app.show();
    },
  };
  const shelf = await onShelf(app, foundOn ?? object.shelf);
  return [head(desk, shelf), ...(await body(desk)), foot(desk, nextOf(shelf, id))];
}

/** @param {Desk} desk @param {PackObject[]} shelf */
function head({ app, object }, shelf) {
  const at = shelf.findIndex((each) => each.id === object.id) + 1;
  const back = h("a", { class: "button", id: "shelf", href: `#/shelf/${object.shelf}` }, symbol("place-shelf"), "Shelf");
  return app.head(`${object.number}${object.simple_name ? `, ${object.simple_name}` : ""}`, at ? `Object ${at} of ${shelf.length} on this shelf` : "", back);
}

/** @param {Desk} desk */
async function body(desk) {
  const { object, draft } = desk;
  const lift = object.last?.handling === "do_not_lift";
  const lacking = missing(draft, object, desk.pack.definitions);
  return [
    lift && h("div", { class: "do-not-lift", role: "alert" }, symbol("do-not-lift"), h("div", {}, h("p", { class: "words" }, "Do not lift"), h("p", { class: "reason" }, "Look without lifting. Follow your local handling rules."))),
    object.restriction && notice("caution", "caution", h("h2", {}, "Before you touch it"), h("p", {}, object.restriction)),
    h("div", { class: "desk-body" }, h("div", { class: "desk-aside" }, await photograph(desk), earlier(desk)),
      h("div", { class: "desk-work" }, stepsOf(desk, lacking), h("div", { class: "desk-step" }, ...STEP[draft.step](desk)))),
  ].filter(Boolean);
}

/** @param {Desk} desk */
async function photograph(desk) {
  const { app, object, draft } = desk;
  const shown = draft.photographs.at(-1)?.sha256 ?? object.photographs[0]?.sha256;
  const bytes = shown && ((await app.db.get("photographs", shown))?.bytes ?? (await app.db.get("thumbnails", shown)));
  const image = bytes && h("img", { src: app.address(bytes), alt: `${object.number}, the latest photograph`, decoding: "sync" });
  const input = h("input", { type: "file", accept: "image/*", capture: "environment", id: "camera", class: "unseen", onchange: (/** @type {Event} */ event) => take(desk, /** @type {HTMLInputElement} */ (event.target)) });
  return h("figure", { class: "photograph desk-photograph" }, image || h("div", { class: "none" }, symbol("photograph", "large")),
    h("figcaption", { class: "row" }, h("label", { class: "button", for: "camera" }, symbol("photograph"), `Photograph (${draft.photographs.length})`), input, drawOn(desk, shown)));
}

/** Photographs of this look can be drawn on: their bytes are here. @param {Desk} desk @param {string | undefined} name */
function drawOn({ object, draft }, name) {
  if (!draft.photographs.some((each) => each.sha256 === name)) return null;
  const count = draft.markups?.[name ?? ""]?.marks.length;
  return h("a", { class: "button", id: "draw", href: `#/mark/${object.id}/${name}` }, symbol("joint-line"), count ? `Drawn on it (${count})` : "Draw on it");
}

/** @param {Desk} desk @param {HTMLInputElement} input */
async function take(desk, input) {
  const [file] = input.files ?? [];
  if (!file) return;
  const bytes = new Blob([await file.arrayBuffer()], { type: file.type });
  input.value = ""; // so that the same can be chosen again if there was no room for it
  const name = await sha256(bytes);
  await desk.change((draft) => {
    if (!draft.photographs.some((each) => each.sha256 === name)) draft.photographs.push({ sha256: name, view: "" });
  }, new Map([[name, bytes]]));
}

/** What the last assessment says. @param {Desk} desk */
function earlier({ object }) {
  const { last } = object;
  if (!last) return h("p", {}, "Never looked at before.");
  const rows = AXES.filter((axis) => last[axis]).map((axis) => [axis, GRADES[/** @type {keyof GRADES} */ (last[axis])]?.[0] ?? last[axis]]);
  return h("section", { class: "earlier stack close", "aria-label": "When it was last looked at" }, h("h2", {}, `${day(last.on)}, ${last.by}`),
    h("dl", { class: "facts" }, ...rows.flatMap(([name, grade]) => [h("dt", {}, name[0].toUpperCase() + name.slice(1)), h("dd", {}, grade)])),
    last.observation && h("p", {}, last.observation));
}

/** @param {Desk} desk @param {{step: string}[]} lacking */
function stepsOf(desk, lacking) {
  const steps = STEPS.filter((step) => step !== "parts" || desk.draft.answers.old_restoration === "present" || desk.object.parts.length);
  return h("nav", { class: "steps", "aria-label": "Steps" }, h("ol", {}, ...steps.map((step) => h("li", {}, h("button", {
    class: "step", type: "button", id: `step-${step}`, "aria-current": desk.draft.step === step ? "step" : null,
    onclick: () => desk.change((draft) => { draft.step = step; draft.opened = null; }),
  }, STEP_WORDS[/** @type {keyof STEP_WORDS} */ (step)], done(desk, lacking, step) && symbol("done", "small"))))));
}

/** Whether a step is answered. @param {Desk} desk @param {{step: string}[]} lacking @param {string} step */
function done({ draft }, lacking, step) {
  if (step === "photographs") return draft.photographs.length > 0;
  if (step === "notes") return Boolean(draft.answers.observation || draft.answers.interpretation);
  return draft.before.length > 0 && !lacking.some((each) => each.step === step);
}

/** @type {Record<string, (desk: Desk) => (Node | null | false | "" | undefined)[]>} */
const STEP = { look, parts: partsStep, grades, handling, photographs, notes };

/** @param {Desk} desk */
function look(desk) {
  const { object, draft, pack } = desk;
  const { answers } = draft;
  const isClear = answers.old_restoration === "none" && AXES.every((axis) => answers[axis] === "good") && answers.handling === "free";
  return [
    h("h2", {}, "Is there old restoration?"),
    !object.parts.length && !draft.made.length && tile("clear", "No old restoration, good on all three", () => desk.change(clear), { small: "Instability, damage and disfigurement good; may be lifted", draw: symbol("mark-seen"), pressed: isClear, kind: "main" }),
    object.last && object.last.id && tile("as-last-time", `As on ${day(object.last.on)}, nothing has changed`, () => desk.change((now) => asLastTime(now, object)), { small: "Only after looking at each part again", draw: symbol("done"), pressed: draft.asLastTime === object.last.id, kind: "main" }),
    tiles("Old restoration", "", Object.entries(RESTORED).map(([value, words]) => tile(`restored-${value}`, words, () => desk.change((now) => {
      now.answers.old_restoration = value;
      now.asLastTime = null;
      now.step = value === "present" ? "parts" : "grades";
    }), { pressed: answers.old_restoration === value }))),
    h("h3", {}, "Is it where it should be?"),
    tiles("Where it is", "", [
      tile("found-here", "Yes", () => desk.change((now) => { now.answers.found = "here"; now.place_found = null; }), { pressed: answers.found === "here", small: placeName(pack, object.place) }),
      tile("found-elsewhere", "Not where it should be", () => desk.change((now) => { now.answers.found = "elsewhere"; }), { pressed: answers.found === "elsewhere", draw: symbol("mark-misplaced") }),
      tile("found-missing", "Not found", () => desk.change((now) => { now.answers.found = "missing"; now.place_found = null; }), { pressed: answers.found === "missing" }),
    ]),
    answers.found === "elsewhere" && placeChoice(desk),
  ];
}

/** @param {any} pack @param {string | null} place */
const placeName = (pack, place) => pack.places.find((/** @type {any} */ each) => each.id === place)?.name ?? "No place in the register";

/** @param {Desk} desk */
function placeChoice(desk) {
  const options = desk.pack.places.map((/** @type {any} */ place) => h("option", { value: place.id, selected: place.id === desk.draft.place_found }, place.name));
  const onchange = (/** @type {Event} */ event) => desk.change((now) => { now.place_found = /** @type {HTMLSelectElement} */ (event.target).value || null; });
  return h("div", { class: "field" }, h("label", { for: "place" }, "Where it was found"), h("select", { id: "place", onchange }, h("option", { value: "" }, "Choose the place"), ...options));
}

/** @param {Desk} desk */
function grades(desk) {
  const { draft, pack } = desk;
  return [h("h2", {}, "How is it, on each of the three?"), ...pack.definitions.axes.flatMap((/** @type {any} */ axis) => [
    h("h3", {}, axis.name, " ", h("small", {}, axis.question)),
    tiles(axis.name, "grades", Object.entries(GRADES).map(([value, [words, drawn]]) => tile(`grade-${axis.code}-${value}`, words, () => desk.change((now) => {
      now.answers[axis.code] = value;
      now.asLastTime = null;
      if (AXES.every((each) => now.answers[each]) && !now.answers.handling) now.step = "handling";
    }), { pressed: draft.answers[axis.code] === value, draw: drawn ? symbol(drawn) : undefined }))),
    fold(`What the steps mean for ${axis.name.toLowerCase()}`, h("dl", { class: "facts" }, ...axis.grades.flatMap((/** @type {any} */ grade) => [h("dt", {}, grade.name), h("dd", {}, grade.definition)]))),
  ])];
}

/** @param {Desk} desk */
function handling(desk) {
  return [h("h2", {}, "How may it be handled?"), tiles("Handling", "", Object.entries(HANDLING).map(([value, [words, drawn]]) => tile(`handling-${value}`, words, () => desk.change((now) => {
    now.answers.handling = value;
    now.asLastTime = null;
  }), { pressed: desk.draft.answers.handling === value, draw: symbol(drawn), kind: "main" })))];
}

/** @param {Desk} desk */
function photographs(desk) {
  const views = ["Front", "Back", "Inside", "Foot", "Detail"];
  return [h("h2", {}, "Which photographs belong to it?"), ...desk.draft.photographs.flatMap((each, i) => [
    h("h3", {}, `Photograph ${i + 1}${each.view ? `: ${each.view.toLowerCase()}` : ""}`),
    tiles(`View of photograph ${i + 1}`, "narrow", [...views.map((view) => tile(`view-${i}-${view}`, view, () => desk.change((now) => { now.photographs[i].view = view; }), { pressed: each.view === view })),
      h("a", { class: "tile", href: `#/mark/${desk.object.id}/${each.sha256}` }, symbol("joint-line"), h("span", {}, "Draw on it")),
      tile(`drop-${i}`, "Leave it out", () => desk.change((now) => { now.photographs.splice(i, 1); }), { draw: symbol("remove") })]),
  ]), h("p", {}, desk.draft.photographs.length ? "Undo brings back what was left out." : "None yet: touch the photograph's button above.")];
}

/** @param {Desk} desk */
function notes(desk) {
  const field = (/** @type {string} */ name, /** @type {string} */ label, /** @type {string} */ hint) => h("div", { class: "field" }, h("label", { for: name }, label), h("textarea", {
    id: name, rows: 4, maxlength: 10000, onchange: (/** @type {Event} */ event) => {
      const { value } = /** @type {HTMLTextAreaElement} */ (event.target);
      desk.change((now) => { now.answers[name] = value; });
    },
  }, desk.draft.answers[name] ?? ""), h("p", { class: "hint" }, hint));
  return [field("observation", "What is seen", "Say what, where, and how far it runs"), field("interpretation", "What it is taken to mean", "Apart from what is seen")];
}

/** Undo on the left, what comes next on the right: always there, always the same places. @param {Desk} desk @param {PackObject | null} next */
function foot(desk, next) {
  const { app, object, draft, pack } = desk;
  const [first] = missing(draft, object, pack.definitions);
  const undo = h("button", { class: "button", id: "undo", type: "button", disabled: !draft.before.length, onclick: async () => {
    await touch(app.db, object.id, (now) => now && undone(now));
    await app.show();
  } }, symbol("undo"), "Undo");
  const opened = draft.opened && draft.step === "parts";
  const main = first
    ? h("button", { class: "button main", id: "go-on", type: "button", onclick: () => desk.change((now) => { Object.assign(now, openPart(now, object, opened ? null : first.step)); }) }, symbol("next"), h("span", {}, "Go on", h("small", {}, first.words)))
    : h("button", { class: "button primary main", id: "finish", type: "button", onclick: () => finish(desk, next) }, symbol("done"), next ? `Save. Next object: ${next.number}` : "Save");
  return h("div", { class: "capture-foot" }, undo, main);
}

/** @param {Desk} desk @param {PackObject | null} next */
async function finish({ app, object, pack }, next) {
  const who = await app.who();
  const saved = await finishDraft(app.db, object.id, (draft, now) => {
    if (missing(draft, now, pack.definitions).length) return null; // a touch came in between
    return finished(who, draft, now, pack);
  });
  if (!saved) return void app.show();
  app.saved(`${object.number} is saved.`);
  location.hash = next ? `#/object/${next.id}` : `#/shelf/${object.shelf}`;
}
