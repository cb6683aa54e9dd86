// VERSION and SHELL are written before this by the server: the files of the app, and a hash over all of them.
/** The app without a network: a fixed list of files in one cache for each version. Records are never cached here. */

const CACHE = `fettle-capture-${VERSION}`;
const PAGE = "/capture/";

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(SHELL.map((path) => new Request(path, { cache: "reload" })))));
});

self.addEventListener("activate", (event) => {
  const ours = (names) => names.filter((name) => name.startsWith("fettle-capture-") && name !== CACHE);
  event.waitUntil(caches.keys().then((names) => Promise.all(ours(names).map((name) => caches.delete(name)))));
});

// A new version takes over only when the person at work touches “update”.
self.addEventListener("message", (event) => event.data === "take over" && self.skipWaiting());

self.addEventListener("fetch", (event) => {
  const { pathname, origin } = new URL(event.request.url);
  if (event.request.method !== "GET" || origin !== self.location.origin || !SHELL.includes(pathname)) return;
  if (event.request.mode === "navigate" && pathname !== PAGE) return;
  event.respondWith(caches.open(CACHE).then((cache) => cache.match(pathname)).then((kept) => kept ?? fetch(event.request)));
});
