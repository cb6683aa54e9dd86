// @ts-check
/** The tablet's surface: pages by address after the hash, sending by itself, and what is unsent always in the corner. */
import { h, symbol } from "./dom.js";
import { markPage } from "./marking.js";
import { objectPage } from "./object.js";
import { released } from "../../media/js/finger.js";
import { outboxPage } from "./outbox.js";
import { scanPage } from "./scanning.js";
import { shelfPage } from "./shelf.js";
import { deviceOf, forget, open, remember, remembered, unsentOf } from "./store.js";
import { Stopped, drain, pause, status } from "./sync.js";
import { homePage, takePage } from "./taking.js";

const EVERY = 60_000;
const STALE = 5_000;

export class App {
  /** @param {any} db @param {string} device */
  constructor(db, device) {
    this.db = db;
    this.device = device;
    /** @type {{id: number, name: string} | null} */
    this.user = null;
    this.name = "";
    this.trouble = "";
    /** @type {string | null} */
    this.lastSent = null;
    /** @type {string | null} */
    this.serverTime = null;
    /** @type {string | null} */
    this.version = null;
    this.failures = 0;
    this.notBefore = 0;
    this.saidAt = 0;
    this.comfort = { light: "dim", hand: "right", gloves: false };
    /** @type {string[]} */
    this.addresses = [];
    this.unsent = h("a", { class: "unsent", href: "#/outbox", "aria-live": "polite" });
    this.said = h("p", { class: "said", role: "status", "aria-live": "polite" });
    this.page = /** @type {HTMLElement} */ (document.getElementById("page"));
    this.drawing = Promise.resolve();
    this.wanted = 0;
    this.fresh = false;
  }

  async begin() {
    this.comfort = { ...this.comfort, ...(await remembered(this.db, "comfort")) };
    this.wear();
    [this.user, this.name, this.lastSent] = await Promise.all([
      remembered(this.db, "user"), remembered(this.db, "name").then((name) => name ?? ""), remembered(this.db, "lastSent"),
    ]);
    addEventListener("unhandledrejection", (event) => this.failed(event));
    addEventListener("hashchange", () => this.show(true));
    addEventListener("online", () => { this.failures = 0; this.send(); });
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.send());
    setInterval(() => this.send(), EVERY);
    await this.show(true);
    await this.keepApp();
    this.greet().then(() => this.send());
  }

  /** Draw the page of the address; one drawing at a time, the last one wanted. @param {boolean} [fresh] another page than before */
  show(fresh = false) {
    this.wanted += 1;
    this.fresh ||= fresh;
    const mine = this.wanted;
    this.drawing = this.drawing.then(() => this.draw(mine)).catch((error) => this.say(`This page could not be drawn: ${error.message}`));
    return this.drawing;
  }

  /** @param {number} mine which drawing this is */
  async draw(mine) {
    if (mine !== this.wanted) return;
    const [way, id, more] = location.hash.slice(2).split("/");
    const focused = document.activeElement?.id;
    const old = this.addresses;
    this.addresses = [];
    const pages = { shelf: () => shelfPage(this, id ?? ""), object: () => objectPage(this, id, more), outbox: () => outboxPage(this), take: () => takePage(this), scan: () => scanPage(this, id ?? ""), mark: () => markPage(this, id, more) };
    const parts = await (pages[/** @type {keyof pages} */ (way)] ?? (() => homePage(this)))();
    await released();
    const fresh = this.fresh;
    this.fresh = false;
    this.page.replaceChildren(.../** @type {Node[]} */ (parts.filter(Boolean)));
    for (const address of old) URL.revokeObjectURL(address);
    if (fresh) scrollTo(0, 0);
    if (fresh && performance.now() - this.saidAt > STALE) this.said.textContent = "";
    else if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
    await this.count();
  }

  /** An address for bytes, let go when the page is drawn anew. @param {Blob} bytes */
  address(bytes) {
    const address = URL.createObjectURL(bytes);
    this.addresses.push(address);
    return address;
  }

  /** @param {string} title @param {string} words @param {Node} [more] */
  head(title, words, more) {
    return h("header", { class: "capture-head" }, h("div", {}, h("h1", {}, title), words ? h("p", {}, words) : null, this.said), h("div", { class: "row" }, more, this.unsent));
  }

  /** Suit the surface to the room and the hand; remembered on this tablet. @param {Record<string, any>} change */
  async suit(change) {
    this.comfort = { ...this.comfort, ...change };
    await remember(this.db, "comfort", this.comfort);
    this.wear();
  }

  wear() {
    document.documentElement.dataset.theme = this.comfort.light;
    document.documentElement.classList.toggle("glove", this.comfort.gloves);
    this.page.dataset.hand = this.comfort.hand;
  }

  async count() {
    const { operations, photographs } = await unsentOf(this.db);
    const some = [operations && (operations > 1 ? `${operations} records` : "1 record"), photographs && (photographs > 1 ? `${photographs} photographs` : "1 photograph")];
    const words = operations + photographs ? `${some.filter(Boolean).join(", ")} unsent` : "All sent";
    this.unsent.replaceChildren(symbol(operations + photographs ? "unsent" : "done"), words);
  }

  /** @param {string} words */
  say(words) {
    this.said.textContent = words;
    this.saidAt = performance.now();
  }

  /** A touch that came to nothing. Nothing is half written, so it can be done again. @param {PromiseRejectionEvent} event */
  failed(event) {
    const error = event.reason;
    if (error?.name === "AbortError") return event.preventDefault(); // one request of a transaction that tells why itself
    const full = error?.name === "QuotaExceededError";
    this.say(full ? "This tablet is full: that was not saved, everything before it is. Send what is unsent or take it away in a file, then do it again." : `That was not saved: ${error?.message ?? error}`);
    if (full) event.preventDefault();
  }

  /** @param {string} words */
  saved(words) {
    this.say(words);
    this.count();
    this.send();
  }

  /** Who is at work; each operation keeps it. */
  async who() {
    this.user = await remembered(this.db, "user");
    if (!this.user) throw new Error("Nobody is signed in on this tablet: sign in once while there is a network.");
    return { device: this.device, user: this.user };
  }

  /** @param {any} told by status */
  async signedIn(told) {
    this.user = told.user;
    this.serverTime = told.server_time;
    await remember(this.db, "user", told.user);
  }

  async greet() {
    await status().then((told) => this.signedIn(told)).catch((error) => this.heard(error));
    if (!location.hash || location.hash === "#/") await this.show();
  }

  signInLink() {
    return h("a", { class: "button", href: "/sign-in/?next=/capture/" }, symbol("person"), "Sign in");
  }

  /** Send what is unsent; by itself it pauses longer after each failure. @param {boolean} [asked] by a person */
  async send(asked = false) {
    if (!asked && (!navigator.onLine || Date.now() < this.notBefore)) return;
    const left = await unsentOf(this.db);
    if (!asked && !left.operations && !left.photographs) return;
    try {
      if (await drain(this.db, this.device, this.name, (words) => this.say(words))) {
        Object.assign(this, { trouble: "", failures: 0, lastSent: new Date().toISOString(), notBefore: 0 });
        await remember(this.db, "lastSent", this.lastSent);
        await forget(this.db, Date.now());
        this.say("Everything that can be sent is sent.");
      }
    } catch (error) {
      this.heard(/** @type {Error} */ (error));
    }
    await this.count();
    if (asked || location.hash === "#/outbox") await this.show();
  }

  /** @param {Error} error */
  heard(error) {
    this.failures += 1;
    this.notBefore = Date.now() + pause(this.failures);
    this.trouble = error.message;
    if (error instanceof Stopped) this.say(error.message);
    else throw error;
  }

  /** Keep the app itself for when there is no network; a new version waits for a touch. */
  async keepApp() {
    if (!navigator.serviceWorker) return;
    const kept = await navigator.serviceWorker.register("/capture/worker.js", { scope: "/capture/", type: "classic", updateViaCache: "none" });
    this.version = kept.active ? "kept" : null;
    const offer = () => kept.waiting && navigator.serviceWorker.controller && document.getElementById("update")?.removeAttribute("hidden");
    offer();
    kept.addEventListener("updatefound", () => kept.installing?.addEventListener("statechange", offer));
    document.getElementById("update")?.addEventListener("click", () => kept.waiting?.postMessage("take over"));
    navigator.serviceWorker.addEventListener("controllerchange", () => location.reload());
    navigator.serviceWorker.ready.then(() => { this.version = "kept"; });
  }
}

const db = await open();
await new App(db, await deviceOf(db)).begin();
