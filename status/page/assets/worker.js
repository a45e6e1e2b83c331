// Keeps the page's outfit, never its content: when the station cannot be reached
// the answer is a page that says so.
"use strict";
const GONE = `<!doctype html><html lang="en" data-state="gone"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>noonmark: station gone</title><link rel="stylesheet" href="/page.css"><meta http-equiv="refresh" content="5"></head><body><main><section id="glance"><div class="gone" id="gone"><p class="mode">No word from the station</p><p class="word">Gone</p><p class="do">Do not key up.</p><p class="detail">The station cannot be reached: it is off, out of reach, or noonmark has stopped. This page tries again every 5 s.</p></div></section></main></body></html>`;
const OUTFIT = ["/page.css", "/icon.svg"];
self.addEventListener("install", (e) => {
  self.skipWaiting();
  e.waitUntil(caches.open("outfit").then((c) => c.addAll(OUTFIT)));
});
self.addEventListener("activate", (e) => e.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  if (e.request.mode === "navigate") {
    e.respondWith(fetch(e.request).catch(() => new Response(GONE, { headers: { "Content-Type": "text/html; charset=utf-8" } })));
  } else if (OUTFIT.includes(url.pathname)) {
    e.respondWith(fetch(e.request).then((r) => {
      if (r.ok) { const copy = r.clone(); caches.open("outfit").then((c) => c.put(e.request, copy)); }
      return r;
    }).catch(() => caches.match(e.request)));
  }
});
