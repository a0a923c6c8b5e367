// Keeps the run card itself at hand, so that a reload without a connection still opens it. Nothing else passes through.
"use strict";

const SHELF = "run-card-1";
const CARD = "/bench/card";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

const keep = async (urls) => {
  const shelf = await caches.open(SHELF);
  const keepOne = async (url) => {
    const answer = await fetch(url, { cache: "reload", credentials: "same-origin" });
    if (answer.ok && !answer.redirected) await shelf.put(url, answer);
  };
  await Promise.all(urls.filter((url) => url !== CARD).map(keepOne));
  await keepOne(CARD); // last: a card that is kept has all that it needs
  // what an earlier version of the card needed goes
  const wanted = new Set(urls.map((url) => new URL(url, self.location).href));
  for (const request of await shelf.keys()) {
    if (!wanted.has(request.url)) await shelf.delete(request);
  }
};

self.addEventListener("message", (event) => {
  if (event.data?.keep) event.waitUntil(keep(event.data.keep).catch(() => undefined));
});

// a server in trouble, or something between that answers for it, is no better than no connection
const cardOrKept = async (request) => {
  const answer = await fetch(request).catch(() => null);
  if (answer && answer.status < 500) return answer;
  return (await caches.match(CARD)) ?? answer ?? Response.error();
};

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (event.request.mode === "navigate") {
    if (url.pathname === CARD) event.respondWith(cardOrKept(event.request));
  } else if (url.pathname.startsWith("/static/")) {
    event.respondWith(caches.match(event.request).then((found) => found ?? fetch(event.request)));
  }
});
