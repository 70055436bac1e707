// Keeps the shell of the app for offline use. It never touches /api and holds no data.
//
// All or nothing: a version is installed when every file of its manifest is there with the right SHA-256. Each version has a cache of
// its own and this worker serves the page, and everything without a hash in its name, from its own cache only. Caches of earlier
// versions stay for a while, for a page that is still open may ask for its files.

const SHELL = {{manifest}};
const PREFIX = "witnessmark-shell-";
const OWN = PREFIX + SHELL.build;
const INDEX = "/index.html";
const FILES = new Map(SHELL.files.map((file) => [file.url, file.sha256]));

async function sha256(bytes) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

async function isRight(response, wanted) {
  return (await sha256(await response.clone().arrayBuffer())) === wanted;
}

// What an earlier version has already brought over a bad connection is not fetched again.
async function fromEarlier(url, wanted) {
  const found = await caches.match(url);
  return found && (await isRight(found, wanted)) ? found : undefined;
}

async function fromServer(url, wanted) {
  const response = await fetch(url, { cache: "no-cache", redirect: "error", credentials: "same-origin" });
  if (!response.ok) throw new Error(`${url}: status ${response.status}`);
  if (!(await isRight(response, wanted))) throw new Error(`${url}: not the bytes of build ${SHELL.build}`);
  return response;
}

async function install() {
  try {
    const found = await Promise.all(
      SHELL.files.map(async ({ url, sha256: wanted }) => [url, (await fromEarlier(url, wanted)) ?? (await fromServer(url, wanted))])
    );
    const cache = await caches.open(OWN);
    await Promise.all(found.map(([url, response]) => cache.put(url, response)));
  } catch (refused) {
    await caches.delete(OWN);
    throw refused;
  }
}

// `keys` gives caches in the order of their making. Two others stay: a version that waited and was overtaken lies between this one
// and the one whose page may still be open.
const OTHERS_KEPT = 2;

async function tidy() {
  const others = (await caches.keys()).filter((name) => name.startsWith(PREFIX) && name !== OWN);
  await Promise.all(others.slice(0, -OTHERS_KEPT).map((name) => caches.delete(name)));
}

async function page(request) {
  const url = new URL(request.url).pathname;
  const own = await caches.open(OWN);
  return (await own.match(FILES.has(url) ? url : INDEX)) ?? fetch(request);
}

async function file(request, url) {
  const own = await caches.open(OWN);
  // A name with a hash is the same in every version; the page of the version before may still ask for one of its own.
  const found = (await own.match(url)) ?? (url.startsWith("/assets/") ? await caches.match(url) : undefined);
  return found ?? fetch(request);
}

self.addEventListener("install", (event) => event.waitUntil(install()));

self.addEventListener("activate", (event) => {
  event.waitUntil(tidy().then(() => self.clients.claim()));
});

self.addEventListener("message", (event) => {
  if (event.data?.kind === "take-over") self.skipWaiting();
  if (event.data?.kind === "which-build") event.source?.postMessage({ kind: "build", build: SHELL.build });
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  // Pages of the server's own: the shell has nothing to say there.
  if (url.pathname === "/verifier.html" || url.pathname.startsWith("/.well-known/")) return;
  if (url.pathname === "/api" || url.pathname.startsWith("/api/")) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (FILES.has(url.pathname) || url.pathname.startsWith("/assets/")) event.respondWith(file(request, url.pathname));
});
