// @ts-check
/** Two quick touches are both saved; the page must then show what the later one left, whichever answer comes last.
 * An answer waits while a finger is on the page: what it is about to touch would be gone before it is lifted. */
import { released } from "../../media/js/finger.js";

/** @type {WeakMap<XMLHttpRequest, number>} */
const order = new WeakMap();
let asked = 0;
let shown = 0;

document.addEventListener("htmx:beforeRequest", (event) => {
  const { xhr } = /** @type {CustomEvent} */ (event).detail;
  order.set(xhr, ++asked);
  const answered = xhr.onload;
  xhr.onload = (/** @type {ProgressEvent} */ loaded) => released().then(() => answered.call(xhr, loaded));
});
document.addEventListener("htmx:beforeSwap", (event) => {
  const { detail } = /** @type {CustomEvent} */ (event);
  const number = order.get(detail.xhr) ?? asked;
  if (number < shown) detail.shouldSwap = false;
  else shown = number;
});
document.addEventListener("htmx:beforeSwap", (event) => {
  const { detail } = /** @type {CustomEvent} */ (event);
  // Signed out meanwhile: the whole page must become the sign-in page, which leads back here.
  if (new URL(detail.xhr.responseURL).pathname.startsWith("/sign-in/")) {
    detail.shouldSwap = false;
    location.reload();
  }
});
document.addEventListener("htmx:beforeHistoryUpdate", (event) => {
  const { detail } = /** @type {CustomEvent} */ (event);
  // A refused touch leaves the person where they were, also for a reload.
  if (detail.xhr.status >= 400) Object.assign(detail.history, { type: "replace", path: location.pathname + location.search });
});
