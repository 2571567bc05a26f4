// @ts-check
/// <reference lib="webworker" />
// Keeps the bench usable while there is no network: the page, its files and its drawings. What people do
// is kept by the page itself. The server puts the names of this edition's files in front of this text.
/* global files, edition, benchAddress, drawingsAddress */

const worker = /** @type {ServiceWorkerGlobalScope} */ (/** @type {unknown} */ (self));
const cacheName = "rinsate-" + edition;

worker.addEventListener("install", (event) => {
  event.waitUntil(caches.open(cacheName).then((cache) => cache.addAll(files)).then(() => worker.skipWaiting()));
});

worker.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("rinsate-") && name !== cacheName) await caches.delete(name);
    await worker.clients.claim();
    // The page that registered this worker came before it.
    const cache = await caches.open(cacheName);
    const page = await fetch(benchAddress).catch(() => undefined);
    if (page?.ok && !page.redirected) await cache.put(benchAddress, page);
  })());
});

worker.addEventListener("fetch", (event) => {
  const { request } = event;
  const path = new URL(request.url).pathname;
  if (request.method !== "GET" || new URL(request.url).origin !== location.origin) return;
  if (files.includes(path)) event.respondWith(cached(request));
  else if (request.mode === "navigate" && path === benchAddress) event.respondWith(fresh(request, benchAddress));
  else if (path.startsWith(drawingsAddress)) event.respondWith(fresh(request, path));
});

/** @param {Request} request */
async function cached(request) {
  return (await caches.match(request)) ?? fetch(request);
}

/** Asks the server, and answers what it said last when it cannot be reached. @param {Request} request @param {string} key */
async function fresh(request, key) {
  const cache = await caches.open(cacheName);
  try {
    const answer = await fetch(request);
    if (answer.ok && !answer.redirected) await cache.put(key, answer.clone());
    return answer;
  } catch (error) {
    const last = await cache.match(key);
    if (last) return last;
    throw error;
  }
}
