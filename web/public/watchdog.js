// Watches over the start and over the life of the page, in plain script that needs nothing else: if the app does not report itself
// within fifteen seconds, if its code cannot be loaded, or if it stumbles, the screen is covered and says what to do.
// It carries its own words, for the app's words are inside what may have failed to load.
(function () {
  "use strict";

  var PATIENCE_MS = 15000;
  var CRASH_WINDOW_MS = 60000;
  var RELOAD_AFTER_MS = 4000;
  var KEPT = "witnessmark.";
  var CACHES = "witnessmark-";

  var WORDS = {
    en: {
      slowTitle: "The app does not start",
      slow: "Something is missing or damaged on the way here. What you recorded is kept on this device.",
      crashTitle: "The app stumbled",
      crash: "Your work is saved on this phone. The page loads again.",
      again: "The app stumbled more than once. Your work is saved on this phone. Start it again; if that does not help, tell the office before you clear anything.",
      retry: "Try again",
      fresh: "Load again without the stored app",
      rescue: "See what this device holds, and save it as a file",
      detail: "For the person who helps you",
    },
    de: {
      slowTitle: "Die App startet nicht",
      slow: "Unterwegs fehlt etwas oder ist beschädigt. Was Sie festgehalten haben, bleibt auf diesem Gerät.",
      crashTitle: "Die App ist gestolpert",
      crash: "Ihre Arbeit ist auf diesem Telefon gespeichert. Die Seite wird neu geladen.",
      again: "Die App ist mehrmals gestolpert. Ihre Arbeit ist auf diesem Telefon gespeichert. Starten Sie sie noch einmal; hilft das nicht, sagen Sie dem Büro Bescheid, bevor Sie etwas löschen.",
      retry: "Noch einmal",
      fresh: "Ohne die gespeicherte App neu laden",
      rescue: "Nachsehen, was auf diesem Gerät liegt, und als Datei speichern",
      detail: "Für die Person, die Ihnen hilft",
    },
    es: {
      slowTitle: "La aplicación no arranca",
      slow: "Falta algo o se ha dañado por el camino. Lo que registró queda guardado en este dispositivo.",
      crashTitle: "La aplicación ha tropezado",
      crash: "Su trabajo está guardado en este teléfono. La página se carga de nuevo.",
      again: "La aplicación ha tropezado más de una vez. Su trabajo está guardado en este teléfono. Vuelva a iniciarla; si no basta, avise a la oficina antes de borrar nada.",
      retry: "Reintentar",
      fresh: "Cargar de nuevo sin la aplicación guardada",
      rescue: "Ver lo que guarda este dispositivo y guardarlo en un archivo",
      detail: "Para la persona que le ayuda",
    },
  };

  var root = document.documentElement;

  var alive = false;
  var covered = false;
  var faults = [];

  function kept(name) {
    try {
      return localStorage.getItem(KEPT + name);
    } catch (refused) {
      return null;
    }
  }

  function keep(name, value) {
    try {
      localStorage.setItem(KEPT + name, value);
    } catch (refused) {
      // Without a store there is only no memory of the last crash.
    }
  }

  // Before anything is drawn, so that a dark garage is not lit up.
  var theme = kept("theme");
  if (theme === "light" || theme === "dark") root.setAttribute("data-theme", theme);

  function language() {
    try {
      var chosen = JSON.parse(kept("words") || "{}").lang;
      if (WORDS[chosen]) return chosen;
    } catch (damaged) {
      // Then the browser's own language.
    }
    var asked = (navigator.language || "en").split(/[-_]/)[0].toLowerCase();
    return WORDS[asked] ? asked : "en";
  }

  // Compiled and fetched while the page is still being read. What fails here is tried again by start.js, and told from there. Of the words
  // only those of the language in use travel now.
  root.lang = language();
  if (window.WebAssembly && WebAssembly.compileStreaming) {
    window.witnessmarkModule = WebAssembly.compileStreaming(fetch(root.dataset.wasm));
    window.witnessmarkModule.catch(function () {});
  }
  if (window.fetch) {
    window.witnessmarkWords = fetch(root.getAttribute("data-words-" + root.lang));
    window.witnessmarkWords.catch(function () {});
  }

  function note(fault) {
    if (faults.length < 5) faults.push(String(fault));
  }

  function element(tag, className, words) {
    var made = document.createElement(tag);
    if (className) made.className = className;
    if (words) made.textContent = words;
    return made;
  }

  function act(className, words, press) {
    var button = element("button", className, words);
    button.type = "button";
    button.addEventListener("click", press);
    return button;
  }

  function reload() {
    location.reload();
  }

  // Without the stored app: every worker of ours goes, every cached shell goes. What people recorded lies in a database and stays.
  function reloadFresh() {
    var work = [];
    if (navigator.serviceWorker) {
      work.push(
        navigator.serviceWorker.getRegistrations().then(function (all) {
          return Promise.all(all.map(function (one) { return one.unregister(); }));
        })
      );
    }
    if (window.caches) {
      work.push(
        caches.keys().then(function (names) {
          return Promise.all(names.filter(function (name) { return name.indexOf(CACHES) === 0; }).map(function (name) { return caches.delete(name); }));
        })
      );
    }
    Promise.all(work).then(reload, reload);
  }

  function cover(kind) {
    if (covered) return;
    if (!document.body) {
      document.addEventListener("DOMContentLoaded", function () { cover(kind); });
      return;
    }
    covered = true;
    var lang = language();
    var w = WORDS[lang];
    var screen = element("div", "cover");
    screen.setAttribute("role", "alertdialog");
    screen.setAttribute("aria-modal", "true");
    screen.lang = lang;
    // The style sheet may be what is missing.
    screen.style.cssText =
      "position:fixed;inset:0;z-index:99;overflow:auto;padding:1.5rem;background:Canvas;color:CanvasText;font:1.15rem/1.45 system-ui,sans-serif";
    var inner = element("div", "stack loose");
    inner.style.cssText = "max-width:34rem;margin:0 auto;display:flex;flex-direction:column;gap:1rem";
    inner.appendChild(element("h1", "", kind === "slow" ? w.slowTitle : w.crashTitle));
    inner.appendChild(element("p", "", kind === "slow" ? w.slow : kind === "again" ? w.again : w.crash));
    var first = act("act main", w.retry, reload);
    var fresh = act("act", w.fresh, reloadFresh);
    [first, fresh].forEach(function (one) {
      one.style.minHeight = "3.2rem";
      inner.appendChild(one);
    });
    var rescue = element("a", "act", w.rescue);
    rescue.href = "/rescue.html";
    rescue.style.minHeight = "3.2rem";
    inner.appendChild(rescue);
    var detail = element("details");
    detail.appendChild(element("summary", "", w.detail));
    var lines = ["build " + (root.getAttribute("data-build") || "?")].concat(faults);
    detail.appendChild(element("pre", "", lines.join("\n"))).style.cssText = "white-space:pre-wrap;overflow-wrap:anywhere";
    inner.appendChild(detail);
    screen.appendChild(inner);
    document.body.appendChild(screen);
    first.focus();
  }

  function crashed(message) {
    note(message);
    var now = Date.now();
    var before = Number(kept("crashed-at")) || 0;
    var again = now - before < CRASH_WINDOW_MS;
    keep("crashed-at", String(now));
    keep("crash-note", new Date(now).toISOString() + " " + location.pathname + " " + message);
    cover(again ? "again" : "crash");
    // Once by itself; a page that stumbles at every start must not turn in a circle.
    if (!again) setTimeout(reload, RELOAD_AFTER_MS);
  }

  window.addEventListener("witnessmark:alive", function () { alive = true; });
  window.addEventListener("witnessmark:crashed", function (event) { crashed(event.detail || "crash"); });
  window.addEventListener("witnessmark:failed", function (event) {
    note(event.detail || "start failed");
    if (!alive) cover("slow");
  });
  // A script or style sheet that does not load says so only here.
  window.addEventListener(
    "error",
    function (event) {
      var target = event.target;
      if (!target || target === window) {
        note(event.message);
        return;
      }
      var address = target.src || target.href;
      if (!address) return;
      note("not loaded: " + address);
      if (!alive && (target.tagName === "SCRIPT" || target.rel === "stylesheet")) cover("slow");
    },
    true
  );
  setTimeout(function () {
    if (!alive) cover("slow");
  }, PATIENCE_MS);
})();
