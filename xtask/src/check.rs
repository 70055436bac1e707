//! `cargo xtask check`: all that can be said about the code without running it.

use std::process::Command;

use anyhow::{Result, bail};

use crate::postgres::Cluster;
use crate::{sqlx, tidy, tools, web};

/// What is compiled for this machine, as arguments of cargo.
#[rustfmt::skip]
pub(crate) const HOST_PACKAGES: [&str; 14] = [
    "--package", "domain", "--package", "server", "--package", "pictures", "--package", "tests", "--package", "camera",
    "--package", "sim", "--package", "xtask",
];

/// Runs every check with the development database.
pub(crate) fn command(args: &[String]) -> Result<()> {
    if !args.is_empty() {
        bail!("`check` takes nothing");
    }
    let cluster = Cluster::start("dev")?;
    let result = all(&cluster);
    cluster.stop()?;
    result
}

/// Every check, also after one has failed: a person mends all findings in one go.
pub(crate) fn all(cluster: &Cluster) -> Result<()> {
    let checks: [(&str, &dyn Fn() -> Result<()>); 5] = [
        ("tidy", &tidy::check),
        ("format", &|| tools::run(&mut tools::cargo(["fmt", "--all", "--check"]))),
        ("lints on this machine", &|| tools::run(&mut host_lints())),
        ("lints for the browser", &browser_lints),
        ("query data", &|| sqlx::check(cluster)),
    ];
    let mut failed = Vec::new();
    for (name, check) in checks {
        if tools::stop_requested() {
            bail!("stopped");
        }
        tools::say(format!("check: {name}"));
        if let Err(error) = check() {
            tools::say(format!("check failed: {name}: {error:#}"));
            failed.push(name);
        }
    }
    if failed.is_empty() {
        return Ok(());
    }
    bail!("failed: {}", failed.join(", "));
}

fn host_lints() -> Command {
    let mut clippy = tools::cargo(["clippy", "--all-targets", "--all-features"]);
    clippy.args(HOST_PACKAGES);
    clippy.args(["--", "--deny", "warnings"]);
    clippy
}

fn browser_lints() -> Result<()> {
    web::ensure_target()?;
    let mut clippy = tools::cargo(["clippy", "--lib"]);
    clippy.args(["--package", "web", "--package", "reader", "--package", "verifier", "--package", "domain"]);
    clippy.args(["--target", "wasm32-unknown-unknown", "--", "--deny", "warnings"]);
    tools::run(&mut clippy)
}
