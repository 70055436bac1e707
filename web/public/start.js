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

async function wordsOfTheApp() {
  const response = await fetch(root.dataset.words);
  if (!response.ok) throw new Error(`${root.dataset.words}: status ${response.status}`);
  return response.text();
}

async function startApp() {
  const [glue, words] = await Promise.all([import(root.dataset.js), wordsOfTheApp()]);
  try {
    await glue.default({ module_or_path: window.witnessmarkModule ?? root.dataset.wasm });
  } catch (refused) {
    console.warn("wasm was refused, once more from its bytes", refused);
    await glue.default({ module_or_path: await wasmBytes(root.dataset.wasm) });
  }
  // Left before it began: it must not make its database now, for it may fall asleep over it.
  if (isLeft) await new Promise((resolve) => addEventListener("pageshow", resolve, { once: true }));
  if (!glue.start(words)) throw new Error(`${root.dataset.words}: the words of another build`);
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

// A version that waits is let in by the person's word, or by the browser when the last window of the old one was closed. It is not
// let in while a page loads: the old worker is busy then, and browsers put the change off for minutes.
if ("serviceWorker" in navigator) {
  navigator.serviceWorker.register("/sw.js", { updateViaCache: "none" }).then(watch, (refused) => console.warn("no service worker", refused));
}
startApp().catch(failed);
