//! Files of the app as they travel: packed once, as small as can be, and laid beside the file that they stand for. A server that has
//! them packs nothing anew for each phone, and what it could do in passing is larger by a sixth.

use std::ffi::OsStr;
use std::fs;
use std::io::Write as _;
use std::path::Path;

use anyhow::{Context as _, Result};
use brotli::enc::backward_references::BrotliEncoderMode::{BROTLI_MODE_FONT, BROTLI_MODE_GENERIC};
use flate2::Compression;
use flate2::write::GzEncoder;

use crate::tools;

const BROTLI_QUALITY: i32 = 11;
const BROTLI_WINDOW_BITS: i32 = 22;
/// Blocks of 64 KiB: measured, the app's code is 0.2 % smaller than with those the encoder takes by itself, and nothing is larger.
const BROTLI_BLOCK_BITS: i32 = 16;
/// How a module for the browser begins.
const WASM: &[u8] = b"\0asm";
/// What is text or code; pictures are packed as they are.
const PACKABLE: [&str; 7] = ["css", "html", "js", "svg", "txt", "wasm", "webmanifest"];

/// Lays `name.br` and `name.gz` beside each file that becomes smaller by it.
pub(crate) fn lay_beside(dist: &Path) -> Result<()> {
    for file in tools::files_below(dist)? {
        if !file.extension().and_then(OsStr::to_str).is_some_and(|ext| PACKABLE.contains(&ext)) {
            continue;
        }
        let bytes = fs::read(&file).with_context(|| format!("cannot read {}", file.display()))?;
        for (ending, packed) in [(".br", brotli(&bytes)?), (".gz", gzip(&bytes)?)] {
            if packed.len() < bytes.len() {
                let mut name = file.clone().into_os_string();
                name.push(ending);
                fs::write(name, packed)?;
            }
        }
    }
    Ok(())
}

/// As brotli sends it.
pub(crate) fn brotli(bytes: &[u8]) -> Result<Vec<u8>> {
    // The distances in code repeat as those in fonts do, for which the format has a setting: measured, 0.1 % smaller.
    let mode = if bytes.starts_with(WASM) { BROTLI_MODE_FONT } else { BROTLI_MODE_GENERIC };
    let params = brotli::enc::BrotliEncoderParams {
        quality: BROTLI_QUALITY,
        lgwin: BROTLI_WINDOW_BITS,
        lgblock: BROTLI_BLOCK_BITS,
        mode,
        ..Default::default()
    };
    let mut packed = Vec::new();
    brotli::BrotliCompress(&mut &bytes[..], &mut packed, &params)?;
    Ok(packed)
}

fn gzip(bytes: &[u8]) -> Result<Vec<u8>> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(bytes)?;
    Ok(encoder.finish()?)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;
    use std::io::Read as _;

    #[test]
    fn words_are_packed_as_small_as_the_format_can() {
        let words = fs::read(tools::root().join("web/locales/de.json")).unwrap();
        let words = &words[..60_000];
        let at = |quality| {
            let (lgwin, lgblock) = (BROTLI_WINDOW_BITS, BROTLI_BLOCK_BITS);
            let params = brotli::enc::BrotliEncoderParams { quality, lgwin, lgblock, ..Default::default() };
            let mut packed = Vec::new();
            brotli::BrotliCompress(&mut &words[..], &mut packed, &params).unwrap();
            packed.len()
        };
        let packed = brotli(words).unwrap().len();
        assert_eq!(packed, (0..=11).map(at).min().unwrap());
        assert!(packed < at(9), "the best is slow and worth it");
    }

    #[test]
    fn what_becomes_smaller_lies_packed_beside_itself_and_is_the_same() {
        let folder = tools::target_dir().join(format!("xtask-test-packed-{}", std::process::id()));
        fs::create_dir_all(folder.join("assets")).unwrap();
        let text = "a sentence that stands here more than once. ".repeat(60);
        for (name, bytes) in [("assets/a.js", text.as_bytes()), ("b.txt", b"x"), ("c.png", text.as_bytes())] {
            fs::write(folder.join(name), bytes).unwrap();
        }
        lay_beside(&folder).unwrap();
        let mut names: Vec<String> = tools::files_below(&folder)
            .unwrap()
            .iter()
            .map(|file| file.strip_prefix(&folder).unwrap().display().to_string())
            .collect();
        names.sort();
        assert_eq!(names, ["assets/a.js", "assets/a.js.br", "assets/a.js.gz", "b.txt", "c.png"]);
        let mut whole = Vec::new();
        brotli::BrotliDecompress(&mut &fs::read(folder.join("assets/a.js.br")).unwrap()[..], &mut whole).unwrap();
        assert_eq!(whole, text.as_bytes());
        let mut whole = String::new();
        let packed = fs::read(folder.join("assets/a.js.gz")).unwrap();
        flate2::read::GzDecoder::new(&packed[..]).read_to_string(&mut whole).unwrap();
        assert_eq!(whole, text);
        fs::remove_dir_all(folder).unwrap();
    }
}
