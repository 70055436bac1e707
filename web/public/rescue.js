// The page for the day on which the app itself does not start. It needs nothing of the app: it looks into the databases of this browser,
// says what lies there, and saves all of it as one file that another device can bring in. It deletes nothing and sends nothing.
//
// The file is a ZIP without compression. Rows and bytes lie in it as the device kept them; `manifest.json` names each with its SHA-256.
(function () {
  "use strict";

  // What sealed bytes begin with, and how long the number after it is.
  var MARK = [1, 119, 109, 115, 101, 97, 108, 0];
  var NUMBER_BYTES = 12;
  var PREFIX = "witnessmark-";
  var FORMAT = "witnessmark-rescue";
  var ROOMS = [
    { store: "entries", folder: "entry", bytes: function (value, key) { return openedRow(value.row, key); } },
    { store: "photos", folder: "photo", bytes: function (value) { return value.row; } },
    { store: "photo_bytes", folder: "bytes", bytes: function (value, key) { return opened(value, key); } },
    { store: "drafts", folder: "draft", bytes: function (value, key) { return opened(value, key); } },
  ];

  var WORDS = {
    en: {
      title: "What this device holds",
      what: "This page works without the app. It reads what is kept in this browser and can save all of it as one file. Nothing is deleted and nothing is sent.",
      none: "Nothing of Witnessmark is kept in this browser.",
      looking: "Looking through this device",
      records: "Records: {n}, of which not confirmed by the server: {open}",
      photos: "Photos: {n} ({size} MB), of which not confirmed by the server: {open}",
      drafts: "Unfinished entries: {n}",
      unreadable: "Could not be read: {n}",
      save: "Save everything as one file",
      saving: "Reading {n} of {all}",
      saved: "The file is saved with your downloads. Keep it until the office says that everything has arrived. To bring it in: sign in on another device as the same person, open the tray there, and choose the file.",
      failed: "The file could not be made: {why}. Free some space on this device and try again. Nothing was changed.",
      shut: "A database could not be opened: {why}. Close other windows of the app and load this page again.",
      back: "Back to the app",
    },
    de: {
      title: "Was auf diesem Gerät liegt",
      what: "Diese Seite läuft ohne die App. Sie liest, was in diesem Browser aufbewahrt ist, und kann alles als eine Datei speichern. Nichts wird gelöscht, nichts gesendet.",
      none: "In diesem Browser liegt nichts von Witnessmark.",
      looking: "Das Gerät wird durchgesehen",
      records: "Einträge: {n}, davon nicht vom Server bestätigt: {open}",
      photos: "Fotos: {n} ({size} MB), davon nicht vom Server bestätigt: {open}",
      drafts: "Angefangenes: {n}",
      unreadable: "Nicht lesbar: {n}",
      save: "Alles als eine Datei speichern",
      saving: "{n} von {all} werden gelesen",
      saved: "Die Datei liegt bei Ihren Downloads. Behalten Sie sie, bis das Büro sagt, dass alles angekommen ist. Einlesen: auf einem anderen Gerät als dieselbe Person anmelden, dort die Ablage öffnen und die Datei wählen.",
      failed: "Die Datei konnte nicht erstellt werden: {why}. Schaffen Sie Platz auf dem Gerät und versuchen Sie es noch einmal. Es wurde nichts verändert.",
      shut: "Eine Datenbank ließ sich nicht öffnen: {why}. Schließen Sie andere Fenster der App und laden Sie diese Seite neu.",
      back: "Zurück zur App",
    },
    es: {
      title: "Lo que guarda este dispositivo",
      what: "Esta página funciona sin la aplicación. Lee lo que hay en este navegador y puede guardarlo todo en un solo archivo. No borra nada ni envía nada.",
      none: "En este navegador no hay nada de Witnessmark.",
      looking: "Revisando el dispositivo",
      records: "Registros: {n}, sin confirmar por el servidor: {open}",
      photos: "Fotos: {n} ({size} MB), sin confirmar por el servidor: {open}",
      drafts: "Sin terminar: {n}",
      unreadable: "No se pudo leer: {n}",
      save: "Guardar todo en un archivo",
      saving: "Leyendo {n} de {all}",
      saved: "El archivo está en sus descargas. Consérvelo hasta que la oficina diga que todo ha llegado. Para recuperarlo: entre en otro dispositivo como la misma persona, abra allí la bandeja y elija el archivo.",
      failed: "No se pudo crear el archivo: {why}. Libere espacio en el dispositivo e inténtelo de nuevo. No se ha cambiado nada.",
      shut: "No se pudo abrir una base de datos: {why}. Cierre otras ventanas de la aplicación y vuelva a cargar esta página.",
      back: "Volver a la aplicación",
    },
  };

  function language() {
    var chosen;
    try {
      chosen = JSON.parse(localStorage.getItem("witnessmark.words") || "{}").lang;
    } catch (damaged) {
      chosen = undefined;
    }
    var asked = (navigator.language || "en").slice(0, 2);
    return WORDS[chosen] ? chosen : WORDS[asked] ? asked : "en";
  }

  var lang = language();
  document.documentElement.lang = lang;
  var main = document.getElementById("main");

  function say(key, values) {
    return WORDS[lang][key].replace(/\{(\w+)\}/g, function (whole, name) { return String(values[name]); });
  }

  function put(parent, tag, words, className) {
    var made = document.createElement(tag);
    if (words) made.textContent = words;
    if (className) made.className = className;
    parent.appendChild(made);
    return made;
  }

  function asked(request) {
    return new Promise(function (good, bad) {
      request.onsuccess = function () { good(request.result); };
      request.onerror = function () { bad(request.error); };
      request.onblocked = function () { bad(new Error("blocked")); };
    });
  }

  // Without a version, so that it opens as it is; one that is not there is not made.
  async function databases() {
    var all = await indexedDB.databases();
    var names = all.map(function (one) { return one.name; }).filter(function (name) { return name && name.indexOf(PREFIX) === 0; });
    return Promise.all(names.sort().map(async function (name) { return { person: name.slice(PREFIX.length), db: await asked(indexedDB.open(name)) }; }));
  }

  function ask(db, store, work) {
    return asked(work(db.transaction(store).objectStore(store)));
  }

  // One value at a time: a day's photos at once would not fit into a phone's memory.
  async function each(db, room, act) {
    if (!db.objectStoreNames.contains(room.store)) return;
    var keys = await ask(db, room.store, function (store) { return store.getAllKeys(); });
    for (var key of keys) {
      var value;
      try {
        value = await ask(db, room.store, function (store) { return store.get(key); });
      } catch (unreadable) {
        await act(key, undefined);
        continue;
      }
      await act(key, value);
    }
  }

  // --- what is sealed; the key is the browser's and opens only here

  // `undefined` where there is none: of an older app, or lost.
  async function keyOf(db) {
    if (!db.objectStoreNames.contains("keys")) return undefined;
    return ask(db, "keys", function (store) { return store.get("rows"); });
  }

  function isSealed(bytes) {
    return MARK.every(function (byte, at) { return bytes[at] === byte; });
  }

  async function decrypted(bytes, key) {
    var how = { name: "AES-GCM", iv: bytes.subarray(0, NUMBER_BYTES) };
    return new Uint8Array(await crypto.subtle.decrypt(how, key, bytes.subarray(NUMBER_BYTES)));
  }

  async function opened(value, key) {
    var bytes = value instanceof ArrayBuffer ? new Uint8Array(value) : value;
    return isSealed(bytes) ? decrypted(bytes.subarray(MARK.length), key) : bytes;
  }

  // A CBOR byte string: where it begins and ends.
  function part(bytes, at) {
    var kind = bytes[at] >> 5, short = bytes[at] & 31, wide = { 24: 1, 25: 2, 26: 4 }[short] || 0;
    if (kind !== 2 || (short > 23 && !wide)) throw new Error("no byte string");
    var length = wide ? 0 : short;
    for (var n = 1; n <= wide; n++) length = length * 256 + bytes[at + n];
    return { from: at + 1 + wide, to: at + 1 + wide + length };
  }

  function joined(pieces) {
    var all = new Uint8Array(pieces.reduce(function (sum, piece) { return sum + piece.length; }, 0));
    var at = 0;
    pieces.forEach(function (piece) { all.set(piece, at); at += piece.length; });
    return all;
  }

  function lengthOf(bytes) {
    var n = bytes.length;
    return n < 24 ? [64 + n] : n < 256 ? [88, n] : n < 65536 ? [89, n >> 8, n & 255] : [90, n >>> 24, (n >> 16) & 255, (n >> 8) & 255, n & 255];
  }

  // A row: format byte, map, its first key, the envelope. A sealed envelope: the mark, and a map of its header and its sealed whole.
  async function openedRow(row, key) {
    var envelope = part(row, 3);
    var kept = row.subarray(envelope.from, envelope.to);
    if (!isSealed(kept)) return row;
    var header = part(kept, MARK.length + 2);
    var sealed = part(kept, header.to + 1);
    var plain = await decrypted(kept.subarray(sealed.from, sealed.to), key);
    return joined([row.subarray(0, 3), lengthOf(plain), plain, row.subarray(envelope.to)]);
  }

  async function look(db) {
    var found = { entries: 0, entriesOpen: 0, photos: 0, photosOpen: 0, bytes: 0, drafts: 0, files: 0 };
    for (var room of ROOMS) {
      if (!db.objectStoreNames.contains(room.store)) continue;
      var count = await ask(db, room.store, function (store) { return store.count(); });
      found.files += count;
      var open = 0;
      if (room.store === "entries" || room.store === "photos") {
        open = await ask(db, room.store, function (store) { return store.index("open").count(); });
      }
      if (room.store === "entries") { found.entries = count; found.entriesOpen = open; }
      if (room.store === "photos") { found.photos = count; found.photosOpen = open; }
      if (room.store === "drafts") found.drafts = count;
    }
    await each(db, ROOMS[2], function (key, value) { found.bytes += (value && value.byteLength) || 0; });
    return found;
  }

  // --- a ZIP without compression

  var CRC = new Uint32Array(256).map(function (ignored, n) {
    for (var bit = 0; bit < 8; bit++) n = n & 1 ? 0xedb88320 ^ (n >>> 1) : n >>> 1;
    return n;
  });

  function crc32(bytes) {
    var crc = 0xffffffff;
    for (var at = 0; at < bytes.length; at++) crc = CRC[(crc ^ bytes[at]) & 255] ^ (crc >>> 8);
    return (crc ^ 0xffffffff) >>> 0;
  }

  // `layout`: pairs of width in bytes and number, little-endian.
  function fields(layout) {
    var size = layout.reduce(function (sum, pair) { return sum + pair[0]; }, 0);
    var view = new DataView(new ArrayBuffer(size));
    var at = 0;
    layout.forEach(function (pair) {
      if (pair[0] === 2) view.setUint16(at, pair[1], true);
      else view.setUint32(at, pair[1], true);
      at += pair[0];
    });
    return new Uint8Array(view.buffer);
  }

  var DAY_ONE = 0x21; // 1 January 1980: when a part was made stands in the rows.

  function Zip() {
    this.parts = [];
    this.index = [];
    this.size = 0;
  }

  Zip.prototype.add = function (name, bytes) {
    var label = new TextEncoder().encode(name);
    var common = [[2, 20], [2, 0x800], [2, 0], [2, 0], [2, DAY_ONE], [4, crc32(bytes)], [4, bytes.length], [4, bytes.length], [2, label.length], [2, 0]];
    this.index.push(fields([[4, 0x02014b50], [2, 20]].concat(common, [[2, 0], [2, 0], [2, 0], [4, 0], [4, this.size]])), label);
    var head = fields([[4, 0x04034b50]].concat(common));
    // Into a blob at once: browsers keep those outside the page's memory.
    this.parts.push(new Blob([head, label, bytes]));
    this.size += head.length + label.length + bytes.length;
  };

  Zip.prototype.close = function () {
    var index = new Blob(this.index);
    var count = this.index.length / 2;
    var end = fields([[4, 0x06054b50], [2, 0], [2, 0], [2, count], [2, count], [4, index.size], [4, this.size], [2, 0]]);
    return new Blob(this.parts.concat([index, end]), { type: "application/zip" });
  };

  async function sha256(bytes) {
    var digest = await crypto.subtle.digest("SHA-256", bytes);
    return Array.from(new Uint8Array(digest), function (byte) { return byte.toString(16).padStart(2, "0"); }).join("");
  }

  async function pack(all, progress) {
    var zip = new Zip();
    var files = [];
    var unreadable = [];
    for (var one of all) {
      var own = await keyOf(one.db);
      for (var room of ROOMS) {
        await each(one.db, room, async function (key, value) {
          var name = one.person + "/" + room.folder + "/" + encodeURIComponent(String(key));
          progress();
          try {
            var bytes = await room.bytes(value, own);
            var hash = await sha256(bytes);
            zip.add(name, bytes);
            files.push({ name: name, bytes: bytes.length, sha256: hash });
          } catch (refused) {
            unreadable.push(name);
          }
        });
      }
    }
    var build = document.documentElement.dataset.build;
    var manifest = { format: FORMAT, version: 1, made: new Date().toISOString(), build: build, files: files, unreadable: unreadable };
    zip.add("manifest.json", new TextEncoder().encode(JSON.stringify(manifest, null, 1)));
    return { blob: zip.close(), unreadable: unreadable.length };
  }

  async function save(all, total, button, line) {
    button.disabled = true;
    var done = 0;
    try {
      var made = await pack(all, function () {
        done += 1;
        line.textContent = say("saving", { n: done, all: total });
      });
      var link = document.createElement("a");
      link.href = URL.createObjectURL(made.blob);
      link.download = "witnessmark-rescue-" + new Date().toISOString().slice(0, 16).replace(/[:T]/g, "-") + ".zip";
      link.click();
      line.textContent = say("saved") + (made.unreadable ? " " + say("unreadable", { n: made.unreadable }) : "");
    } catch (refused) {
      line.textContent = say("failed", { why: refused });
    }
    button.disabled = false;
  }

  async function start() {
    put(main, "h1", say("title"));
    put(main, "p", say("what"));
    var line = put(main, "p", say("looking"));
    line.setAttribute("role", "status");
    var all;
    try {
      all = await databases();
    } catch (refused) {
      line.textContent = say("shut", { why: refused });
      return;
    }
    var total = 0;
    var list = put(main, "ul");
    for (var one of all) {
      var found = await look(one.db);
      total += found.files;
      var item = put(list, "li");
      item.dataset.person = one.person;
      put(item, "p", say("records", { n: found.entries, open: found.entriesOpen }));
      put(item, "p", say("photos", { n: found.photos, open: found.photosOpen, size: (found.bytes / 1e6).toFixed(1) }));
      put(item, "p", say("drafts", { n: found.drafts }));
    }
    line.textContent = all.length ? "" : say("none");
    if (total) {
      var button = put(main, "button", say("save"), "main");
      button.type = "button";
      button.addEventListener("click", function () { save(all, total, button, line); });
      main.appendChild(line);
    }
    put(main, "a", say("back"), "act").href = "/";
  }

  start();
})();
