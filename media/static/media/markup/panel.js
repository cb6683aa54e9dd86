// @ts-check
/** What stands beside a photograph that is drawn on: what to draw, how, and what it measures. */
import { Board } from "./board.js";
import { measure } from "./geometry.js";

/** @typedef {import("./geometry.js").Drawing} Drawing */
/** @typedef {import("./geometry.js").Mark} Mark */
/** @typedef {import("./board.js").Tool} Tool */
/** @typedef {{kind: string, id: string, label: string, where: string, value: number | null, shape: "line" | "area", unit: string}} Part `value` is what stands in the record */

const WORDS = { sample: "Sample", test: "Test" };
const SYMBOLS = new URL("../symbols.svg", import.meta.url).pathname;

/** @param {string} tag @param {Record<string, any>} [attributes] @param {...(Node | string | null | false | undefined)} inner */
function h(tag, attributes = {}, ...inner) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, String(value));
  }
  element.append(.../** @type {(Node | string)[]} */ (inner.filter(Boolean)));
  return element;
}

/** @param {string} name */
function symbol(name) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("class", "symbol");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  use.setAttribute("href", `${SYMBOLS}#${name}`);
  svg.append(use);
  return svg;
}

/** @param {number} value @param {string} unit */
const said = (value, unit) => `${value}\u00a0${unit}`;

export class Panel {
  /**
   * @param {{src: string, label: string, drawing: Drawing, others?: Drawing[], parts: Part[], taking?: string[], changed?: () => void}} how
   *   `taking` are the parts whose measures somebody said should go into the record; `changed` is called after each change of the drawing or of what goes into the record
   */
  constructor({ src, label, drawing, others, parts, taking = [], changed = () => {} }) {
    this.parts = parts;
    this.told = changed;
    /** @type {Map<string, boolean>} */
    this.wishes = new Map(taking.map((id) => [id, true]));
    this.first = new Map(parts.map((part) => [part.id, measure(drawing, part.kind, part.id)]));
    this.said = h("p", { class: "said", role: "status", "aria-live": "polite" });
    this.board = new Board({ src, label, drawing, others, names: (mark) => this.nameOf(mark), changed: () => { this.fill(); this.told(); }, looked: () => this.looked(), say: (words) => { this.said.textContent = words; } });
    this.tools = h("div", { class: "markup-tools", role: "group", "aria-label": "What to draw" });
    this.steps = h("div", { class: "markup-steps row" });
    this.found = h("div", { class: "markup-found stack close" });
    this.element = h("div", { class: "markup" }, h("div", { class: "markup-photograph" }, this.board.svg), h("div", { class: "markup-side stack" }, this.tools, this.said, this.steps, this.found));
    /** @type {(Tool & {key: string}) | null} */
    this.tool = null;
    this.fill();
  }

  /** @param {Mark} mark */
  nameOf(mark) {
    const part = this.parts.find((each) => each.id === mark.target);
    return part?.label ?? WORDS[/** @type {keyof WORDS} */ (mark.term)] ?? mark.term;
  }

  /** @returns {(Tool & {key: string, draw: string, small: string})[]} */
  choices() {
    return [
      ...this.parts.map((part) => ({ key: part.id, term: part.kind, target: part.id, label: part.label, small: part.where, shape: part.shape, draw: part.shape === "line" ? "joint-line" : "area" })),
      { key: "scale", term: "scale", target: null, label: "Known size", small: "two ends and mm", shape: "scale", draw: "ruler" },
      { key: "sample", term: "sample", target: null, label: "Sample", small: "where it was taken", shape: "point", draw: "sample-point" },
      { key: "test", term: "test", target: null, label: "Test", small: "where it was made", shape: "point", draw: "test-point" },
    ];
  }

  /** A part's name for its controls: its label, told apart where two campaigns have the same. @param {string} id */
  short(id) {
    const { label } = this.parts.find((each) => each.id === id) ?? { label: id };
    const before = this.parts.slice(0, this.parts.findIndex((each) => each.id === id)).filter((each) => each.label === label).length;
    return before ? `${label}-${before + 1}` : label;
  }

  /** @param {(Tool & {key: string}) | null} tool */
  choose(tool) {
    this.tool = tool;
    this.board.choose(tool);
    const how = { scale: "Touch the two ends of something of known size.", point: "Touch the spot.", line: "Touch points along the line, then “Done with it”.", area: "Touch points around the area, then “Done with it”." };
    this.said.textContent = tool ? `${tool.label}: ${this.board.stroke && (tool.shape === "line" || tool.shape === "area") ? "draw it in one stroke." : how[tool.shape]}` : "";
    this.fill();
  }

  fill() {
    const focused = document.activeElement?.id;
    const { board } = this;
    const press = (/** @type {string} */ id, /** @type {string} */ words, /** @type {string} */ draw, /** @type {() => void} */ act, more = {}) => h("button", { class: "button", type: "button", id, onclick: act, ...more }, symbol(draw), h("span", {}, words));
    const tile = (/** @type {any} */ each) => h("button", { class: "tile", type: "button", id: `draw-${each.target ? this.short(each.target) : each.key}`, "aria-pressed": String(this.tool?.key === each.key), onclick: () => this.choose(each) }, symbol(each.draw), h("span", {}, each.label, each.small && h("small", {}, each.small)));
    this.tools.replaceChildren(h("button", { class: "tile", type: "button", id: "draw-nothing", "aria-pressed": String(!this.tool), onclick: () => this.choose(null) }, symbol("search"), h("span", {}, "Look", h("small", {}, "touch to move there"))), ...this.choices().map(tile));
    const shape = this.tool?.shape;
    const stroked = shape === "line" || shape === "area";
    this.steps.replaceChildren(...[
      stroked && press("way", board.stroke ? "Tap points instead" : "Draw in a stroke", "edit", () => { board.finish(); board.stroke = !board.stroke; this.choose(this.tool); }),
      stroked && !board.stroke && press("done-shape", "Done with it", "done", () => board.finish()),
      press("undo-mark", "Undo", "undo", () => board.undo(), { disabled: !board.before.length && !board.now.length }),
      press("redo-mark", "Redo", "redo", () => board.redo(), { disabled: !board.behind.length }),
      press("nearer", "Nearer", "add", () => board.zoomBy(2), { disabled: board.view.zoom >= 8 }),
      press("whole", "All of it", "photograph", () => board.zoomBy(1 / 8), { disabled: board.view.zoom <= 1 }),
    ].filter(Boolean).map((each) => /** @type {Node} */ (each)));
    this.found.replaceChildren(...this.size(), ...this.lines());
    if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  }

  /** Buttons that cannot bring nearer, or further away, say so. */
  looked() {
    const { zoom } = this.board.view;
    for (const [id, over] of /** @type {[string, boolean][]} */ ([["nearer", zoom >= 8], ["whole", zoom <= 1]])) {
      this.steps.querySelector(`#${id}`)?.toggleAttribute("disabled", over);
    }
  }

  /** The question for millimetres, once two ends are touched. */
  size() {
    if (!this.board.ends) return [];
    const mm = /** @type {HTMLInputElement} */ (h("input", { id: "known-mm", type: "number", inputmode: "decimal", min: 0.1, max: 10000, step: "any", required: true }));
    const set = (/** @type {Event} */ event) => {
      event.preventDefault();
      this.board.know(Number(mm.value));
    };
    return [h("form", { class: "field", onsubmit: set }, h("label", { for: "known-mm" }, "How far apart are the two ends, in mm?"), h("div", { class: "row" }, mm, h("button", { class: "button primary", id: "set-known" }, "Set"), h("button", { class: "button", type: "button", onclick: () => this.board.leave() }, "Leave it")))];
  }

  /** What was drawn, what it measures, and what of it goes into the record. */
  lines() {
    const { drawing } = this.board;
    const parts = this.parts.filter((part) => drawing.marks.some((mark) => mark.target === part.id));
    const spots = drawing.marks.filter((mark) => mark.shape === "point");
    const away = (/** @type {string} */ id, /** @type {string} */ words) => h("button", { class: "button quiet", type: "button", "aria-label": `Remove ${words}`, onclick: () => this.board.remove(id) }, symbol("remove"));
    const last = (/** @type {Part} */ part) => drawing.marks.filter((mark) => mark.target === part.id).at(-1)?.id ?? "";
    const rows = [
      drawing.scale && h("li", { class: "row" }, h("span", {}, `Known size: ${said(drawing.scale.mm, "mm")}`), away("scale", "the known size")),
      ...parts.map((part) => h("li", { class: "row" }, h("span", {}, `${part.label}: ${this.words(part)}`), this.taking(part), away(last(part), `the last mark of ${part.label}`))),
      ...spots.map((mark) => h("li", { class: "row" }, h("span", {}, this.nameOf(mark)), away(mark.id, this.nameOf(mark)))),
    ].filter(Boolean);
    const needs = parts.length && !drawing.scale && h("p", { class: "hint" }, "Nothing is measured yet: mark a known size.");
    const flat = drawing.scale && parts.length && h("p", { class: "hint" }, "Measured in the plane of the known size: along a curved wall it comes out short.");
    return [rows.length ? h("ul", { class: "markup-list stack close" }, ...rows) : h("p", { class: "hint" }, "Nothing is drawn yet: choose what to draw."), needs, flat].filter(Boolean).map((each) => /** @type {Node} */ (each));
  }

  /** @param {Part} part */
  words(part) {
    const value = measure(this.board.drawing, part.kind, part.id);
    const record = part.value === null ? "nothing on record" : `on record ${said(part.value, part.unit)}`;
    return value === null ? `drawn, ${record}` : `${said(value, part.unit)}, ${record}`;
  }

  /** @param {Part} part */
  taking(part) {
    const value = measure(this.board.drawing, part.kind, part.id);
    if (value === null || value === part.value) return null;
    const taken = this.takes(part);
    return h("button", { class: "button", type: "button", id: `take-${this.short(part.id)}`, "aria-pressed": String(taken), onclick: () => { this.wishes.set(part.id, !taken); this.fill(); this.told(); } }, symbol(taken ? "done" : "mark-unseen"), h("span", {}, taken ? "Goes into the record" : "Take it into the record"));
  }

  /** Whether what a part measures goes into the record: by itself if there is nothing, or what was measured here before. @param {Part} part */
  takes(part) {
    const value = measure(this.board.drawing, part.kind, part.id);
    if (value === null || value === part.value) return false;
    return this.wishes.get(part.id) ?? (part.value === null || part.value === this.first.get(part.id));
  }

  /** Parts whose measures go into the record, with these. @returns {{part: Part, value: number}[]} */
  taken() {
    return this.parts.filter((part) => this.takes(part)).map((part) => ({ part, value: /** @type {number} */ (measure(this.board.drawing, part.kind, part.id)) }));
  }

  /** The drawing as it stands; a shape that is being tapped is ended first. */
  drawing() {
    this.board.finish();
    return this.board.drawing;
  }
}
