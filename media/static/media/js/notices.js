// @ts-check
/** What a person reads when a part of the page could not be fetched at all: refusals with an answer come from the server. */
const NO_ANSWER = "The server does not answer. Nothing was changed. Look at the network, then try again.";

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
document.addEventListener("htmx:afterSwap", (event) => {
  // A refusal at the head of a long page must be seen where the person is.
  const place = document.getElementById("messages");
  if (event.target === place) place?.scrollIntoView({ block: "nearest" });
});
