//! The recorded shape of every query: `.sqlx/`, written here, never by hand.
//!
//! The macros of sqlx ask a database while the server is compiled. We give them one of our own with all migrations in it and let
//! them write what they learnt; every other build reads that (`SQLX_OFFLINE`) and needs no database.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use anyhow::{Context, Result, bail};

use crate::postgres::Cluster;
use crate::{check, tools};

/// How often the server is compiled until the macros have run.
const ATTEMPTS_MAX: u32 = 3;

/// `cargo xtask sqlx`: records anew.
pub(crate) fn command(args: &[String]) -> Result<()> {
    if !args.is_empty() {
        bail!("`sqlx` takes nothing");
    }
    let cluster = Cluster::start("dev")?;
    let fresh = record(&cluster)?;
    cluster.stop()?;
    let kept = tools::root().join(".sqlx");
    let (before, after) = (load(&kept)?, load(&fresh)?);
    let _ = fs::remove_dir_all(&kept);
    if !after.is_empty() {
        fs::create_dir_all(&kept)?;
        for (name, text) in &after {
            fs::write(kept.join(name), text)?;
        }
    }
    fs::remove_dir_all(&fresh)?;
    let same = after.iter().filter(|(name, text)| before.get(*name) == Some(*text)).count();
    tools::say(format!("{} queries recorded in .sqlx, {} of them new or changed", after.len(), after.len() - same));
    Ok(())
}

/// The committed record must be what the macros write today, no file more or less.
pub(crate) fn check(cluster: &Cluster) -> Result<()> {
    let fresh = record(cluster)?;
    let (kept, now) = (load(&tools::root().join(".sqlx"))?, load(&fresh)?);
    fs::remove_dir_all(&fresh)?;
    let mut wrong = Vec::new();
    for (name, text) in &now {
        match kept.get(name) {
            None => wrong.push(format!("missing: {name}")),
            Some(old) if old != text => wrong.push(format!("outdated: {name}")),
            Some(_) => {}
        }
    }
    wrong.extend(kept.keys().filter(|name| !now.contains_key(*name)).map(|name| format!("no query for it: {name}")));
    if !wrong.is_empty() {
        bail!(
            "the query data in .sqlx is not that of the code; run `cargo xtask sqlx` and commit:\n  {}",
            wrong.join("\n  ")
        );
    }
    tools::say(format!("{} queries agree with .sqlx", now.len()));
    Ok(())
}

/// Compiles the server against a fresh database; gives the folder with what the macros wrote.
fn record(cluster: &Cluster) -> Result<PathBuf> {
    let database = format!("sqlx_{}", std::process::id());
    let fresh = tools::target_dir().join(format!("sqlx-{}", std::process::id()));
    cluster.drop_database(&database)?;
    cluster.create_database(&database)?;
    let _ = fs::remove_dir_all(&fresh);
    fs::create_dir_all(&fresh)?;
    let done = migrate(cluster, &database).and_then(|()| expand(&cluster.owner_url(&database), &fresh));
    cluster.drop_database(&database)?;
    if let Err(error) = done {
        fs::remove_dir_all(&fresh)?;
        return Err(error);
    }
    Ok(fresh)
}

fn migrate(cluster: &Cluster, database: &str) -> Result<()> {
    let folder = tools::root().join("migrations");
    let files: Vec<PathBuf> = tools::files_below(&folder)?
        .into_iter()
        .filter(|file| file.extension().is_some_and(|ext| ext == "sql"))
        .collect();
    if files.is_empty() {
        tools::say("there is no migration yet: the database is empty");
    }
    files.iter().try_for_each(|file| cluster.run_file(database, file))
}

fn expand(database_url: &str, fresh: &Path) -> Result<()> {
    // Two at once would each take the other's compiled server for their own.
    let lock = fs::File::create(tools::local_dir()?.join("sqlx.lock"))?;
    lock.lock().context("cannot lock .local/sqlx.lock")?;
    let expects_queries = has_queries()?;
    for _ in 0..ATTEMPTS_MAX {
        touch_server()?;
        // The selection of the lints in check.rs, so that cargo finds the dependencies checked already.
        let mut check = tools::cargo(["check", "--quiet", "--all-features", "--bin", "server"]);
        check.args(check::HOST_PACKAGES);
        check.env("DATABASE_URL", database_url).env("SQLX_OFFLINE", "false").env("SQLX_OFFLINE_DIR", fresh);
        tools::run(&mut check).context("the server does not compile against a database with all migrations in it")?;
        // Another cargo may have compiled the touched server a moment before ours, and then ours had nothing to do.
        if !expects_queries || !load(fresh)?.is_empty() {
            return Ok(());
        }
    }
    bail!(
        "the server has queries and its compilation recorded none, {ATTEMPTS_MAX} times; is another cargo running all the time?"
    )
}

/// Cargo does not know that the macros read a database: a new time on the crate's roots makes it compile the server again.
fn touch_server() -> Result<()> {
    let source = tools::root().join("server/src");
    for name in ["lib.rs", "main.rs"] {
        let file = source.join(name);
        if file.exists() {
            fs::File::options().append(true).open(&file)?.set_modified(SystemTime::now())?;
        }
    }
    Ok(())
}

fn has_queries() -> Result<bool> {
    for file in tools::files_below(&tools::root().join("server/src"))? {
        if file.file_name().is_some_and(|name| name == "queries.rs")
            && fs::read_to_string(&file)?.contains("sqlx::query")
        {
            return Ok(true);
        }
    }
    Ok(false)
}

fn load(folder: &Path) -> Result<BTreeMap<String, String>> {
    let mut found = BTreeMap::new();
    if !folder.exists() {
        return Ok(found);
    }
    for file in tools::files_below(folder)? {
        let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if name.starts_with("query-") {
            found.insert(name, fs::read_to_string(&file)?);
        }
    }
    Ok(found)
}
