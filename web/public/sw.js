// Keeps the shell of the app for offline use. It never touches /api and holds no data.
//
// All or nothing: a version is installed when every file of its manifest is there with the right SHA-256; only what is merely looked at
// may be missing. What forbids an installation is told to the page. Each version has a cache of its own and this worker serves the page,
// and everything without a hash in its name, from its own cache only. Caches of earlier versions stay for a while, for a page that is
// still open may ask for its files.

const SHELL = {{manifest}};
const PREFIX = "witnessmark-shell-";
const OWN = PREFIX + SHELL.build;
const INDEX = "/index.html";
const FILES = new Map(SHELL.files.map((file) => [file.url, file.sha256]));

async function sha256(bytes) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// Why this version cannot be kept: the file, and a ground that the page has words for.
class Refused extends Error {
  constructor(file, ground) {
    super(`${file}: ${ground}`);
    this.file = file;
    this.ground = ground;
  }
}

// What an earlier version has already brought over a bad connection is not fetched again.
async function fromEarlier(url, wanted) {
  const found = await caches.match(url);
  return found && (await sha256(await found.clone().arrayBuffer())) === wanted ? found : undefined;
}

// A browser opens no page from an answer that came through a redirect, and what was unpacked on the way is not packed any more.
function clean(response, bytes) {
  const headers = new Headers(response.headers);
  for (const name of ["content-encoding", "content-length"]) headers.delete(name);
  return new Response(bytes, { headers });
}

// Followed to wherever on this server it leads: the bytes prove themselves. Elsewhere it is never followed.
async function fromServer(url, wanted) {
  const how = { cache: "no-cache", credentials: "same-origin", mode: "same-origin" };
  let response;
  try {
    response = await fetch(url, how);
  } catch {
    const kind = await fetch(url, { ...how, redirect: "manual" }).then(({ type }) => type, () => "");
    throw new Refused(url, kind === "opaqueredirect" ? "elsewhere" : "unreachable");
  }
  if (!response.ok) throw new Refused(url, `status ${response.status}`);
  const bytes = await response.arrayBuffer().catch(() => {
    throw new Refused(url, "unreachable");
  });
  if ((await sha256(bytes)) !== wanted) throw new Refused(url, response.redirected ? "redirect" : "bytes");
  return clean(response, bytes);
}

async function brought({ url, sha256: wanted, optional }) {
  try {
    return [url, (await fromEarlier(url, wanted)) ?? (await fromServer(url, wanted))];
  } catch (refused) {
    if (!optional) throw refused;
    console.warn(`not stored: ${refused.message}`);
    return undefined;
  }
}

async function tell({ file = "", ground = "", name }) {
  const message = { kind: "not-stored", file, ground: name === "QuotaExceededError" ? "full" : ground };
  for (const page of await self.clients.matchAll({ includeUncontrolled: true, type: "window" })) page.postMessage(message);
}

async function install() {
  try {
    const found = (await Promise.all(SHELL.files.map(brought))).filter(Boolean);
    const cache = await caches.open(OWN);
    await Promise.all(found.map(([url, response]) => cache.put(url, response)));
  } catch (refused) {
    await caches.delete(OWN);
    await tell(refused);
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
