// @ts-check
/** Elements without a template engine: text is always text, so nothing that came from outside is read as markup. */

const SYMBOLS = new URL("../../media/symbols.svg", import.meta.url).pathname;
const SIGNS = new URL("../condition/signs.svg", import.meta.url).pathname;
const SVG = "http://www.w3.org/2000/svg";

/**
 * @param {string} tag @param {Record<string, any>} [attributes] `on…` are listeners, true and false set or leave out
 * @param {...(Node | string | null | undefined | false)} inner
 * @returns {HTMLElement}
 */
export function h(tag, attributes = {}, ...inner) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name.startsWith("aria-") && value !== null && value !== undefined) element.setAttribute(name, String(value));
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, String(value));
  }
  element.append(...inner.filter((each) => each !== null && each !== undefined && each !== false && each !== ""));
  return element;
}

/** A drawing beside a word. @param {string} name @param {string} [size] */
export const symbol = (name, size = "") => drawing(`${SYMBOLS}#${name}`, size);

/** The drawing of a sign. @param {string} code */
export const signDrawing = (code) => drawing(`${SIGNS}#sign-${code}`, "");

/** @param {string} href @param {string} size */
function drawing(href, size) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("class", `symbol ${size}`.trim());
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS(SVG, "use");
  use.setAttribute("href", href);
  svg.append(use);
  return svg;
}

const BOUNCE = 250; // milliseconds: two touches of one target within them are one, by a glove

/**
 * A whole answer under one touch.
 * @param {string} id @param {string} words @param {() => void} act
 * @param {{small?: string, draw?: Node, pressed?: boolean, kind?: string}} [more]
 */
export function tile(id, words, act, { small, draw, pressed, kind = "" } = {}) {
  let last = -Infinity;
  const onclick = (/** @type {MouseEvent} */ event) => {
    if (event.timeStamp - last < BOUNCE) return;
    last = event.timeStamp;
    act();
  };
  return h("button", { class: `tile ${kind}`.trim(), id, type: "button", "aria-pressed": pressed ?? null, onclick },
    draw, h("span", {}, words, small ? h("small", {}, small) : null));
}

/** @param {string} legend @param {string} kind @param {(Node | null | false)[]} tiles */
export const tiles = (legend, kind, tiles) =>
  h("div", { class: `tiles ${kind}`.trim(), role: "group", "aria-label": legend }, ...tiles);

/** @param {string} kind @param {string} drawn @param {...(Node | string)} inner */
export const notice = (kind, drawn, ...inner) =>
  h("div", { class: `notice ${kind}`, role: kind === "refused" ? "alert" : "note" }, symbol(drawn), h("div", { class: "stack close" }, ...inner));

/** @param {string} words @param {...Node} inner */
export const fold = (words, ...inner) => h("details", { class: "fold" }, h("summary", {}, words), ...inner);

/** @param {string} iso */
export const day = (iso) => new Date(iso).toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric" });

/** @param {number} bytes */
export const size = (bytes) => (bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))}\u00a0kB` : `${(bytes / 1e6).toFixed(1)}\u00a0MB`);
