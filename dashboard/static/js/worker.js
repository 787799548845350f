// worker.js owns the bench without a line: it keeps the files of the pages and the last bench page, and answers with
// them when the server does not. BASE and FILES stand before this script, put there by the server. Entries are not
// its business: they are kept and sent by the pages.

const KEPT = `solewright ${BASE}`;

// The ticket's page is the same for every ticket, so one copy under this address serves them all.
const TICKET = "/bench/00000000-0000-7000-8000-000000000000";
const SHELLS = ["/bench", "/bench/fitting", TICKET, "/bench/context.json"];

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const kept = await caches.open(KEPT);
    await kept.addAll(FILES);
    await refresh(kept);
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name !== KEPT) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

// A page that opens on line asks for fresh copies, so that they belong to whoever is signed in now.
self.addEventListener("message", (event) => {
  if (event.data === "refresh") event.waitUntil(caches.open(KEPT).then(refresh));
});

async function refresh(kept) {
  await Promise.allSettled(SHELLS.map(async (path) => {
    const answer = await fetch(path, { headers: { "X-Shell": "1" } });
    if (answer.ok && !answer.redirected) await kept.put(path, answer);
  }));
}

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (url.pathname === "/sign-out") {
    event.waitUntil(caches.open(KEPT).then((kept) => Promise.all(SHELLS.map((path) => kept.delete(path)))));
    return;
  }
  if (request.method !== "GET") return;
  if (url.pathname.startsWith(BASE)) event.respondWith(fromKept(request));
  else if (url.pathname === "/bench/context.json") event.respondWith(freshOr(request, url.pathname));
  else if (request.mode === "navigate" && (url.pathname === "/bench" || url.pathname === "/")) event.respondWith(freshOr(request, "/bench"));
  else if (request.mode === "navigate" && url.pathname.startsWith("/bench/")) event.respondWith(freshOr(request, TICKET));
});

async function fromKept(request) {
  const kept = await caches.open(KEPT);
  return (await kept.match(request)) ?? fetch(request);
}

// freshOr answers from the server, or with the copy kept under a path when the server can't be reached.
async function freshOr(request, path) {
  try {
    return await fetch(request);
  } catch (gone) {
    const copy = await (await caches.open(KEPT)).match(path);
    if (copy) return copy;
    throw gone;
  }
}
