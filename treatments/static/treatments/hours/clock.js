// @ts-check
/** A running clock ticks on the page; its truth is the server's row, so a reload shows the same. */
for (const place of document.querySelectorAll("[data-clock-since]")) {
  const { clockSince, clockNow } = /** @type {HTMLElement} */ (place).dataset;
  // The server's clock counts, not the tablet's: only what passed since the page came is measured here.
  const already = Date.parse(clockNow ?? "") - Date.parse(clockSince ?? "");
  const began = performance.now();
  const tick = () => {
    const minutes = Math.max(0, Math.floor((already + performance.now() - began) / 60_000));
    place.textContent = `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
  };
  if (Number.isFinite(already)) {
    tick();
    setInterval(tick, 5_000);
    // A tablet that slept shows the right time as soon as it wakes.
    document.addEventListener("visibilitychange", () => document.hidden || location.reload());
  }
}
