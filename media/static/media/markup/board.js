// @ts-check
/** A photograph to draw on: by tapping points or by a stroke, with finger, pen, mouse or keys; to 8 times its size. */
import { LEAST, fault, kept } from "./geometry.js";

/** @typedef {import("./geometry.js").Point} Point */
/** @typedef {import("./geometry.js").Mark} Mark */
/** @typedef {import("./geometry.js").Drawing} Drawing */
/** @typedef {{term: string, target: string | null, label: string, shape: Mark["shape"] | "scale"}} Tool */

const SVG = "http://www.w3.org/2000/svg";
const MOST_ZOOM = 8;
const STILL = 10; // screen pixels that a finger may move and still tap
const STEP = 0.02; // of the view, for each press of an arrow key
const SIGN = 15; // screen pixels of letters and signs

/** @param {string} tag @param {Record<string, any>} [attributes] @param {...(Node | string)} inner */
function s(tag, attributes = {}, ...inner) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  element.append(...inner);
  return element;
}

/** @param {Point[]} points @param {boolean} closed */
const path = (points, closed) => `M${points.map(([x, y]) => `${x} ${y}`).join("L")}${closed ? "Z" : ""}`;

export class Board {
  /**
   * @param {{src: string, label: string, drawing: Drawing, others?: Drawing[], names: (mark: Mark) => string, changed: () => void, looked: () => void, say: (words: string) => void}} how
   *   `names` gives the word that stands at a mark; `changed` is called after each change, `looked` after coming nearer or going back
   */
  constructor({ src, label, drawing, others = [], names, changed, looked, say }) {
    this.names = names;
    this.changed = changed;
    this.looked = looked;
    this.say = say;
    this.drawing = structuredClone(drawing);
    /** @type {Drawing[]} */
    this.before = [];
    /** @type {Drawing[]} */
    this.behind = [];
    /** @type {Tool | null} */
    this.tool = null;
    this.stroke = false; // draw by a stroke, else by tapping points
    /** @type {Point[]} */
    this.now = [];
    /** @type {[Point, Point] | null} */
    this.ends = null; // of a known size whose millimetres are not said yet
    this.others = others;
    const { width, height } = drawing;
    this.view = { x: 0, y: 0, zoom: 1 };
    /** @type {Point} */
    this.cursor = [width / 2, height / 2];
    this.keys = false;
    /** @type {Map<number, {start: DOMPoint, last: DOMPoint, moved: boolean}>} */
    this.fingers = new Map();
    this.layers = { others: s("g", { class: "others" }), mine: s("g"), now: s("g", { class: "now" }) };
    this.svg = /** @type {SVGSVGElement} */ (s("svg", { class: "board", tabindex: 0, role: "application", "aria-label": label, preserveAspectRatio: "xMidYMid meet" },
      s("image", { href: src, width, height }), this.layers.others, this.layers.mine, this.layers.now));
    this.svg.style.aspectRatio = `${width} / ${height}`;
    this.listen();
    new ResizeObserver(() => this.draw()).observe(this.svg);
  }

  listen() {
    const on = (/** @type {string} */ name, /** @type {(event: any) => void} */ act) => this.svg.addEventListener(name, act, { passive: false });
    on("pointerdown", (event) => this.down(event));
    on("pointermove", (event) => this.move(event));
    on("pointerup", (event) => this.up(event));
    on("pointercancel", (event) => { this.fingers.delete(event.pointerId); this.now = this.stroke ? [] : this.now; this.draw(); });
    on("wheel", (event) => { event.preventDefault(); this.zoomBy(event.deltaY < 0 ? 1.25 : 0.8, this.at(event)); });
    on("keydown", (event) => this.key(event));
    on("blur", () => { this.keys = false; this.draw(); });
  }

  /** Where on the photograph. @param {{clientX: number, clientY: number}} event @returns {Point} */
  at({ clientX, clientY }) {
    const found = new DOMPoint(clientX, clientY).matrixTransform(this.svg.getScreenCTM()?.inverse());
    return this.within([found.x, found.y]);
  }

  /** @param {Point} point @returns {Point} within the photograph, to a tenth of a pixel */
  within([x, y]) {
    const { width, height } = this.drawing;
    const clip = (/** @type {number} */ value, /** @type {number} */ most) => Math.round(Math.min(most, Math.max(0, value)) * 10) / 10;
    return [clip(x, width), clip(y, height)];
  }

  /** One pixel of the screen, in pixels of the photograph. */
  pixel() {
    return 1 / (this.svg.getScreenCTM()?.a || 1);
  }

  /** @param {PointerEvent} event */
  down(event) {
    event.preventDefault();
    this.svg.focus({ preventScroll: true });
    this.keys = false;
    try { this.svg.setPointerCapture(event.pointerId); } catch { /* a pen that is up again already */ }
    const point = new DOMPoint(event.clientX, event.clientY);
    this.fingers.set(event.pointerId, { start: point, last: point, moved: false });
    if (this.fingers.size > 1) {
      if (this.stroke) this.now = []; // a second finger means looking, not drawing
      for (const finger of this.fingers.values()) finger.moved = true;
    } else if (this.strokes()) this.now = [this.at(event)];
    this.draw();
  }

  strokes() {
    return this.stroke && (this.tool?.shape === "line" || this.tool?.shape === "area");
  }

  /** @param {PointerEvent} event */
  move(event) {
    const finger = this.fingers.get(event.pointerId);
    if (!finger) return;
    const point = new DOMPoint(event.clientX, event.clientY);
    if (Math.hypot(point.x - finger.start.x, point.y - finger.start.y) > STILL) finger.moved = true;
    if (this.fingers.size === 2) this.pinch(event.pointerId, point);
    else if (this.fingers.size === 1 && this.strokes()) {
      for (const each of event.getCoalescedEvents?.() ?? [event]) this.now.push(this.at(each));
    } else if (this.fingers.size === 1 && finger.moved) this.shift(point.x - finger.last.x, point.y - finger.last.y);
    finger.last = point;
    this.draw();
  }

  /** @param {PointerEvent} event */
  up(event) {
    const finger = this.fingers.get(event.pointerId);
    this.fingers.delete(event.pointerId);
    if (!finger || this.fingers.size) return;
    if (this.strokes()) {
      const points = kept(this.now, this.pixel());
      this.now = [];
      if (finger.moved) this.keep(points);
      else this.say("Draw without lifting the finger, or choose tapping points.");
    } else if (!finger.moved) this.tap(this.at(event));
    this.draw();
  }

  /** @param {number} id @param {DOMPoint} point */
  pinch(id, point) {
    const other = [...this.fingers].find(([each]) => each !== id)?.[1].last;
    const was = this.fingers.get(id)?.last;
    if (!other || !was) return;
    const middle = { clientX: (other.x + point.x) / 2, clientY: (other.y + point.y) / 2 };
    const before = Math.hypot(was.x - other.x, was.y - other.y) || 1;
    this.zoomBy(Math.hypot(point.x - other.x, point.y - other.y) / before, this.at(middle));
    this.shift((point.x - was.x) / 2, (point.y - was.y) / 2);
  }

  /** Move the view by pixels of the screen. @param {number} dx @param {number} dy */
  shift(dx, dy) {
    this.view.x -= dx * this.pixel();
    this.view.y -= dy * this.pixel();
    this.frame();
  }

  /** @param {number} factor @param {Point} [about] what stays where it is */
  zoomBy(factor, about) {
    const { width, height } = this.drawing;
    const { x, y, zoom } = this.view;
    const [u, v] = about ?? [x + width / zoom / 2, y + height / zoom / 2];
    const next = Math.min(MOST_ZOOM, Math.max(1, zoom * factor));
    this.view = { x: u - ((u - x) * zoom) / next, y: v - ((v - y) * zoom) / next, zoom: next };
    this.frame();
    this.draw();
    this.looked();
  }

  /** @param {Point} point */
  centre([x, y]) {
    this.view.x = x - this.drawing.width / this.view.zoom / 2;
    this.view.y = y - this.drawing.height / this.view.zoom / 2;
    this.frame();
  }

  frame() {
    const { width, height } = this.drawing;
    const { zoom } = this.view;
    this.view.x = Math.min(width - width / zoom, Math.max(0, this.view.x));
    this.view.y = Math.min(height - height / zoom, Math.max(0, this.view.y));
    this.svg.setAttribute("viewBox", `${this.view.x} ${this.view.y} ${width / zoom} ${height / zoom}`);
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const act = { Enter: () => this.tap(this.cursor), " ": () => this.tap(this.cursor), Escape: () => this.leave(), Backspace: () => { this.now.pop(); },
      "+": () => this.zoomBy(1.5, this.cursor), "-": () => this.zoomBy(1 / 1.5, this.cursor), f: () => this.finish() }[event.key];
    if (!way && !act) return;
    event.preventDefault();
    this.keys = true;
    if (way) {
      const step = ((event.shiftKey ? STEP / 10 : STEP) * this.drawing.width) / this.view.zoom;
      this.cursor = this.within([this.cursor[0] + way[0] * step, this.cursor[1] + way[1] * step]);
      const [x, y] = this.cursor;
      const { zoom } = this.view;
      const seen = x >= this.view.x && x <= this.view.x + this.drawing.width / zoom && y >= this.view.y && y <= this.view.y + this.drawing.height / zoom;
      if (!seen) this.centre(this.cursor);
    } else act?.();
    this.draw();
  }

  /** @param {Point} point */
  tap(point) {
    const { tool } = this;
    if (!tool) this.centre(point);
    else if (tool.shape === "point") this.keep([point]);
    else {
      this.now.push(point);
      if (tool.shape === "scale" && this.now.length === 2) {
        this.ends = [this.now[0], this.now[1]];
        this.now = [];
      }
      this.changed();
    }
    this.draw();
  }

  /** @param {Tool | null} tool what is drawn from now on; none for looking about */
  choose(tool) {
    if (this.now.length) this.finish();
    this.tool = tool;
    this.ends = null;
    this.now = [];
    this.draw();
  }

  /** End the line or area whose points are being tapped. */
  finish() {
    const shape = this.tool?.shape;
    const points = this.now;
    this.now = [];
    if (points.length && (shape === "line" || shape === "area")) this.keep(points);
    this.draw();
  }

  /** Leave the line or area that is being tapped. */
  leave() {
    this.now = [];
    this.ends = null;
    this.draw();
    this.changed();
  }

  /** @param {Point[]} points */
  keep(points) {
    if (!this.tool || this.tool.shape === "scale") return;
    const { shape, term, target } = this.tool;
    const why = fault(shape, points);
    if (why) {
      this.say(why);
      return;
    }
    const mark = /** @type {Mark} */ ({ id: crypto.randomUUID(), shape, points, term, target, note: "" });
    this.change((drawing) => drawing.marks.push(mark));
  }

  /** Say how far apart the two ends are. @param {number} mm */
  know(mm) {
    if (!this.ends || !(mm > 0)) return;
    const [from, to] = this.ends;
    this.ends = null;
    this.change((drawing) => { drawing.scale = { from, to, mm }; });
  }

  /** @param {string} id of a mark, or "scale" */
  remove(id) {
    this.change((drawing) => {
      if (id === "scale") drawing.scale = null;
      else drawing.marks = drawing.marks.filter((mark) => mark.id !== id);
    });
  }

  /** @param {(drawing: Drawing) => void} act */
  change(act) {
    this.before.push(structuredClone(this.drawing));
    this.behind = [];
    act(this.drawing);
    this.draw();
    this.changed();
  }

  undo() {
    if (this.now.length) this.now.pop();
    else this.swap(this.before, this.behind);
    this.draw();
    this.changed();
  }

  redo() {
    this.swap(this.behind, this.before);
    this.draw();
    this.changed();
  }

  /** @param {Drawing[]} from @param {Drawing[]} to */
  swap(from, to) {
    const was = from.pop();
    if (!was) return;
    to.push(this.drawing);
    this.drawing = was;
  }

  draw() {
    if (!this.svg.getAttribute("viewBox")) this.frame();
    const pixel = this.pixel();
    this.layers.others.replaceChildren(...this.others.flatMap((drawing) => drawing.marks.flatMap((mark) => this.mark(mark, pixel))));
    const { scale } = this.drawing;
    this.layers.mine.replaceChildren(...(scale ? this.ruler([scale.from, scale.to], `${scale.mm} mm`, pixel) : []), ...this.drawing.marks.flatMap((mark) => this.mark(mark, pixel)));
    this.layers.now.replaceChildren(...this.begun(pixel), ...(this.ends ? this.ruler(this.ends, "?", pixel) : []), ...(this.keys ? this.cross(this.cursor, pixel) : []));
  }

  /** The shape that is being drawn. @param {number} pixel */
  begun(pixel) {
    const shape = this.tool?.shape;
    const dots = this.strokes() ? [] : this.now.map(([x, y]) => s("circle", { class: "dot", cx: x, cy: y, r: 5 * pixel }));
    if (this.now.length < LEAST.line) return dots;
    const d = path(this.now, shape === "area" && !this.strokes());
    return [s("path", { class: "halo", d }), s("path", { class: "ink", d }), ...dots];
  }

  /** @param {Mark} mark @param {number} pixel */
  mark(mark, pixel) {
    const [x, y] = mark.points[Math.floor((mark.points.length - 1) / 2)];
    const word = s("text", { x: x + 0.6 * SIGN * pixel, y: y - 0.5 * SIGN * pixel, "font-size": SIGN * pixel, "stroke-width": 3 * pixel }, this.names(mark));
    const kind = `mark ${mark.term}`;
    if (mark.shape === "point") {
      const r = 0.55 * SIGN * pixel;
      const d = mark.term === "sample" ? path([[x, y - r], [x + r, y + r], [x - r, y + r]], true) : `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0M${x - r} ${y}h${2 * r}M${x} ${y - r}v${2 * r}`;
      return [s("path", { class: "halo", d }), s("path", { class: kind, d }), word];
    }
    const d = path(mark.points, mark.shape === "area");
    return [s("path", { class: `halo${mark.shape === "area" ? " wash" : ""}`, d }), s("path", { class: kind, d }), word];
  }

  /** @param {[Point, Point]} ends @param {string} words @param {number} pixel */
  ruler([from, to], words, pixel) {
    const d = path([from, to], false);
    const ends = [from, to].map(([x, y]) => s("circle", { class: "dot", cx: x, cy: y, r: 4 * pixel }));
    return [s("path", { class: "halo", d }), s("path", { class: "mark scale", d }), ...ends,
      s("text", { x: (from[0] + to[0]) / 2 + SIGN * pixel * 0.6, y: (from[1] + to[1]) / 2, "font-size": SIGN * pixel, "stroke-width": 3 * pixel }, words)];
  }

  /** @param {Point} point @param {number} pixel */
  cross([x, y], pixel) {
    const r = SIGN * pixel;
    const d = `M${x - r} ${y}H${x + r}M${x} ${y - r}V${y + r}`;
    return [s("path", { class: "halo", d }), s("path", { class: "ink", d })];
  }
}
