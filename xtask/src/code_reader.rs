//! The reader of codes (`web/reader`) as two files of the shell: its wasm, and a script for a worker that has its glue in it. Nothing of
//! the first screen names them but an attribute of the page, and nothing loads them before somebody presses "scan".

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use wasm_bindgen_cli_support::Bindgen;

use crate::tools;
use crate::web::{PART, Profile, bind, compile, compiled, write_named};

/// The package, and what its files are called.
const READER: &str = "reader";

/// Compiled and bound; gives the folder of both files.
pub(crate) fn build(profile: Profile) -> Result<PathBuf> {
    compile(profile, READER, &["--lib"], &[]).context("the reader of codes does not compile")?;
    let bound = tools::target_dir().join(format!("{}-{READER}", profile.cargo_name()));
    let wasm = compiled(profile).join(READER).with_extension("wasm");
    bind(Bindgen::new().no_modules(true)?, READER, &wasm, &bound)?;
    Ok(bound)
}

/// Puts both files among the assets; gives the name of the worker's script.
pub(crate) fn lay_out(bound: &Path, web: &Path, assets: &Path) -> Result<String> {
    let stem = format!("{PART}{READER}");
    let wasm = write_named(assets, &stem, "wasm", &fs::read(bound.join("reader_bg.wasm"))?)?;
    let source = web.join(READER).join("worker.js");
    let worker = fs::read_to_string(&source).with_context(|| format!("cannot read {}", source.display()))?;
    let glue = fs::read_to_string(bound.join("reader.js"))?;
    let script = format!("{glue}\n{}", worker.replace("{{wasm}}", &wasm));
    write_named(assets, &stem, "js", script.as_bytes())
}
