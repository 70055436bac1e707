// The page around the rules. `cargo xtask web` fills in words, rules and their hash. Nothing is fetched and nothing is sent.
(() => {
  "use strict";
  const WORDS = {{words}};
  const RULES = "{{wasm}}";
  const RULES_SHA256 = "{{wasm-sha256}}";
  const $ = (id) => document.getElementById(id);

  let language = Object.keys(WORDS).find((own) => navigator.language.toLowerCase().startsWith(own)) ?? "en";
  let told = null;

  const say = (key, blanks = {}) =>
    Object.entries(blanks).reduce((text, [name, value]) => text.replaceAll(`{${name}}`, () => value), WORDS[language][key]);
  const when = (us) =>
    new Date(us / 1000).toLocaleString(language, { dateStyle: "long", timeStyle: "short", timeZone: "UTC" }) + " UTC";

  const element = (name, text, className = "") => {
    const made = document.createElement(name);
    made.textContent = text;
    if (className) made.className = className;
    return made;
  };

  // The bytes of the rules, and whether they are the ones that the page was made with.
  async function rules() {
    const bytes = Uint8Array.from(atob(RULES), (sign) => sign.charCodeAt(0));
    if (crypto.subtle) {
      const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
      const found = Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
      if (found !== RULES_SHA256) throw new Error("rules");
    }
    return bytes;
  }
  const started = rules().then((bytes) => wasm_bindgen({ module_or_path: bytes }));

  async function look(file) {
    told = { waiting: true };
    draw();
    try {
      await started;
      told = JSON.parse(wasm_bindgen.verify(new Uint8Array(await file.arrayBuffer())));
    } catch {
      told = { ok: false, code: "not_looked", what: "" };
    }
    told.name = file.name;
    draw();
  }

  function sentences(facts) {
    const lines = [
      ["unchanged", say("unchanged.what", { ...facts, when: when(facts.sealed_us) })],
      ["before", facts.arrived_us ? say("before.what", { first: when(facts.arrived_us[0]), last: when(facts.arrived_us[1]) }) : say("before.nothing")],
      ["after", facts.not_before ? say("after.what", { count: facts.not_before[0], entries: facts.entries, when: when(facts.not_before[1]) }) : say("after.nothing")],
    ];
    for (const by of facts.made_by) {
      const blanks = { ...by, person: by.person || by.person_id, device: by.device || by.device_id };
      lines.push(["by", say(by.server ? "by.server" : "by.what", blanks)]);
    }
    const gone = facts.erased_before + facts.erased_after + facts.photos_erased;
    lines.push(["erased", gone === 0 ? say("erased.nothing") : say("erased.what", facts) + (facts.erased_us ? " " + say("erased.when", { when: when(facts.erased_us) }) : "")]);
    lines.push(["not_in", say("not_in.what", facts)]);
    if (facts.doubts > 0) lines.push(["doubts", say("doubts.what", facts)]);
    return lines;
  }

  function draw() {
    document.documentElement.lang = language;
    document.title = say("title");
    for (const place of document.querySelectorAll("[data-word]")) place.textContent = say(place.dataset.word);
    for (const button of $("languages").children) button.setAttribute("aria-pressed", String(button.lang === language));
    $("rules").textContent = say("rules", { hash: RULES_SHA256 });
    const [place, compare] = [$("told"), $("compare")];
    place.hidden = told === null;
    compare.hidden = !(told && told.ok);
    place.replaceChildren();
    if (!told) return;
    if (told.waiting) {
      place.className = "";
      place.append(element("p", say("waiting")));
      return;
    }
    place.className = told.ok ? "good" : "stop";
    place.append(element("p", say(told.ok ? "verdict.unchanged" : "verdict.changed", { name: told.name }), "verdict"));
    if (!told.ok) {
      place.append(element("p", say(`fault.${told.code}`, { what: told.what })));
      return;
    }
    const list = document.createElement("dl");
    let last = "";
    for (const [heading, sentence] of sentences(told)) {
      if (heading !== last) list.append(element("dt", say(`${heading}.heading`)));
      last = heading;
      list.append(element("dd", sentence));
    }
    list.append(element("dt", say("key.heading")), element("dd", say("key.what")));
    const key = document.createElement("dd");
    key.append(element("code", told.fingerprint));
    list.append(key);
    place.append(list);
    compared();
  }

  // Letters and digits alone count: people type spaces where they like.
  function compared() {
    const bare = (text) => text.toLowerCase().replace(/[^0-9a-f]/g, "");
    const printed = bare($("printed").value);
    const same = printed === bare(told.fingerprint);
    $("compared").textContent = printed === "" ? "" : say(same ? "compare.same" : "compare.other");
    $("compare").className = printed === "" ? "" : same ? "good" : "stop";
  }

  $("pack").addEventListener("change", (event) => event.target.files[0] && look(event.target.files[0]));
  $("printed").addEventListener("input", compared);
  $("languages").addEventListener("click", (event) => {
    if (!event.target.lang) return;
    language = event.target.lang;
    draw();
  });
  draw();
})();
