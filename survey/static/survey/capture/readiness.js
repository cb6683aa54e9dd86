// @ts-check
/** Whether this tablet is ready for a store without a network, in words. */

/**
 * @param {{serverTime: string | null, user: any, pack: any, version: string | null}} known
 * @returns {Promise<{good: boolean, words: string}[]>}
 */
export async function readiness({ serverTime, user, pack, version }) {
  const lines = [];
  const add = (/** @type {boolean} */ good, /** @type {string} */ yes, /** @type {string} */ no) => lines.push({ good, words: good ? yes : no });
  add(isSecureContext, "The address is secure.", "The address is not secure (https): a browser then keeps no app for later. Ask for the secure address.");
  add(Boolean(version), "The app is kept on this tablet.", "The app is not kept on this tablet yet. Stay on this page until it is, or load it again.");
  const kept = isSecureContext && (await navigator.storage.persisted());
  add(kept, "The browser has promised to keep what is stored.", "The browser has not promised to keep what is stored. Install the app on the home screen, and send at the end of each day.");
  const { quota = 0, usage = 0 } = isSecureContext ? await navigator.storage.estimate() : {};
  const free = (quota - usage) / 1e9;
  add(free > 3, `Room for about ${Math.round((quota - usage) / 3e6)} photographs.`, `Little room: ${free.toFixed(1)} GB, about ${Math.round((quota - usage) / 3e6)} photographs.`);
  add(Boolean(user), `Signed in as ${user?.name}.`, "Nobody is signed in on this tablet: sign in once before you go.");
  add(Boolean(pack), `${pack?.objects} objects are on this tablet.`, "No shelves are on this tablet yet.");
  if (serverTime) {
    const minutes = Math.round((Date.now() - Date.parse(serverTime)) / 60_000);
    add(Math.abs(minutes) < 5, "Its clock agrees with the server's.", `Its clock is ${Math.abs(minutes)} minutes ${minutes > 0 ? "ahead of" : "behind"} the server's. Times are mended when you send; set it right all the same.`);
  }
  const battery = await /** @type {any} */ (navigator).getBattery?.();
  if (battery) {
    const charge = Math.round(battery.level * 100);
    add(battery.charging || charge >= 50, `Battery at ${charge} %.`, `Battery at ${charge} % only: charge it first.`);
  }
  return lines;
}
