// @ts-check
/** The light in the room: as the device has it, light, or dim. Remembered on this device only. */
const KEY = "fettle.theme";
const THEMES = ["system", "light", "dark", "dim"];

/** @returns {string} */
function remembered() {
  try {
    const theme = localStorage.getItem(KEY) ?? "system";
    return THEMES.includes(theme) ? theme : "system";
  } catch {
    return "system"; // storage switched off: the device decides
  }
}

/** @param {string} theme */
function show(theme) {
  if (theme === "system") delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = theme;
}

/** @param {string} theme */
function remember(theme) {
  show(theme);
  try {
    localStorage.setItem(KEY, theme);
  } catch {
    // Storage switched off: it holds for this page.
  }
}

function offer() {
  for (const place of document.querySelectorAll("[data-theme-choice]")) {
    const select = /** @type {HTMLSelectElement} */ (place.querySelector("select"));
    select.value = remembered();
    select.addEventListener("change", () => remember(select.value));
    /** @type {HTMLElement} */ (place).hidden = false;
  }
}

show(remembered());
if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", offer);
else offer();
window.addEventListener("storage", (event) => event.key === KEY && show(remembered()));
