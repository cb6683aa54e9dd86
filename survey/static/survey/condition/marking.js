// @ts-check
/** Drawing on a photograph at the desk: the panel, keeping what is drawn, and asking before it is lost. */
import { Panel } from "../../media/markup/panel.js";

const page = /** @type {HTMLElement} */ (document.querySelector("[data-markup]"));
const data = JSON.parse(document.getElementById("markup-data")?.textContent ?? "{}");
const button = /** @type {HTMLButtonElement | null} */ (document.getElementById("save-markup"));
const said = document.getElementById("markup-said");
let unsaved = false;

const panel = new Panel({
  ...data,
  changed: () => {
    unsaved = true;
    if (button) button.disabled = false;
    if (said) said.textContent = "Not kept yet.";
  },
});
page.replaceChildren(panel.element);
if (page.dataset.may !== "yes") panel.element.classList.add("only-look");
// An old version is shown so that it can be made to stand again.
if (new URLSearchParams(location.search).has("version") && button) button.disabled = false;

addEventListener("beforeunload", (event) => unsaved && event.preventDefault());

button?.addEventListener("click", async () => {
  button.disabled = true;
  try {
    const drawing = panel.drawing();
    const body = JSON.stringify({ drawing, after: data.after, into_record: panel.taken().map(({ part }) => part.id) });
    const answer = await fetch(data.save, { method: "POST", body, headers: { "content-type": "application/json", "x-csrftoken": page.dataset.token ?? "" }, credentials: "same-origin", redirect: "error" });
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.error);
    unsaved = false;
    location.assign(location.pathname);
  } catch (error) {
    button.disabled = false;
    if (said) said.textContent = error instanceof TypeError || error instanceof SyntaxError ? "It could not be sent: it is still here, try again. If that goes on, sign in in another window." : /** @type {Error} */ (error).message;
  }
});
