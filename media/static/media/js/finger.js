// @ts-check
/** Whether a finger is on the page: what it is about to touch must not be drawn anew under it, or the touch is lost. */

const CLICK = 80; // milliseconds after the finger is lifted within which its click comes
const LONGEST = 1_500;
let lifted = Promise.resolve();
let lift = () => {};

addEventListener("pointerdown", () => {
  lift();
  lifted = new Promise((resolve) => {
    lift = resolve;
    setTimeout(resolve, LONGEST); // a finger that rests there, or one whose lifting nobody told of
  });
}, { capture: true, passive: true });
addEventListener("pointerup", () => setTimeout(lift, CLICK), { capture: true, passive: true });
addEventListener("pointercancel", () => lift(), { capture: true, passive: true });
addEventListener("click", () => setTimeout(lift), { capture: true, passive: true });

/** Once no finger is on the page. @returns {Promise<void>} */
export const released = () => lifted;
