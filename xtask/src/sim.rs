//! `cargo xtask sim`: the simulation, built as it would run in earnest. The package `sim` says what the words mean.

use anyhow::Result;

use crate::tools;

/// Seeds that CI runs besides the tests of the package.
pub(crate) const FIXED: [&str; 5] = ["--seed", "5001", "--seeds", "40", "--clean"];

/// Hands everything on.
pub(crate) fn command(args: &[String]) -> Result<()> {
    run(args.iter().map(String::as_str))
}

/// Builds and runs it. Its figures go to our output, everything else beside it.
pub(crate) fn run<'a>(args: impl IntoIterator<Item = &'a str>) -> Result<()> {
    let mut command = tools::cargo(["run", "--quiet", "--release", "--package", "sim", "--"]);
    tools::run(command.args(args))
}
