//! The project's own commands: the same by hand and in CI. `cargo xtask` lists them.
//!
//! `up`, `test` and `check` are the three that a person needs. The others are their parts. Nothing here knows a rule of the trade.

use std::process::ExitCode;

use anyhow::{Result, bail};

mod bench;
mod check;
mod code_reader;
mod kills;
mod methods;
mod packed;
mod pictures;
mod postgres;
mod programs;
mod sim;
mod sqlx;
mod test;
mod tidy;
mod tools;
mod up;
mod verifier_page;
mod verify;
mod web;

const HELP: &str = "\
cargo xtask <command>

  up [--port N] [--reset] [--no-demo] [--dev]
                       serve everything on one port of this machine; Ctrl-C stops it.
                       --reset begins with an empty database, --no-demo prints a link for the first owner,
                       --dev compiles the web app sooner and larger
  test [PART…]         all tests, or the named parts; prints the minutes of each
  check                the quick part: format, lints, tidy, query data
  tidy                 only the walls between the rooms
  db [stop|reset]      start the development Postgres, leave it running and print its addresses
  sqlx                 record the shape of every query anew (.sqlx)
  web [--dev]          build the web app and print its sizes
  bench [NAME…] [--json]
                       measure; with --json one flat object
  sim [--seeds N] [--seed S] [--json] [--planted WORD] [--diary]
                       a whole firm from one seed, and planted faults that it must find
  kills [--kills N] [--seed S] [--json] [--browser]
                       real servers and a real Postgres killed at random under working devices, 200 times; with
                       --browser Chromium while it saves photos, 100 times
  verify FILE [--key FINGERPRINT]
                       what a sealed pack proves, without a server; --sample FILE writes a made-up pack,
                       --mutations N [--seed S] changes it N times and counts the changes that are seen
  pictures             take the pictures of the README anew, from the demo firm
  methods [--json]     the built-in methods: steps, hold points, complaints of the checker
";

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            tools::say(format!("{error:#}"));
            ExitCode::FAILURE
        }
    }
}

fn run() -> Result<()> {
    tools::catch_stop_signals()?;
    let args: Vec<String> = std::env::args().skip(1).collect();
    let Some((command, rest)) = args.split_first() else {
        print!("{HELP}");
        return Ok(());
    };
    match command.as_str() {
        "up" => up::command(rest),
        "test" => test::command(rest),
        "check" => check::command(rest),
        "tidy" if rest.is_empty() => tidy::check(),
        "db" => postgres::command(rest),
        "sqlx" => sqlx::command(rest),
        "web" => web::command(rest),
        "bench" => bench::command(rest),
        "sim" => sim::command(rest),
        "kills" => kills::command(rest),
        "verify" => verify::command(rest),
        "pictures" => pictures::command(rest),
        "methods" => methods::command(rest),
        "help" | "--help" | "-h" => {
            print!("{HELP}");
            Ok(())
        }
        unknown => bail!("there is no command `{unknown}`\n\n{HELP}"),
    }
}
