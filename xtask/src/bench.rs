//! `cargo xtask bench [NAME…] [--json]`: figures of size and speed, printed, never asserted.
//!
//! A new figure is one entry in [`all`]. A bench may give several figures where measuring one gives the others too. What
//! needs a server or a browser is measured by the example `bench` of the package `tests`, in its release build and on a
//! Postgres of its own with fsync; here it is only started and read.

use std::path::PathBuf;

use anyhow::{Context, Result, bail};
use serde_json::{Map, Value};

use crate::postgres::{Cluster, DATABASE};
use crate::test::Browser;
use crate::tools;
use crate::web::{self, Profile};

/// Figures that a browser on a server gives.
const BROWSER_FIGURES: [&str; 9] = [
    "first_screen_wire_bytes",
    "start_cold_ms",
    "start_offline_ms",
    "start_offline_at_work_ms",
    "tap_reading_saved_ms_p95",
    "photo_12mp_saved_ms_p95",
    "reproof_taps",
    "design_recompute_ms_p95",
    "live_ms_p95",
];
/// Figures of bytes and requests.
const LINE_FIGURES: [&str; 3] = ["wire_ratio_day", "backlog_requests_500", "upload_bytes_ratio_drop30s"];
/// Figures that take minutes and all of the machine: measured when they are named, and not otherwise.
const BY_NAME_ONLY: [&str; 20] = [
    "push_p50_ms_1",
    "push_p95_ms_1",
    "push_p99_ms_1",
    "pull_p50_ms_1",
    "pull_p95_ms_1",
    "pull_p99_ms_1",
    "push_p50_ms_50",
    "push_p95_ms_50",
    "push_p99_ms_50",
    "pull_p50_ms_50",
    "pull_p95_ms_50",
    "pull_p99_ms_50",
    "push_p50_ms_500",
    "push_p95_ms_500",
    "push_p99_ms_500",
    "pull_p50_ms_500",
    "pull_p95_ms_500",
    "pull_p99_ms_500",
    "server_rss_mb_500",
    "drain_500x200_ratio",
];
/// Settings that point at real services, which no bench may touch.
const REAL_SERVICES: [&str; 6] = ["DATABASE_URL", "DATABASE_OWNER_URL", "PHOTO_STORE", "DEMO", "LISTEN", "PUBLIC_URL"];

struct Bench {
    /// The names that it prints, unit last.
    figures: &'static [&'static str],
    /// One value for each of the names that are asked of it, in that order; `None` where one could not be measured.
    measure: fn(&[&str]) -> Result<Vec<Option<f64>>>,
}

fn all() -> Vec<Bench> {
    vec![
        Bench { figures: &["web_code_brotli_bytes", "web_code_all_brotli_bytes"], measure: web_code_brotli_bytes },
        Bench { figures: &["fold_2000_ms"], measure: fold_2000_ms },
        Bench {
            figures: &["push_ratio_to_bare_insert", "pull_ratio_1m_to_1k", "pull_first_look_ms"],
            measure: on_a_server,
        },
        Bench { figures: &LINE_FIGURES, measure: on_a_server },
        Bench { figures: &BROWSER_FIGURES, measure: on_a_server },
        Bench { figures: &BY_NAME_ONLY, measure: on_a_server },
    ]
}

/// Prints one flat object `{name: number}` with `--json`, or a line a figure.
pub(crate) fn command(args: &[String]) -> Result<()> {
    let json = args.iter().any(|arg| arg == "--json");
    let names: Vec<&str> = args.iter().map(String::as_str).filter(|arg| *arg != "--json").collect();
    let benches = all();
    let known: Vec<&str> = benches.iter().flat_map(|bench| bench.figures.iter().copied()).collect();
    if let Some(unknown) = names.iter().find(|name| !known.contains(name)) {
        bail!("there is no bench `{unknown}`; there are: {}", known.join(", "));
    }
    let (mut figures, mut missing) = (Map::new(), Vec::new());
    for bench in benches {
        let is_usual = |figure: &&str| names.is_empty() && !BY_NAME_ONLY.contains(figure);
        let asked: Vec<&str> =
            bench.figures.iter().copied().filter(|figure| is_usual(figure) || names.contains(figure)).collect();
        if asked.is_empty() {
            continue;
        }
        // One figure that cannot be had must not cost the others; the run fails all the same, at its end.
        match (bench.measure)(&asked) {
            Ok(values) => {
                for (figure, value) in asked.iter().zip(values) {
                    match value {
                        Some(value) => {
                            tools::say(format!("{figure} {value}"));
                            figures.insert((*figure).to_owned(), number(value));
                        }
                        None => missing.push((*figure).to_owned()),
                    }
                }
            }
            Err(error) => {
                tools::say(format!("{}: {error:#}", asked.join(", ")));
                missing.extend(asked.iter().map(|figure| (*figure).to_owned()));
            }
        }
    }
    if json {
        println!("{}", Value::Object(figures));
    } else {
        for (name, value) in &figures {
            println!("{name}  {value}");
        }
    }
    if missing.is_empty() { Ok(()) } else { bail!("not measured: {}", missing.join(", ")) }
}

/// Whole figures stay whole in JSON: `350000`, not `350000.0`.
fn number(value: f64) -> Value {
    if value.fract() == 0.0 && value.abs() < 9e15 {
        return serde_json::json!(value as i64);
    }
    serde_json::json!(value)
}

/// What a browser must load before a technician's first screen is drawn, and all there is: wasm and scripts, as brotli sends them.
fn web_code_brotli_bytes(figures: &[&str]) -> Result<Vec<Option<f64>>> {
    let sizes = web::code_sizes(&web::build(Profile::Ship)?)?;
    let sum = |all: bool| sizes.iter().filter(|one| all || !one.is_part()).map(|one| one.sent).sum::<u64>() as f64;
    Ok(figures.iter().map(|figure| Some(sum(*figure == "web_code_all_brotli_bytes"))).collect())
}

/// The fold of a job file of 2,000 entries with the state of every step, on this machine.
fn fold_2000_ms(_: &[&str]) -> Result<Vec<Option<f64>>> {
    let words =
        ["run", "--quiet", "--release", "--package", "domain", "--features", "methods", "--example", "fold_2000"];
    let printed = tools::read(&mut tools::cargo(words))?;
    let ms = printed.trim().parse().with_context(|| format!("the example printed no number but {printed:?}"))?;
    Ok(vec![Some(ms)])
}

/// Builds, starts and reads the example `bench`.
fn on_a_server(figures: &[&str]) -> Result<Vec<Option<f64>>> {
    let (server, bench) = build_for_release()?;
    let mut command = std::process::Command::new(bench);
    command.args(figures);
    for name in REAL_SERVICES {
        command.env_remove(name);
    }
    command.env("WITNESSMARK_SERVER_BIN", server);
    if figures.iter().any(|figure| BROWSER_FIGURES.contains(figure)) {
        let browser = Browser::find_or_install()?;
        command.env("WITNESSMARK_CHROMIUM", browser.chromium).env("WITNESSMARK_CHROMEDRIVER", browser.driver);
        command.env("WITNESSMARK_WEB_DIST", web::build(Profile::Ship)?);
    }
    // Fresh, because a cluster that was filled and emptied again has other habits than a new one.
    let name = format!("test-{}", std::process::id());
    let cluster = Cluster::start(&name)?;
    cluster.create_database(DATABASE)?;
    command.env("WITNESSMARK_TEST_DATABASE_URL", cluster.owner_url(DATABASE));
    let printed = tools::read_out(&mut command);
    cluster.stop()?;
    Cluster::remove(&name)?;
    let printed = printed?;
    let found: Map<String, Value> =
        serde_json::from_str(printed.trim()).with_context(|| format!("no flat object but {printed:?}"))?;
    Ok(figures.iter().map(|figure| found.get(*figure).and_then(Value::as_f64)).collect())
}

/// The server's program and the bench, both as they would run in earnest. One call of cargo, so that what they share is
/// compiled once.
fn build_for_release() -> Result<(PathBuf, PathBuf)> {
    let words =
        ["build", "--release", "--package", "server", "--package", "tests", "--bin", "server", "--example", "bench"];
    tools::run(&mut tools::cargo(words)).context("the server or the bench does not compile")?;
    let release = tools::target_dir().join("release");
    Ok((release.join("server"), release.join("examples/bench")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_numbers_have_no_point() {
        assert_eq!(number(350_000.0).to_string(), "350000");
        assert_eq!(number(0.25).to_string(), "0.25");
    }

    #[test]
    fn an_unknown_name_is_refused_before_anything_is_measured() {
        let refused = command(&["nonsense".to_owned()]).err().map(|error| error.to_string());
        assert!(refused.is_some_and(|text| text.contains("web_code_brotli_bytes") && text.contains("start_cold_ms")));
    }
}
