// Put into every page before its own scripts: when the first job row was drawn, when work could be recorded, and how long from a tap or a chosen file
// until the page says that it is saved. Times are those of the page's own clock, which begins with the navigation.
(() => {
  const bench = { row: 0, work: 0, saved: [], aside: 0 };
  window.__bench = bench;
  let armed = null;
  const sign = () => document.querySelector("[data-saved=yes]");
  // A frame later it is on the screen.
  const drawn = (then) => requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = () => then(performance.now());
    channel.port2.postMessage(0);
  });
  const arm = (event) => { armed = { at: event.timeStamp, before: sign(), aside: bench.aside }; };
  addEventListener("click", (event) => { if (event.target.closest?.("button.act.main")) arm(event); }, true);
  addEventListener("change", (event) => { if (event.target.matches?.("input[type=file]")) arm(event); }, true);
  let row = false;
  let work = false;
  new MutationObserver(() => {
    if (!row && document.querySelector(".job-row")) {
      row = true;
      drawn((now) => { bench.row = now; });
    }
    // The job files are read and the store is open: work can be recorded.
    if (!work && document.querySelector(".stop-work:not([disabled])")) {
      work = true;
      drawn((now) => { bench.work = now; });
    }
    const found = sign();
    // The sign of the save before may be the very element that says it again.
    if (armed && !found) armed.before = null;
    if (armed && found && found !== armed.before) {
      const { at, aside } = armed;
      armed = null;
      drawn((now) => bench.saved.push({ ms: now - at, aside: bench.aside - aside }));
    }
  }).observe(document, { childList: true, subtree: true, attributes: true, attributeFilter: ["data-saved", "disabled"] });

  // Work that the browser does on other threads, which the slowdown does not reach: decoding and hashing.
  const aside = (owner, name) => {
    const own = owner[name];
    owner[name] = function (...words) {
      const began = performance.now();
      const result = own.apply(this, words);
      const done = () => { bench.aside += performance.now() - began; };
      result.then(done, done);
      return result;
    };
  };
  aside(window, "createImageBitmap");
  if (window.ImageDecoder) aside(ImageDecoder.prototype, "decode");
  if (window.SubtleCrypto) aside(SubtleCrypto.prototype, "digest");
})();
