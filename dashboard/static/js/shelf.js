// shelf.js owns what a tablet keeps: tickets that were begun, and the requests that wait to be sent. It is the only
// module that knows IndexedDB. What is put here survives a reload, a dead line and a flat battery.

const NAME = "solewright", VERSION = 3;

// What each store goes by; a store that an older tablet lacks is made.
const STORES = { tickets: "id", outbox: "url", models: "model_id", photos: "sha", fittings: "id" };

let opening;

function open() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      for (const [name, keyPath] of Object.entries(STORES)) {
        if (!request.result.objectStoreNames.contains(name)) request.result.createObjectStore(name, { keyPath });
      }
    };
    request.onsuccess = () => {
      request.result.onversionchange = () => { request.result.close(); opening = undefined; }; // a newer page makes room for more
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
  });
  return opening;
}

// run does one thing in one store and waits until it is on the disk, not only asked for.
async function run(store, mode, act) {
  const db = await open();
  return new Promise((resolve, reject) => {
    const deal = db.transaction(store, mode, { durability: mode === "readwrite" ? "strict" : "default" });
    const request = act(deal.objectStore(store));
    deal.oncomplete = () => resolve(request.result);
    deal.onerror = deal.onabort = () => reject(deal.error);
  });
}

// A ticket is written twice: at once where a page that is leaving can still write, and then to the database. The
// first copy is taken back when the second is on the disk.
const AHEAD = "solewright.ticket.";

async function putTicket(ticket) {
  const text = JSON.stringify(ticket), name = AHEAD + ticket.id;
  try { localStorage.setItem(name, text); } catch { /* it is full or switched off: the database has to do */ }
  await run("tickets", "readwrite", (s) => s.put(ticket));
  if (localStorage.getItem(name) === text) localStorage.removeItem(name);
}

// takeUp brings into the database what a page could only write ahead.
async function takeUp() {
  for (const name of Object.keys(localStorage).filter((n) => n.startsWith(AHEAD))) await putTicket(JSON.parse(localStorage.getItem(name)));
}

const shelf = (store) => ({
  get: (key) => run(store, "readonly", (s) => s.get(key)),
  all: () => run(store, "readonly", (s) => s.getAll()),
  put: (value) => run(store, "readwrite", (s) => s.put(value)),
  delete: (key) => run(store, "readwrite", (s) => s.delete(key)),
});

// tickets by id; outbox by address; models are the shoe models this tablet has met, for when the line is down; photos
// by their hash, until they are sent; fittings holds the one that is open.
export const tickets = { ...shelf("tickets"), put: putTicket };
export const outbox = shelf("outbox");
export const models = shelf("models");
export const photos = shelf("photos");
export const fittings = shelf("fittings");

await takeUp();
