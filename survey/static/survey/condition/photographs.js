// @ts-check
/** Photographs from the camera are sent as soon as they are taken, and how far they are is shown. Without script the
 * button below the choices sends them. */

document.addEventListener("change", (event) => {
  const input = event.target;
  if (!(input instanceof HTMLInputElement) || input.type !== "file" || !input.files?.length) return;
  input.closest("form")?.matches("[data-photographs]") && input.form?.requestSubmit();
});

document.addEventListener("htmx:beforeRequest", (event) => show(event.target, 0));
document.addEventListener("htmx:xhr:progress", (event) => {
  const { lengthComputable, loaded, total } = /** @type {CustomEvent} */ (event).detail;
  if (lengthComputable && total) show(event.target, loaded / total);
});

/** @param {EventTarget | null} form  @param {number} share  sent so far, 0 to 1 */
function show(form, share) {
  if (!(form instanceof HTMLFormElement) || !form.matches("[data-photographs]")) return;
  const bar = form.querySelector("progress");
  if (!bar) return;
  bar.hidden = false;
  bar.value = share;
}
