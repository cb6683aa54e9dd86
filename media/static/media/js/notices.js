// @ts-check
/** What a person reads when the server gave no line of its own; its own lines are swapped in from `#what-happened`. */
const NO_ANSWER = "The server does not answer. Look at the network, load the page again to see what is saved, then try again.";
const NO_WORDS = "The server could not do this. Load the page again to see what is saved, then try again.";

/** @param {string} words */
function say(words) {
  const place = document.getElementById("messages");
  if (!place) return;
  const notice = document.createElement("div");
  notice.className = "notice refused";
  notice.setAttribute("role", "alert");
  const line = document.createElement("p");
  line.textContent = words;
  notice.append(line);
  place.replaceChildren(notice);
}

document.addEventListener("htmx:sendError", () => say(NO_ANSWER));
document.addEventListener("htmx:timeout", () => say(NO_ANSWER));
document.addEventListener("htmx:beforeSwap", (event) => {
  const { detail } = /** @type {CustomEvent} */ (event);
  if (!detail.isError && !detail.boosted && /^\s*<!doctype html/i.test(detail.serverResponse)) {
    // A whole page where a part was asked for: a redirect, or the sign-in after a long pause. Go there.
    detail.shouldSwap = false;
    location.assign(detail.xhr.responseURL);
    return;
  }
  if (!detail.isError || detail.serverResponse.includes('id="what-happened"')) return;
  detail.shouldSwap = false;
  say(NO_WORDS);
});
document.addEventListener("htmx:afterSwap", (event) => {
  // A refusal at the head of a long page must be seen where the person is.
  const place = document.getElementById("messages");
  if (event.target === place) place?.scrollIntoView({ block: "nearest" });
});
