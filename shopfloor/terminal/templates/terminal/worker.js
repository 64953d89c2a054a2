/* Kept by the browser for the pages under /floor/. Everything is asked of the network first, and
   no answer that holds anything of the shop is ever kept: only the page for the time without
   network, which is the same for everybody, and what it is drawn with. */

const KEPT = "kerfbook-floor-{{ version }}";
const PAGE = {{ page|safe }};
const ALL = {{ kept|safe }};

addEventListener("install", (event) => {
  const fresh = ALL.map((url) => new Request(url, { cache: "reload", credentials: "omit" }));
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(fresh)).then(() => skipWaiting()));
});

addEventListener("activate", (event) => {
  const old = (name) => name.startsWith("kerfbook-floor-") && name !== KEPT;
  event.waitUntil(caches.keys().then((names) => Promise.all(names.filter(old).map((name) => caches.delete(name)))).then(() => clients.claim()));
});

addEventListener("fetch", (event) => {
  const { request } = event;
  const path = new URL(request.url).pathname;
  const stored = request.mode === "navigate" ? PAGE : ALL.includes(path) && path !== PAGE ? path : null;
  if (stored === null) return;
  event.respondWith(fetch(request).catch(async (problem) => {
    const found = await caches.match(stored, { cacheName: KEPT });
    if (found) return found;
    throw problem;
  }));
});
