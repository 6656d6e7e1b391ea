// Opens the form of a summer walk again where there is no signal. Keeps that form and what draws it, nothing else.
const KEPT = "forbcast-walks";
const WALK = /^\/projects\/[0-9a-f-]{36}\/walk\/\d{4}\/$/;
const DRAWN = /^\/static\/dashboard\/[a-z.]+$/;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

const fresh = async (request) => {
  const answer = await fetch(request);
  if (answer.ok && !answer.redirected) (await caches.open(KEPT)).put(request.url, answer.clone());
  return answer;
};

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const path = new URL(request.url).pathname;
  if (request.method === "POST" && path === "/sign-out/") {
    // Whoever uses this device next shall not find the forms.
    event.waitUntil(caches.delete(KEPT));
    return;
  }
  if (request.method !== "GET" || !(WALK.test(path) || DRAWN.test(path))) return;
  event.respondWith(
    fresh(request).catch(async () => (await caches.match(request.url, { ignoreVary: true })) || Response.error()),
  );
});
