//! `verifier.html`: one file that checks a sealed pack without a network and without anybody's help.
//!
//! The rules are `web/verifier` compiled to wasm, the page and its words lie beside them. Whoever changes the script changes its hash, and a
//! browser then runs nothing.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use sha2::{Digest, Sha256};
use wasm_bindgen_cli_support::Bindgen;

use crate::tools;
use crate::web::{LANGUAGES, Profile, bind, compile, compiled};

/// The package, and the page's name.
const VERIFIER: &str = "verifier";

/// The page that checks a sealed pack: rules, words and page in one file, which names in itself the only script that may run.
pub(crate) fn build(profile: Profile, dist: &Path) -> Result<()> {
    compile(profile, VERIFIER, &["--lib"], &[]).context("the verifier does not compile")?;
    let bound = tools::target_dir().join(format!("{}-verifier", profile.cargo_name()));
    let wasm = compiled(profile).join(VERIFIER).with_extension("wasm");
    bind(Bindgen::new().no_modules(true)?, VERIFIER, &wasm, &bound)?;
    let whole = page(&bound, &tools::root().join("web").join(VERIFIER))?;
    Ok(fs::write(dist.join(VERIFIER).with_extension("html"), whole)?)
}

fn page(bound: &Path, source: &Path) -> Result<String> {
    let read = |path: PathBuf| fs::read_to_string(&path).with_context(|| format!("cannot read {}", path.display()));
    let wasm = fs::read(bound.join("verifier_bg.wasm"))?;
    let mut words = Vec::new();
    for language in LANGUAGES {
        words.push(format!("\"{language}\":{}", read(source.join("locales").join(format!("{language}.json")))?.trim()));
    }
    let filled = read(source.join("page/page.js"))?
        .replace("{{words}}", &format!("{{{}}}", words.join(",")))
        .replace("{{wasm-sha256}}", &tools::hex(&Sha256::digest(&wasm)))
        .replace("{{wasm}}", &base64(&wasm));
    let script = format!("{}\n{filled}", read(bound.join("verifier.js"))?);
    let style = read(source.join("page/page.css"))?;
    if script.contains("</script") || style.contains("</style") {
        bail!("the verifier's script or style ends its own element");
    }
    let hash = |text: &str| format!("sha256-{}", base64(&Sha256::digest(text.as_bytes())));
    Ok(read(source.join("page/page.html"))?
        .replace("{{script-hash}}", &hash(&script))
        .replace("{{style-hash}}", &hash(&style))
        .replace("{{style}}", &style)
        .replace("{{script}}", &script))
}

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let number = (0..3).fold(0_usize, |sum, at| (sum << 8) | usize::from(three.get(at).copied().unwrap_or(0)));
        for at in 0..4 {
            let sign = char::from(SIGNS[(number >> (18 - 6 * at)) & 63]);
            out.push(if at > three.len() { '=' } else { sign });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_that_of_the_standard() {
        let found = ["", "f", "fo", "foo", "foob", "fooba", "foobar"].map(|text| base64(text.as_bytes()));
        assert_eq!(found, ["", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"]);
    }
}
