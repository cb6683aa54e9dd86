// @ts-check
/** Buttons that print the page; without script they stay hidden and the browser's own command does it. */
for (const button of document.querySelectorAll("button[data-print]")) {
  button.removeAttribute("hidden");
  button.addEventListener("click", () => window.print());
}
