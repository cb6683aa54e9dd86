// @ts-check
/** What has not left this tablet: sending it, taking it away in a file, and what the server said. */
import { h, day, notice, symbol } from "./dom.js";
import { SCHEMA_VERSION } from "./operations.js";
import { remember, unsentOf } from "./store.js";
import { zip } from "./zip.js";

/** @typedef {import("./app.js").App} App */

/** @param {App} app */
export async function outboxPage(app) {
  const left = await unsentOf(app.db);
  const refused = (await app.db.getAllFromIndex("outbox", "state", "refused")).map((/** @type {any} */ kept) => h("li", {}, `${day(kept.operation.wall_clock)}: ${kept.answer.reason}`));
  const lost = (await app.db.getAllFromIndex("photographs", "state", "refused")).map((/** @type {any} */ row) => h("li", {}, `A photograph: ${row.reason}`));
  const days = left.oldest ? Math.floor((Date.now() - Date.parse(left.oldest)) / 86_400_000) : 0;
  const name = /** @type {HTMLInputElement} */ (h("input", { id: "name", maxlength: 80, value: app.name, onchange: async () => { app.name = name.value; await remember(app.db, "name", name.value); } }));
  return [
    app.head("What is still on this tablet?", `${left.operations} records and ${left.photographs} photographs not sent${left.drafts ? `, ${left.drafts} begun` : ""}.`),
    h("div", { class: "stack" },
      days >= 3 && notice("caution", "caution", h("p", {}, `The oldest is ${days} days old. Send today, or take it away in a file.`)),
      app.trouble && notice("refused", "caution", h("p", {}, app.trouble), app.signInLink()),
      h("button", { class: "button primary main", id: "send", type: "button", onclick: () => app.send(true) }, symbol("export"), "Send now"),
      h("p", {}, app.lastSent ? `Last sent ${day(app.lastSent)}, ${new Date(app.lastSent).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" })}.` : "Nothing was sent from this tablet yet."),
      refused.length + lost.length > 0 && notice("refused", "caution", h("h2", {}, "The server could not read these; they stay here"), h("ul", {}, ...refused, ...lost)),
      h("button", { class: "button main", id: "export", type: "button", onclick: () => exported(app).catch((/** @type {Error} */ error) => app.say(error.message)) }, symbol("tablet"), "Take it away in a file"),
      h("p", {}, "The file can be loaded on any computer under “Load a tablet's file”. Loading twice does no harm."),
      h("div", { class: "field" }, h("label", { for: "name" }, "What this tablet is called"), name)),
    h("div", { class: "capture-foot" }, h("span", {}), h("a", { class: "button main", href: "#/" }, symbol("previous"), "Back to the shelves")),
  ];
}

/** Everything unsent in one file. @param {App} app */
async function exported(app) {
  const kept = (await app.db.getAll("outbox")).filter((/** @type {any} */ each) => each.state !== "sent");
  const photographs = await app.db.getAllFromIndex("photographs", "state", "unsent");
  const manifest = { schema_version: SCHEMA_VERSION, device: app.device, name: app.name, sent_at: new Date().toISOString(), operations: kept.map((/** @type {any} */ each) => each.operation) };
  const file = await zip([
    { name: "manifest.json", bytes: new Blob([JSON.stringify(manifest)]) },
    ...photographs.map((/** @type {any} */ row) => ({ name: `photographs/${row.sha256}`, bytes: row.bytes })),
  ]);
  const link = /** @type {HTMLAnchorElement} */ (h("a", { href: URL.createObjectURL(file), download: `tablet-${app.device.slice(0, 8)}-${new Date().toISOString().slice(0, 10)}.zip` }));
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}
