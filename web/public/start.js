// Starts the app and keeps the service worker. Which glue, which wasm and which words belong together is written into the page itself, so that
// this file never pairs two builds.

const root = document.documentElement;
const HOUR_MS = 3_600_000;
const TAKE_OVER_MS = 5_000;
const WANTED_MS = 2_000;

let isLeft = false;
addEventListener("pagehide", () => { isLeft = true; });
addEventListener("pageshow", () => { isLeft = false; });

// The app offers it where it says why; the browser would do so at a moment of its own.
addEventListener("beforeinstallprompt", (offer) => {
  offer.preventDefault();
  window.witnessmarkInstall = offer;
});

function failed(what) {
  window.dispatchEvent(new CustomEvent("witnessmark:failed", { detail: String(what) }));
}

// Streaming wants the right media type; where a proxy changed it, the bytes are fetched again and looked at first.
async function wasmBytes(address) {
  const response = await fetch(address);
  if (!response.ok) throw new Error(`${address}: status ${response.status}`);
  const bytes = await response.arrayBuffer();
  const head = new Uint8Array(bytes, 0, Math.min(4, bytes.byteLength));
  if (String(head) !== "0,97,115,109") throw new Error(`${address}: ${bytes.byteLength} bytes that are no wasm`);
  return bytes;
}

// Of the language that watchdog.js has found in use; others are fetched when somebody chooses one.
async function wordsOfTheApp() {
  const address = root.getAttribute(`data-words-${root.lang}`);
  let response = await Promise.resolve(window.witnessmarkWords).catch(() => undefined);
  if (!response?.ok) response = await fetch(address);
  if (!response.ok) throw new Error(`${address}: status ${response.status}`);
  return response.text();
}

// Screens of the office and the design sheet: no first screen needs it, and nobody should wait for it on a bad connection.
addEventListener("witnessmark:alive", () => {
  const later = document.createElement("link");
  later.rel = "stylesheet";
  later.href = root.dataset.cssLater;
  document.head.append(later);
}, { once: true });

async function startApp() {
  const lang = root.lang;
  const [glue, words] = await Promise.all([import(root.dataset.js), wordsOfTheApp()]);
  try {
    await glue.default({ module_or_path: window.witnessmarkModule ?? root.dataset.wasm });
  } catch (refused) {
    console.warn("wasm was refused, once more from its bytes", refused);
    await glue.default({ module_or_path: await wasmBytes(root.dataset.wasm) });
  }
  // Left before it began: it must not make its database now, for it may fall asleep over it.
  if (isLeft) await new Promise((resolve) => addEventListener("pageshow", resolve, { once: true }));
  if (!glue.start(lang, words)) throw new Error(`words-${lang}: the words of another build`);
}

function tellUpdate() {
  root.setAttribute("data-update", "");
  window.dispatchEvent(new CustomEvent("witnessmark:update-ready"));
}

// Resolves once another worker is in charge, or after a while: a reload then shows whatever is in charge.
function changeOfWorker() {
  return new Promise((resolve) => {
    navigator.serviceWorker.addEventListener("controllerchange", resolve, { once: true });
    setTimeout(resolve, TAKE_OVER_MS);
  });
}

function watch(registration) {
  const waits = () => {
    // Without a controller this is the first installation, and nothing old is in charge.
    if (registration.waiting && navigator.serviceWorker.controller) tellUpdate();
  };
  registration.addEventListener("updatefound", () => {
    registration.installing?.addEventListener("statechange", waits);
  });
  waits();
  const look = () => registration.update().catch(() => {});
  setInterval(look, HOUR_MS);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") look();
  });
  window.addEventListener("witnessmark:take-over", async () => {
    const changed = changeOfWorker();
    registration.waiting?.postMessage({ kind: "take-over" });
    await changed;
    location.reload();
  });
}

// A page that was left is to end and not to sleep: asleep it may hold the database. Some browsers put no page to sleep that holds a
// lock; others end the sleeping one as soon as somebody wants its lock. A page that is awake does not notice.
const PAGE = "witnessmark-page-";

async function endSleepers() {
  const { held } = await navigator.locks.query();
  for (const { name } of held.filter(({ name }) => name.startsWith(PAGE))) {
    navigator.locks.request(name, { signal: AbortSignal.timeout(WANTED_MS) }, () => {}).catch(() => {});
  }
  await navigator.locks.request(PAGE + crypto.randomUUID(), () => new Promise(() => {}));
}

if (navigator.locks) endSleepers().catch((refused) => console.warn("no locks", refused));

// Whether this device holds the app: "asked" while it is being stored, "stored" when it opens without a network, "refused" with the file and
// the ground. The app tells it where somebody is about to rely on it.
const shell = (window.witnessmarkShell = { state: "asked", file: "", ground: "" });
const AGAIN_FIRST_MS = 5_000;
const AGAIN_MAX_MS = 600_000;
const WORKER = "/sw.js";
let againMs = AGAIN_FIRST_MS;
let againTimer = 0;
let isAsking = false;
let watched;

function shellIs(state, file = "", ground = "") {
  Object.assign(shell, { state, file, ground });
  window.dispatchEvent(new CustomEvent("witnessmark:shell"));
}

// What the browser refuses as a worker without saying why.
async function groundOfWorker() {
  try {
    const response = await fetch(WORKER, { cache: "no-store", redirect: "manual" });
    if (response.type === "opaqueredirect") return "redirect";
    if (!response.ok) return `status ${response.status}`;
    return /javascript/.test(response.headers.get("content-type") ?? "") ? "" : "bytes";
  } catch {
    return "unreachable";
  }
}

const isOver = (worker) => worker.state === "activated" || worker.state === "redundant";

function endOf(worker) {
  return new Promise((resolve) => {
    const look = () => isOver(worker) && resolve(worker.state);
    worker.addEventListener("statechange", look);
    look();
  });
}

async function store() {
  let registration;
  try {
    registration = await navigator.serviceWorker.register(WORKER, { updateViaCache: "none" });
  } catch (refused) {
    console.warn("no service worker", refused);
    shellIs("refused", WORKER, await groundOfWorker());
    return;
  }
  if (registration !== watched) watch((watched = registration));
  const worker = registration.active ?? registration.waiting ?? registration.installing;
  const end = worker === registration.active ? "activated" : await endOf(worker);
  if (end === "activated") shellIs("stored");
  // The worker has said why, unless it came to nothing at all.
  else if (shell.state !== "refused") shellIs("refused");
}

// Tried again for as long as the page lives: what forbids it is mostly in front of the server and goes by itself.
async function keepStored() {
  if (isAsking || shell.state === "stored") return;
  isAsking = true;
  clearTimeout(againTimer);
  await store().catch((refused) => shellIs("refused", WORKER, String(refused)));
  isAsking = false;
  if (shell.state === "stored") return;
  againTimer = setTimeout(keepStored, againMs);
  againMs = Math.min(againMs * 2, AGAIN_MAX_MS);
}

function beginToStore() {
  if (!("serviceWorker" in navigator)) {
    shellIs("refused", "", "no workers");
    return;
  }
  navigator.serviceWorker.addEventListener("message", ({ data }) => {
    if (data?.kind === "not-stored" && shell.state !== "stored") shellIs("refused", data.file, data.ground);
  });
  navigator.serviceWorker.startMessages();
  addEventListener("online", keepStored);
  addEventListener("witnessmark:store", keepStored);
  keepStored();
}

// A version that waits is let in by the person's word, or by the browser when the last window of the old one was closed. It is not
// let in while a page loads: the old worker is busy then, and browsers put the change off for minutes.
//
// On a first visit the whole app is stored after its first screen stands, for both would share one thin line.
const started = startApp().catch(failed);
if (navigator.serviceWorker?.controller) beginToStore();
else started.finally(beginToStore);
