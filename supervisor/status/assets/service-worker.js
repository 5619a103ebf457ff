// Keeps the page's own files, so that it starts without a link and can say so. Never anything that
// the machine says: what is not one of these files is none of its business.

const STORE = "page-1";
const FILES = [
  "./", "manifest.webmanifest",
  "assets/status.css", "assets/hands.css", "assets/parts.css", "assets/plot.css",
  "assets/mark.svg", "assets/mark-old.svg", "assets/mark-trip.svg", "assets/mark-192.png",
  "assets/act.js", "assets/alarm.js", "assets/awake.js", "assets/clock.js", "assets/cues.js",
  "assets/guidance.js", "assets/link.js", "assets/plot.js", "assets/readings.js", "assets/record.js",
  "assets/rules.js", "assets/scales.js", "assets/sound.js", "assets/states.js", "assets/status.js",
  "assets/story.js", "assets/trend.js", "assets/verdict.js", "assets/words.js",
];
const OWN = new Set(FILES.map((file) => new URL(file, self.registration.scope).href));
const PATIENCE_MS = 3000;

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(caches.open(STORE).then((store) => store.addAll(FILES)));
});

self.addEventListener("activate", (event) => {
  const others = caches.keys().then((names) => names.filter((name) => name !== STORE));
  event.waitUntil(others.then((names) => Promise.all(names.map((name) => caches.delete(name)))));
});

self.addEventListener("fetch", (event) => {
  if (event.request.method === "GET" && OWN.has(event.request.url)) event.respondWith(newest(event.request));
});

// From the machine while it answers, so that a new version is there at once.
async function newest(request) {
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.ok) await (await caches.open(STORE)).put(request, answer.clone());
    return answer;
  } catch (error) {
    const kept = await caches.match(request, { ignoreVary: true });
    if (kept) return kept;
    throw error;
  }
}
