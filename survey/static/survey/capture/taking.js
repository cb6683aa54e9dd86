// @ts-check
/** The first page: shelves that are here, taking others along, and whether the tablet is ready. */
import { h, day, fold, notice, size, symbol, tile, tiles } from "./dom.js";
import { readiness } from "./readiness.js";
import { keepPack, remembered } from "./store.js";
import { ask, status } from "./sync.js";

/** @typedef {import("./app.js").App} App */

/** Shelves on this tablet. @param {App} app */
export async function homePage(app) {
  const [pack, shelves, objects] = await Promise.all([remembered(app.db, "pack"), app.db.getAll("shelves"), app.db.getAll("objects")]);
  shelves.sort((/** @type {any} */ a, /** @type {any} */ b) => a.order - b.order);
  const rows = [...shelves, { id: "", name: "Without a shelf", full_name: "Without a shelf" }].map((shelf) => {
    const here = objects.filter((/** @type {any} */ object) => object.shelf === shelf.id);
    const seen = here.filter((/** @type {any} */ object) => object.seen).length;
    return here.length > 0 && h("a", { class: `tile${seen === here.length ? " told" : ""}`, href: `#/shelf/${shelf.id}` },
      symbol(seen === here.length ? "mark-seen" : "place-shelf"),
      h("span", {}, shelf.full_name, h("small", {}, `${seen} of ${here.length} looked at`)));
  });
  const [head, lines] = [app.head("Which shelf?", pack ? packAge(pack) : ""), await readyLines(app, pack)];
  return [head, h("div", { class: "stack" },
    objects.length ? h("nav", { class: "tiles", "aria-label": "Shelves on this tablet" }, ...rows)
      : h("div", { class: "empty" }, symbol("tablet"), h("p", {}, "No shelves are on this tablet yet. Take some along while there is a network.")),
    lines,
    objects.length > 0 && h("a", { class: "button", id: "scan", href: "#/scan/" }, symbol("scan"), "Scan a label"),
    fold("Light, hands and gloves", comfort(app)),
    navigator.onLine && h("a", { class: "button", href: "/survey/" }, symbol("home"), "To the pages at the desk"),
    h("a", { class: "button main", href: "#/take" }, symbol("import"), "Take shelves along"))];
}

const LIGHTS = { dim: "Dim room", dark: "Dark", light: "Light" };

/** How the surface suits the room and the hand. @param {App} app */
function comfort(app) {
  const set = (/** @type {Record<string, any>} */ change) => app.suit(change).then(() => app.show());
  const { light, hand, gloves } = app.comfort;
  return h("div", { class: "stack close" },
    tiles("Light in the room", "narrow", Object.entries(LIGHTS).map(([value, words]) => tile(`light-${value}`, words, () => set({ light: value }), { pressed: light === value }))),
    tiles("Hand", "narrow", [tile("hand-right", "Right hand", () => set({ hand: "right" }), { pressed: hand === "right" }), tile("hand-left", "Left hand", () => set({ hand: "left" }), { pressed: hand === "left" }),
      tile("gloves", "Thick gloves", () => set({ gloves: !gloves }), { pressed: gloves })]));
}

/** @param {any} pack */
function packAge(pack) {
  const days = Math.floor((Date.now() - Date.parse(pack.made_at)) / 86_400_000);
  return `${pack.objects} objects, taken along ${days < 1 ? "today" : days === 1 ? "yesterday" : `${days} days ago`}${pack.round ? `, for “${pack.round.name}”` : ""}.`;
}

/** @param {App} app @param {any} pack */
async function readyLines(app, pack) {
  const lines = await readiness({ serverTime: app.serverTime, user: app.user, pack, version: app.version });
  const wrong = lines.filter((line) => !line.good);
  const list = h("ul", { class: "stack close" }, ...lines.map((line) => h("li", { class: "line" }, symbol(line.good ? "done" : "caution"), line.words)));
  if (!wrong.length) return fold("Ready for the store room", list);
  return notice("caution", "caution", h("h2", {}, "Before you go to the store room"), list);
}

/** Choosing what to take along: asks the server. @param {App} app */
export async function takePage(app) {
  const head = app.head("What do you take along?", "");
  try {
    const { status: code, body } = await ask("/capture/choices/");
    if (code !== 200) throw new Error(body.error);
    return [head, choosing(app, body)];
  } catch (error) {
    return [head, notice("refused", "caution", h("p", {}, /** @type {Error} */ (error).message), app.signInLink()), backHome()];
  }
}

const backHome = () => h("a", { class: "button main", href: "#/" }, symbol("previous"), "Back to the shelves");

/** @param {App} app @param {any} offered */
function choosing(app, offered) {
  const chosen = new Set();
  const total = h("span", {}, "Take along");
  const shelves = offered.shelves.map((/** @type {any} */ shelf) => {
    const button = tile(`take-${shelf.id}`, shelf.full_name, () => {
      if (!chosen.delete(shelf)) chosen.add(shelf);
      button.setAttribute("aria-pressed", String(chosen.has(shelf)));
      const objects = [...chosen].reduce((sum, each) => sum + each.objects, 0);
      total.textContent = chosen.size ? `Take ${chosen.size} shelves along: ${objects} objects` : "Take along";
    }, { small: `${shelf.objects} objects`, pressed: false });
    return button;
  });
  const round = h("select", { id: "round", "aria-label": "Survey round" }, ...offered.rounds.map((/** @type {any} */ each) => h("option", { value: each.id }, each.name)), h("option", { value: "" }, "No round"));
  const go = (/** @type {string[][]} */ query) => take(app, new URLSearchParams([...query, ...(/** @type {HTMLSelectElement} */ (round).value ? [["round", /** @type {HTMLSelectElement} */ (round).value]] : [])]));
  return h("div", { class: "stack" },
    h("div", { class: "field" }, h("label", { for: "round" }, "For which survey round"), round),
    tiles("Shelves", "", shelves),
    ...offered.checklists.map((/** @type {any} */ list) => fold(`Checklist: ${list.name}`, tiles(list.name, "", list.sections.map((/** @type {any} */ each) =>
      tile(`section-${list.id}-${each.section}`, each.section || "Without a section", () => go([["exhibition", list.id], ["section", each.section]]), { small: `${each.objects} objects` }))))),
    h("div", { class: "capture-foot" }, h("a", { class: "button", href: "#/" }, symbol("previous"), "Back"),
      h("button", { class: "button primary main", id: "take", type: "button", onclick: () => chosen.size && go([...chosen].map((each) => ["shelf", each.id])) }, symbol("import"), total)));
}

/** Fetch a pack and its thumbnails, and keep them. @param {App} app @param {URLSearchParams} query */
async function take(app, query) {
  try {
    app.say("Fetching the objects");
    await navigator.storage.persist();
    const told = await status();
    await app.signedIn(told);
    const { status: code, body } = await ask(`/capture/pack/?${query}`);
    if (code !== 200) throw new Error(body.error);
    await keepPack(app.db, body);
    const { sha256, bytes } = body.thumbnails;
    for (const [i, name] of sha256.entries()) {
      app.say(`Photographs to look at: ${i} of ${sha256.length}${bytes ? `, ${size(bytes)} in all` : ""}`);
      await keepThumbnail(app, name);
    }
    app.say(`${body.objects.length} objects are on this tablet, as they were ${day(body.made_at)}.`);
    location.hash = "#/";
  } catch (error) {
    app.say(/** @type {Error} */ (error).message);
  }
}

/** A thumbnail that does not come is no reason to stay at home. @param {App} app @param {string} name */
async function keepThumbnail(app, name) {
  if (await app.db.getKey("thumbnails", name)) return;
  const answer = await fetch(`/photographs/${name}/thumb/`, { credentials: "same-origin" }).catch(() => null);
  if (answer?.ok && answer.headers.get("content-type")?.startsWith("image/")) {
    await app.db.put("thumbnails", await answer.blob(), name);
  }
}

