// @ts-check
/** Opening an object or a shelf by its label: through the camera, from a photograph, or by typing its number. */
import { h, notice, symbol } from "./dom.js";
import { find, openKnown } from "./shelf.js";

/** @typedef {import("./app.js").App} App */
/** @typedef {import("./types.js").PackObject} PackObject */
/** @typedef {(pixels: Uint8ClampedArray, width: number, height: number, how: {inversionAttempts: string}) => {data: string} | null} Reader */

const READER = new URL("../../media/vendor/jsqr/jsQR.js", import.meta.url).href;
const NAME = /^urn:uuid:([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})$/i;
const EVERY = 150; // milliseconds between two looks
// In turn, since one square may be read at one size and not at another: pixels of the longer side, and how much of the middle.
const LIVE_LOOKS = [{ side: 720, part: 1 }, { side: 720, part: 0.5 }, { side: 960, part: 1 }, { side: 560, part: 0.7 }];
const STILL_SIDES = [1400, 800, 2000]; // a photograph may show the label small or large

/** The reader is large, so it is loaded when it is first wanted. @returns {Promise<Reader>} */
async function reader() {
  await import(READER);
  return /** @type {any} */ (globalThis).jsQR;
}

/** The record that a label names; none if it is no label of ours. @param {string} said */
export const named = (said) => NAME.exec(said.trim())?.[1].toLowerCase() ?? null;

/** @param {App} app @param {string} shelf the shelf that is walked, if one is */
export async function scanPage(app, shelf) {
  const video = /** @type {HTMLVideoElement} */ (h("video", { class: "scanner", muted: true, playsinline: true, "aria-label": "What the camera sees" }));
  const trouble = h("div", {});
  const light = h("button", { class: "button", type: "button", id: "torch", hidden: true, "aria-pressed": "false" }, symbol("theme"), "Light");
  const found = (/** @type {string} */ said) => follow(app, shelf, said);
  watch(video, light, found).catch((/** @type {Error} */ error) => trouble.replaceChildren(notice("caution", "caution", h("p", {}, whyNot(error)))));
  const input = h("input", { type: "file", accept: "image/*", capture: "environment", id: "label-photograph", class: "unseen", onchange: (/** @type {Event} */ event) => still(app, /** @type {HTMLInputElement} */ (event.target), found) });
  return [
    app.head("Which label is before you?", "Hold it in the middle. It opens by itself."),
    h("div", { class: "stack" }, h("div", { class: "scanner-frame" }, video), trouble,
      h("div", { class: "row" }, h("label", { class: "button", for: "label-photograph" }, symbol("photograph"), "Photograph it instead"), input, light),
      byNumber(app, shelf)),
    h("div", { class: "capture-foot" }, h("a", { class: "button main", href: shelf ? `#/shelf/${shelf}` : "#/" }, symbol("previous"), "Back"), h("span", {})),
  ];
}

/** @param {App} app @param {string} shelf */
function byNumber(app, shelf) {
  const number = /** @type {HTMLInputElement} */ (h("input", { id: "typed", maxlength: 120, placeholder: "Number on the object", "aria-label": "Number on the object", required: true, autocomplete: "off" }));
  const submit = (/** @type {Event} */ event) => {
    event.preventDefault();
    lookUp(app, shelf, number.value).catch((/** @type {Error} */ error) => app.say(error.message));
  };
  return h("form", { class: "stack close", onsubmit: submit }, h("h2", {}, "Or type the number"),
    h("div", { class: "look-up" }, number, h("button", { class: "button" }, symbol("search"), "Look it up")));
}

/** What was typed, or read by a reader that types: off a shelf nothing new is noted. @param {App} app @param {string} shelf @param {string} said */
async function lookUp(app, shelf, said) {
  if (named(said)) await follow(app, shelf, said);
  else if (shelf) await find(app, shelf, said);
  else if (!(await openKnown(app, "", said))) app.say(`${said.trim()} is not on this tablet: take its shelf along, or look for it from the shelf on which it stands.`);
}

/**
 * Open what a label names. @param {App} app @param {string} shelf @param {string} said
 * @returns {Promise<boolean>} whether there was anything to open
 */
export async function follow(app, shelf, said) {
  const id = named(said);
  if (!id) {
    app.say("This square is no label of ours.");
    return false;
  }
  const where = await addressOf(app, shelf, id);
  if (where) location.hash = where;
  else app.say("What this label names is not on this tablet: take its shelf along while there is a network, or type its number.");
  return Boolean(where);
}

/** @param {App} app @param {string} shelf @param {string} id */
async function addressOf(app, shelf, id) {
  const [object, place, objects] = await Promise.all([app.db.get("objects", id), app.db.get("shelves", id), app.db.getAll("objects")]);
  if (object) return `#/object/${id}${shelf && object.shelf !== shelf ? `/${shelf}` : ""}`;
  if (place) return `#/shelf/${id}`;
  const inTray = objects.find((/** @type {PackObject} */ each) => each.place === id);
  return inTray ? `#/shelf/${inTray.shelf}` : null;
}

/** @param {Error} error by the name that the standard gives it (Media Capture and Streams) */
function whyNot(error) {
  if (error.name === "NotAllowedError") return "The camera is not allowed here. Allow it in the browser's settings for this page, photograph the label, or type its number.";
  if (error.name === "NotFoundError" || error.name === "TypeError") return "No camera can be used here. Photograph the label, or type its number.";
  return `The camera does not start (${error.message}). Photograph the label, or type its number.`;
}

/**
 * Look through the camera until a label opens or the page is left.
 * @param {HTMLVideoElement} video @param {HTMLElement} light @param {(said: string) => Promise<boolean>} found
 */
async function watch(video, light, found) {
  const [read, stream] = await Promise.all([reader(), navigator.mediaDevices.getUserMedia({ video: { facingMode: { ideal: "environment" }, width: { ideal: 1280 } } })]);
  const stop = () => stream.getTracks().forEach((track) => track.stop());
  try {
    video.srcObject = stream;
    await video.play();
    torch(stream.getVideoTracks()[0], light);
    const canvas = document.createElement("canvas");
    let last = "";
    let turn = 0;
    for (let i = 0; i < 20 && !video.isConnected; i += 1) await pause();
    while (video.isConnected && document.visibilityState === "visible") {
      const said = video.videoWidth ? look(read, canvas, video, video.videoWidth, video.videoHeight, LIVE_LOOKS[turn % LIVE_LOOKS.length]) : null;
      turn += 1;
      if (said && said !== last) {
        last = said;
        if (await found(said)) return;
      }
      await pause();
    }
  } finally {
    stop();
  }
  if (video.isConnected) document.addEventListener("visibilitychange", () => video.isConnected && watch(video, light, found).catch(() => {}), { once: true });
}

const pause = () => new Promise((resolve) => setTimeout(resolve, EVERY));

/** A lamp, where the camera has one. @param {MediaStreamTrack} track @param {HTMLElement} light */
function torch(track, light) {
  if (!(/** @type {any} */ (track.getCapabilities?.())?.torch)) return;
  light.hidden = false;
  light.onclick = () => {
    const on = light.getAttribute("aria-pressed") !== "true";
    light.setAttribute("aria-pressed", String(on));
    track.applyConstraints(/** @type {any} */ ({ advanced: [{ torch: on }] })).catch(() => {});
  };
}

/**
 * What a square in a picture says; none if none is seen.
 * @param {Reader} read @param {HTMLCanvasElement} canvas @param {CanvasImageSource} picture
 * @param {number} width @param {number} height
 * @param {{side: number, part: number}} at the longer side, in pixels, at which it is read, and how much of the middle
 */
function look(read, canvas, picture, width, height, { side, part }) {
  const [wide, high] = [width * part, height * part];
  const scale = Math.min(1, side / Math.max(wide, high));
  canvas.width = Math.round(wide * scale);
  canvas.height = Math.round(high * scale);
  const context = canvas.getContext("2d", { willReadFrequently: true });
  if (!context) return null;
  context.imageSmoothingQuality = "high"; // the plain way leaves edges that jsQR does not follow
  context.drawImage(picture, (width - wide) / 2, (height - high) / 2, wide, high, 0, 0, canvas.width, canvas.height);
  const { data } = context.getImageData(0, 0, canvas.width, canvas.height);
  return read(data, canvas.width, canvas.height, { inversionAttempts: "dontInvert" })?.data ?? null;
}

/** A label on a photograph; the photograph is not kept. @param {App} app @param {HTMLInputElement} input @param {(said: string) => Promise<boolean>} found */
async function still(app, input, found) {
  const [file] = input.files ?? [];
  if (!file) return;
  app.say("Reading the photograph");
  const [read, picture] = await Promise.all([reader(), createImageBitmap(file).catch(() => null)]);
  input.value = "";
  const canvas = document.createElement("canvas");
  for (const side of picture ? STILL_SIDES : []) {
    const said = picture && look(read, canvas, picture, picture.width, picture.height, { side, part: 1 });
    if (said) {
      await found(said);
      return;
    }
  }
  app.say(picture ? "No label was seen on it. Go nearer, hold still, or type the number." : "This is no photograph that can be read here.");
}
