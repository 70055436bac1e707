//! The browser's side: wasm, its glue, the style sheet and the shell, laid out as the server serves them.
//!
//! Everything that is named by its content goes to `assets/`; the rest keeps its name. The page, the service worker and every other
//! text file of `web/public/` are templates with these placeholders:
//!
//! - `{{js}}`, `{{wasm}}`, `{{words-en}}`, `{{later-words-en}}` and their likes, `{{css}}`, `{{css-later}}`, `{{reader}}`: addresses of the assets that the page names,
//! - `{{build}}`: 16 hexadecimal digits that change whenever anything of the shell changes,
//! - `{{manifest}}` (in `sw.js` only): `{"build": …, "files": [{"url": …, "sha256": …, "optional": true}, …]}`, every file of the
//!   shell except `sw.js` itself, so that the service worker can install all of it or nothing and can tell a damaged answer.
//!   What is only looked at is optional: its lack must not keep the app from opening.
//!
//! `verifier.html` is made apart (`web/verifier`): one file that checks a sealed pack without anybody's help.
//!
//! The wasm is cut into the module that starts the app and the parts that it loads later (`web/src/parts.rs`). The reader of codes is a
//! module of its own (`code_reader.rs`).
//!
//! Beside each file of the app that ships lie its packed forms (`packed.rs`): they are no files of the shell.
//!
//! The same sources give the same bytes.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context, Result, anyhow, bail};
use sha2::{Digest, Sha256};
use wasm_bindgen_cli_support::Bindgen;
use wasm_split_cli_support::Options as Cut;

use crate::{code_reader, packed, tools, verifier_page};

const TARGET: &str = "wasm32-unknown-unknown";
const ASSETS: &str = "assets";
/// The example of the package `web` that only a test runs.
const DIGEST: &str = "design_digest";
/// Enough of a SHA-256 that two versions never share a name.
const NAME_DIGITS: usize = 16;
/// In the order of `Lang::ALL`.
pub(crate) const LANGUAGES: [&str; 3] = ["en", "de", "es"];
/// Where the glue finds the loaders of the parts.
const LOADERS: &str = "parts.js";
/// How the names of parts begin, so that they can be told from what is loaded first.
pub(crate) const PART: &str = "part-";
/// What screens of the office and the design sheet look like: loaded once the first screen stands. They come last, so that every rule
/// keeps its place.
const STYLE_LATER: [&str; 2] = ["60-lead-office.css", "70-design-sheet.css"];
/// What the app opens without: pictures, and what a browser reads when it installs.
const OPTIONAL: [&str; 2] = ["/icons/", "/manifest.webmanifest"];

/// How the wasm is compiled.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Profile {
    /// As it ships: smallest.
    Ship,
    /// For work on the app: compiles sooner, runs slower, is larger.
    Dev,
}

impl Profile {
    pub(crate) fn cargo_name(self) -> &'static str {
        match self {
            Self::Ship => "web",
            Self::Dev => "web-dev",
        }
    }

    /// Where the finished files lie.
    pub(crate) fn dist(self) -> PathBuf {
        tools::target_dir().join(match self {
            Self::Ship => "web-dist",
            Self::Dev => "web-dist-dev",
        })
    }
}

/// `cargo xtask web [--dev]`; with `--digest` the module that the suite `browser` compares with this machine.
pub(crate) fn command(args: &[String]) -> Result<()> {
    let (profile, digest) = match args.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        [] => (Profile::Ship, false),
        ["--dev"] => (Profile::Dev, false),
        ["--digest"] => (Profile::Ship, true),
        ["--dev", "--digest"] => (Profile::Dev, true),
        other => bail!("`web` takes nothing, `--dev`, `--digest` or both in this order, not `{}`", other.join(" ")),
    };
    if digest {
        println!("{}", build_digest(profile)?.display());
        return Ok(());
    }
    let dist = build(profile)?;
    for line in sizes(&dist)? {
        println!("{line}");
    }
    Ok(())
}

/// Builds what is not built yet; gives the folder to serve.
pub(crate) fn build(profile: Profile) -> Result<PathBuf> {
    let dist = profile.dist();
    let stamp = dist.with_extension("stamp");
    let inputs = digest_of_inputs(profile)?;
    if dist.join("index.html").exists() && fs::read_to_string(&stamp).is_ok_and(|kept| kept == inputs) {
        tools::say("the web app is as it was built last");
        return Ok(dist);
    }
    ensure_target()?;
    tools::say("building the web app");
    // The cut needs to know what points where.
    compile(profile, "web", &["--lib"], &["-Clink-arg=--emit-relocs"]).context("the web app does not compile")?;

    let _ = fs::remove_file(&stamp);
    let whole = compiled(profile).join("web.wasm");
    let parts = tools::target_dir().join(format!("{}-parts", profile.cargo_name()));
    let first = cut(&whole, &parts)?;
    let bound = tools::target_dir().join(format!("{}-bindgen", profile.cargo_name()));
    bind(Bindgen::new().web(true)?.keep_lld_exports(true), "web", &first, &bound)?;
    fs::remove_file(&first)?;
    copy_tree(&parts, &bound)?;
    lay_out(&bound, &code_reader::build(profile)?, &tools::root().join("web"), &dist)?;
    // After the shell: a phone needs no page that checks packs.
    verifier_page::build(profile, &dist)?;
    // Packing at its best takes a minute, which somebody who works on the app should not wait for.
    if profile == Profile::Ship {
        packed::lay_beside(&dist)?;
    }
    fs::write(&stamp, inputs)?;
    Ok(dist)
}

/// The module of the example `design_digest`, compiled as the app is, with a glue that is a plain script; gives their folder.
pub(crate) fn build_digest(profile: Profile) -> Result<PathBuf> {
    ensure_target()?;
    compile(profile, "verifier", &["--example", DIGEST], &[]).context("the digest of designs does not compile")?;
    let bound = tools::target_dir().join(format!("{}-digest", profile.cargo_name()));
    let wasm = compiled(profile).join("examples").join(DIGEST).with_extension("wasm");
    bind(Bindgen::new().no_modules(true)?, DIGEST, &wasm, &bound)?;
    Ok(bound)
}

pub(crate) fn compile(profile: Profile, package: &str, what: &[&str], for_rustc: &[&str]) -> Result<()> {
    let mut cargo =
        tools::cargo(["rustc", "--package", package, "--target", TARGET, "--profile", profile.cargo_name()]);
    cargo.args(what);
    if profile == Profile::Ship {
        make_small(&mut cargo);
    }
    cargo.arg("--").args(for_rustc);
    tools::run(&mut cargo)
}

pub(crate) fn compiled(profile: Profile) -> PathBuf {
    tools::target_dir().join(TARGET).join(profile.cargo_name())
}

/// The standard library for wasm, asked from rustup where it is missing.
pub(crate) fn ensure_target() -> Result<()> {
    let libdir = tools::read(
        Command::new("rustc").args(["--print", "target-libdir", "--target", TARGET]).current_dir(tools::root()),
    )?;
    if Path::new(libdir.trim()).exists() {
        return Ok(());
    }
    tools::say(format!("adding the rust target {TARGET}"));
    tools::run(Command::new("rustup").args(["target", "add", TARGET]).current_dir(tools::root())).context(
        "the wasm target could not be added; DEVELOPERS.md, \"Where rustup may not download\", has another way",
    )
}

/// Erased view types, and a standard library that was compiled for size. The latter needs its sources; where they are not to be
/// had the app is larger and the same. No file names of sources for a panic: they are thousands of paths of the machine that
/// compiled it, and the message itself stays.
fn make_small(cargo: &mut Command) {
    let mut flags = "--cfg erase_components".to_owned();
    if has_std_sources() {
        // The compiler keeps `-Z` for its nightly releases; these options are only about how the standard library is built and what
        // a panic says.
        flags.push_str(" -Zlocation-detail=none");
        cargo.env("RUSTC_BOOTSTRAP", "1");
        cargo.args(["-Zbuild-std=std,panic_abort", "-Zbuild-std-features=optimize_for_size"]);
    } else {
        tools::say(
            "without the sources of the standard library the app becomes larger (`rustup component add rust-src`)",
        );
    }
    cargo.env("CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_RUSTFLAGS", flags);
}

fn has_std_sources() -> bool {
    let sysroot = tools::read(Command::new("rustc").args(["--print", "sysroot"]).current_dir(tools::root()));
    let Ok(sysroot) = sysroot else { return false };
    let sources = Path::new(sysroot.trim()).join("lib/rustlib/src/rust/library/std/Cargo.toml");
    sources.exists()
        || (Command::new("rustup")
            .args(["component", "add", "rust-src"])
            .current_dir(tools::root())
            .status()
            .is_ok_and(|status| status.success())
            && sources.exists())
}

/// Raw and compressed sizes of the code.
pub(crate) fn sizes(dist: &Path) -> Result<Vec<String>> {
    let sizes = code_sizes(dist)?;
    let mut lines: Vec<String> =
        sizes.iter().map(|one| format!("{}  {} bytes, {} as brotli", one.name, one.raw, one.sent)).collect();
    for (what, later) in [("to the first screen", false), ("later", true)] {
        let (raw, sent) = sizes
            .iter()
            .filter(|one| one.is_part() == later)
            .fold((0, 0), |(raw, sent), one| (raw + one.raw, sent + one.sent));
        lines.push(format!("{what}  {raw} bytes, {sent} as brotli"));
    }
    Ok(lines)
}

/// A file of wasm or script.
pub(crate) struct CodeSize {
    name: String,
    raw: u64,
    /// As brotli sends it.
    pub(crate) sent: u64,
}

impl CodeSize {
    /// Loaded after the first screen stands.
    pub(crate) fn is_part(&self) -> bool {
        self.name.contains(PART)
    }
}

/// Every wasm and script in `assets/`, sizes in bytes.
pub(crate) fn code_sizes(dist: &Path) -> Result<Vec<CodeSize>> {
    let mut sizes = Vec::new();
    for file in tools::files_below(&dist.join(ASSETS))? {
        if matches!(file.extension().and_then(|ext| ext.to_str()), Some("wasm" | "js")) {
            let bytes = fs::read(&file)?;
            let name = file.strip_prefix(dist).unwrap_or(&file).display().to_string();
            sizes.push(CodeSize { name, raw: bytes.len() as u64, sent: packed::brotli(&bytes)?.len() as u64 });
        }
    }
    Ok(sizes)
}

/// Cuts the module along the marks of `web/src/parts.rs`; gives the one that starts the app. The others and their loaders lie beside it.
fn cut(whole: &Path, into: &Path) -> Result<PathBuf> {
    if into.exists() {
        fs::remove_dir_all(into)?;
    }
    let bytes = fs::read(whole)?;
    let first = into.join("web.wasm");
    let link_name = format!("./{LOADERS}");
    let mut options = Cut::new(&bytes);
    options.output_dir = into;
    options.main_out_path = &first;
    options.link_name = &link_name;
    options.main_module = "./web.js";
    let cut =
        wasm_split_cli_support::transform(options).map_err(|error| anyhow!("the app cannot be cut: {error:#}"))?;
    for part in cut.split_modules {
        let bare = without_custom_sections(&fs::read(&part)?).with_context(|| part.display().to_string())?;
        fs::write(&part, bare)?;
    }
    Ok(first)
}

/// A module without names and other notes for tools.
fn without_custom_sections(module: &[u8]) -> Result<Vec<u8>> {
    const HEADER: usize = 8;
    let mut bare = module.get(..HEADER).context("no wasm")?.to_vec();
    let mut at = HEADER;
    while at < module.len() {
        let (size, digits) = unsigned_leb128(&module[at + 1..]).context("a section without a size")?;
        let end = at + 1 + digits + size;
        let section = module.get(at..end).context("a section is cut off")?;
        if section[0] != 0 {
            bare.extend(section);
        }
        at = end;
    }
    Ok(bare)
}

/// The number and how many bytes it takes.
fn unsigned_leb128(bytes: &[u8]) -> Option<(usize, usize)> {
    let mut value = 0;
    for (at, byte) in bytes.iter().enumerate().take(5) {
        value |= usize::from(byte & 0x7f) << (7 * at);
        if byte & 0x80 == 0 {
            return Some((value, at + 1));
        }
    }
    None
}

pub(crate) fn bind(bindgen: &mut Bindgen, name: &str, wasm: &Path, into: &Path) -> Result<()> {
    if into.exists() {
        fs::remove_dir_all(into)?;
    }
    bindgen.input_path(wasm).out_name(name).typescript(false).remove_name_section(true).remove_producers_section(true);
    bindgen.generate(into).context("wasm-bindgen cannot bind the module")
}

/// Puts the shell together: assets named by their content first, then the templates that name them.
fn lay_out(bound: &Path, reader: &Path, web: &Path, dist: &Path) -> Result<()> {
    if dist.exists() {
        fs::remove_dir_all(dist)?;
    }
    let assets = dist.join(ASSETS);
    fs::create_dir_all(&assets)?;

    let wasm = write_named(&assets, "web", "wasm", &fs::read(bound.join("web_bg.wasm"))?)?;
    // The glue's own default address must name the same file, for a worker that loads it without being told.
    let glue = bare_script(&fs::read_to_string(bound.join("web.js"))?).replace("web_bg.wasm", &wasm);
    let mut loaders = bare_script(&fs::read_to_string(bound.join(LOADERS))?);
    for file in tools::files_below(bound)? {
        let Some(stem) = file.file_stem().and_then(|stem| stem.to_str()) else { continue };
        if stem != "web_bg" && file.extension().is_some_and(|ext| ext == "wasm") {
            let name = write_named(&assets, &format!("{PART}{stem}"), "wasm", &fs::read(&file)?)?;
            loaders = loaders.replace(&format!("./{stem}.wasm"), &format!("./{name}"));
        }
    }
    // Each of the two names the other, so both are named by what both say.
    let digest = tools::hex(&Sha256::digest([glue.as_bytes(), loaders.as_bytes()].concat()));
    let [js, loaders_js] = ["web", "parts"].map(|stem| format!("{stem}-{}.js", &digest[..NAME_DIGITS]));
    // Only where it is fetched: the module itself knows it by its first name.
    let fetched = |name: &str| format!("from \"./{name}\"");
    if !glue.contains(&fetched(LOADERS)) {
        bail!("the glue does not fetch {LOADERS}: no part could be loaded");
    }
    fs::write(assets.join(&js), glue.replace(&fetched(LOADERS), &fetched(&loaders_js)))?;
    fs::write(assets.join(&loaders_js), loaders.replace("web.js", &js))?;
    let snippets = bound.join("snippets");
    if snippets.exists() {
        copy_tree(&snippets, &assets.join("snippets"))?;
    }
    let mut words = Vec::new();
    for language in LANGUAGES {
        let files = words_files(web, language)?;
        for (kind, file) in ["words", "later-words"].into_iter().zip(files) {
            let name = write_named(&assets, &format!("{kind}-{language}"), "txt", file.as_bytes())?;
            words.push((format!("{{{{{kind}-{language}}}}}"), name));
        }
    }
    let style = web.join("style");
    let css =
        write_named(&assets, "style", "css", style_sheet(&style, |name| !STYLE_LATER.contains(&name))?.as_bytes())?;
    let later = style_sheet(&style, |name| STYLE_LATER.contains(&name))?;
    let css_later = write_named(&assets, "style-later", "css", later.as_bytes())?;
    let reader = code_reader::lay_out(reader, web, &assets)?;

    let public = web.join("public");
    copy_tree(&public, dist)?;
    for file in tools::files_below(&public)?.iter().filter(|file| file.extension().is_some_and(|ext| ext == "js")) {
        fs::write(dist.join(file.strip_prefix(&public)?), bare_script(&fs::read_to_string(file)?))?;
    }
    let build = build_id(dist)?;
    let address = |name: &str| format!("/{ASSETS}/{name}");
    let mut filled = vec![
        ("{{js}}", address(&js)),
        ("{{wasm}}", address(&wasm)),
        ("{{css}}", address(&css)),
        ("{{css-later}}", address(&css_later)),
        ("{{reader}}", address(&reader)),
        ("{{build}}", build.clone()),
    ];
    filled.extend(words.iter().map(|(placeholder, name)| (placeholder.as_str(), address(name))));
    fill(dist, &filled)?;

    let worker = dist.join("sw.js");
    let template = fs::read_to_string(&worker).context("web/public/sw.js is missing")?;
    if !template.contains("{{manifest}}") {
        bail!("web/public/sw.js has no {{{{manifest}}}}: it could not check what it installs");
    }
    fs::write(&worker, template.replace("{{manifest}}", &manifest(dist, &build)?))?;
    Ok(())
}

/// A script without the comments and the indentation that phones have no use for. One with a text over several lines stays as it is.
fn bare_script(script: &str) -> String {
    if script.lines().any(|line| line.matches('`').count() % 2 == 1) {
        return script.to_owned();
    }
    let (mut bare, mut in_comment) = (String::with_capacity(script.len()), false);
    for line in script.lines().map(str::trim) {
        let begins = line.starts_with("/*") && line.find("*/").is_none_or(|end| end + 2 == line.len());
        if in_comment || begins {
            in_comment = !line.ends_with("*/");
        } else if !line.is_empty() && !line.starts_with("//") {
            bare.push_str(line);
            bare.push('\n');
        }
    }
    // Something stood behind the end of a comment: rather too much than too little.
    if in_comment { script.to_owned() } else { bare }
}

/// A style sheet without the same.
fn bare_style(sheet: &str) -> String {
    let (mut bare, mut rest) = (String::with_capacity(sheet.len()), sheet);
    while let Some((before, after)) = rest.split_once("/*") {
        bare.push_str(before);
        rest = after.split_once("*/").map_or("", |(_, after)| after);
    }
    bare.push_str(rest);
    bare.lines().map(str::trim).filter(|line| !line.is_empty()).flat_map(|line| [line, "\n"]).collect()
}

/// The style sheets of these names as one, in their order: one request on a bad connection.
fn style_sheet(folder: &Path, is_wanted: impl Fn(&str) -> bool) -> Result<String> {
    let mut sheet = String::new();
    for file in tools::files_below(folder)? {
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        if file.extension().is_some_and(|ext| ext == "css") && is_wanted(&name) {
            sheet.push_str(&fs::read_to_string(&file)?);
            sheet.push('\n');
        }
    }
    Ok(bare_style(&sheet))
}

/// The words of a language that a first screen may say, and those of the rooms that `later-words.txt` names, each in the order of their keys,
/// as `i18n::install` reads them. That no key is missing was seen by the build script of the app.
fn words_files(web: &Path, language: &str) -> Result<[String; 2]> {
    let read = |file: PathBuf| fs::read_to_string(&file).with_context(|| format!("cannot read {}", file.display()));
    let table: BTreeMap<String, String> =
        serde_json::from_str(&read(web.join("locales").join(format!("{language}.json")))?)?;
    let rooms = read(web.join("later-words.txt"))?;
    let is_later = |key: &str| key.split('.').next().is_some_and(|own| rooms.lines().any(|room| room == own));
    let (later, first): (Vec<_>, Vec<_>) = table.into_iter().partition(|(key, _)| is_later(key));
    Ok([first, later].map(|words| words.into_iter().map(|(_, word)| word).collect::<Vec<_>>().join("\u{0}")))
}

pub(crate) fn write_named(folder: &Path, stem: &str, ext: &str, bytes: &[u8]) -> Result<String> {
    let digest = tools::hex(&Sha256::digest(bytes));
    let name = format!("{stem}-{}.{ext}", &digest[..NAME_DIGITS]);
    fs::write(folder.join(&name), bytes)?;
    Ok(name)
}

fn copy_tree(from: &Path, to: &Path) -> Result<()> {
    for file in tools::files_below(from)? {
        let target = to.join(file.strip_prefix(from)?);
        if let Some(parent) = target.parent() {
            fs::create_dir_all(parent)?;
        }
        fs::copy(&file, &target).with_context(|| format!("cannot copy {}", file.display()))?;
    }
    Ok(())
}

/// Taken before the placeholders are filled, for one of them is this.
fn build_id(dist: &Path) -> Result<String> {
    let mut all = Sha256::new();
    for file in tools::files_below(dist)? {
        all.update(url_of(dist, &file)?);
        all.update([0]);
        all.update(Sha256::digest(fs::read(&file)?));
    }
    Ok(tools::hex(&all.finalize())[..NAME_DIGITS].to_owned())
}

fn fill(dist: &Path, words: &[(&str, String)]) -> Result<()> {
    for file in tools::files_below(dist)? {
        // An asset's name is its content: nothing may change in it.
        if file.starts_with(dist.join(ASSETS)) {
            continue;
        }
        let Ok(text) = fs::read_to_string(&file) else {
            continue;
        };
        let filled = words.iter().fold(text.clone(), |text, (placeholder, word)| text.replace(placeholder, word));
        if file == dist.join("index.html") && !text.contains("{{js}}") {
            bail!("web/public/index.html has no {{{{js}}}}: it would not start the app");
        }
        if filled != text {
            fs::write(&file, filled)?;
        }
    }
    if !dist.join("index.html").exists() {
        bail!("web/public/index.html is missing");
    }
    Ok(())
}

fn manifest(dist: &Path, build: &str) -> Result<String> {
    let mut files = Vec::new();
    for file in tools::files_below(dist)? {
        if file == dist.join("sw.js") {
            continue;
        }
        let (url, sha256) = (url_of(dist, &file)?, tools::hex(&Sha256::digest(fs::read(&file)?)));
        let is_optional = OPTIONAL.iter().any(|start| url.starts_with(start));
        files.push(serde_json::json!({ "url": url, "sha256": sha256, "optional": is_optional }));
    }
    Ok(serde_json::json!({ "build": build, "files": files }).to_string())
}

fn url_of(dist: &Path, file: &Path) -> Result<String> {
    Ok(format!("/{}", file.strip_prefix(dist)?.display()))
}

/// One digest over all that the web app is made from.
fn digest_of_inputs(profile: Profile) -> Result<String> {
    let root = tools::root();
    let own =
        ["web.rs", "code_reader.rs", "packed.rs", "verifier_page.rs"].map(|name| root.join("xtask/src").join(name));
    let mut files = ["Cargo.toml", "Cargo.lock", ".cargo/config.toml"].map(|name| root.join(name)).to_vec();
    files.extend(own);
    for room in ["web", "domain"] {
        files.extend(tools::files_below(&root.join(room))?);
    }
    let mut all = Sha256::new();
    all.update(profile.cargo_name());
    all.update(tools::read(Command::new("rustc").arg("-vV").current_dir(&root))?);
    for file in files {
        all.update(file.strip_prefix(&root)?.as_os_str().as_encoded_bytes());
        all.update([0]);
        all.update(Sha256::digest(fs::read(&file).with_context(|| format!("cannot read {}", file.display()))?));
    }
    Ok(tools::hex(&all.finalize()))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;

    fn bed(name: &str) -> PathBuf {
        let bed = tools::target_dir().join(format!("xtask-test-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&bed);
        for (file, text) in [
            ("bound/web.js", "import * as parts from \"./parts.js\"; const address = 'web_bg.wasm';"),
            ("bound/parts.js", "import { initSync } from './web.js'; fetch('./split_desk.wasm');"),
            ("bound/split_desk.wasm", "\0asm2"),
            ("bound/web_bg.wasm", "\0asm"),
            ("reader/reader.js", "let wasm_bindgen;"),
            ("reader/reader_bg.wasm", "\0asm3"),
            ("web/reader/worker.js", "wasm_bindgen('{{wasm}}');"),
            ("web/locales/en.json", r#"{ "c.x": "two", "a.x": "one", "b.x": "late" }"#),
            ("web/locales/de.json", r#"{ "a.x": "eins", "b.x": "spät", "c.x": "zwei" }"#),
            ("web/locales/es.json", r#"{ "a.x": "uno", "b.x": "tarde", "c.x": "dos" }"#),
            ("web/later-words.txt", "# Why.\nb\n"),
            ("web/style/b.css", "b{}"),
            ("web/style/a.css", "a{}"),
            ("web/style/60-lead-office.css", "later{}"),
            (
                "web/public/index.html",
                "<link href={{css}} later={{css-later}}><script src={{js}} data-wasm={{wasm}} data-words-de={{words-de}} data-reader={{reader}} data-build={{build}}>",
            ),
            ("web/public/sw.js", "const SHELL = {{manifest}}; // {{build}}"),
            ("web/public/icons/one.svg", "<svg/>"),
        ] {
            fs::create_dir_all(bed.join(file).parent().unwrap()).unwrap();
            fs::write(bed.join(file), text).unwrap();
        }
        bed
    }

    #[test]
    fn words_stand_in_the_order_of_their_keys() {
        let bed = bed("words");
        let of = |language| words_files(&bed.join("web"), language).unwrap();
        assert_eq!(LANGUAGES.map(of), [["one\0two", "late"], ["eins\0zwei", "spät"], ["uno\0dos", "tarde"]]);
        fs::remove_dir_all(bed).unwrap();
    }

    #[test]
    fn manifest_names_every_file_but_the_worker_with_its_true_hash() {
        let bed = bed("manifest");
        let dist = bed.join("dist");
        lay_out(&bed.join("bound"), &bed.join("reader"), &bed.join("web"), &dist).unwrap();
        let worker = fs::read_to_string(dist.join("sw.js")).unwrap();
        let json = worker.strip_prefix("const SHELL = ").unwrap().split_once("; //").unwrap().0;
        let manifest: serde_json::Value = serde_json::from_str(json).unwrap();
        let files = manifest["files"].as_array().unwrap();
        for file in files {
            let path = dist.join(file["url"].as_str().unwrap().trim_start_matches('/'));
            assert_eq!(file["sha256"], tools::hex(&Sha256::digest(fs::read(path).unwrap())));
        }
        assert_eq!(files.len() + 1, tools::files_below(&dist).unwrap().len());
        let optional: Vec<_> = files.iter().filter(|file| file["optional"] == true).map(|file| &file["url"]).collect();
        assert_eq!(optional, ["/icons/one.svg"], "no picture forbids the start");
        let is_of = |file: &&serde_json::Value, kind: &str| file["url"].as_str().unwrap().starts_with(kind);
        for kind in ["/assets/words-", "/assets/later-words-"] {
            let languages = files.iter().filter(|file| is_of(file, kind));
            assert_eq!(languages.count(), LANGUAGES.len(), "a change of language needs no network");
        }
        let page = fs::read_to_string(dist.join("index.html")).unwrap();
        assert!(!page.contains("{{"), "{page}");
        assert!(page.contains(manifest["build"].as_str().unwrap()));
        let style = |name: &str| {
            let address = page.split_once(name).unwrap().1.split([' ', '>']).next().unwrap();
            fs::read_to_string(dist.join(address)).unwrap()
        };
        assert_eq!((style("href=/"), style("later=/")), ("a{}\nb{}\n".to_owned(), "later{}\n".to_owned()));
        let reader = page.split_once("data-reader=/").unwrap().1.split(' ').next().unwrap();
        let script = fs::read_to_string(dist.join(reader)).unwrap();
        let wasm = script.split_once("wasm_bindgen('").unwrap().1.split('\'').next().unwrap();
        assert_eq!(fs::read(dist.join(ASSETS).join(wasm)).unwrap(), b"\0asm3", "{script}");
        fs::remove_dir_all(bed).unwrap();
    }

    #[test]
    fn scripts_and_styles_travel_without_what_only_people_read() {
        let script =
            "// why\nconst a = '// no comment'; // stays\n\n/**\n * of b\n */\n  /* one */ f();\n  return `a ${a}`;\n";
        assert_eq!(bare_script(script), "const a = '// no comment'; // stays\n/* one */ f();\nreturn `a ${a}`;\n");
        let over_lines = "const text = `\n  // not a comment\n`;\n";
        assert_eq!(bare_script(over_lines), over_lines);
        assert_eq!(bare_style("/* why */\na {\n  b: c; /* and\n  why */ d: e;\n}\n\n"), "a {\nb: c;  d: e;\n}\n");
    }

    #[test]
    fn same_sources_same_bytes_and_a_change_anywhere_is_a_new_build() {
        let bed = bed("same");
        let worker_of = |dist: &str| {
            lay_out(&bed.join("bound"), &bed.join("reader"), &bed.join("web"), &bed.join(dist)).unwrap();
            fs::read_to_string(bed.join(dist).join("sw.js")).unwrap()
        };
        let first = worker_of("one");
        assert_eq!(first, worker_of("two"));
        fs::write(bed.join("web/public/icons/one.svg"), "<svg></svg>").unwrap();
        assert_ne!(first, worker_of("three"));
        fs::remove_dir_all(bed).unwrap();
    }
}
