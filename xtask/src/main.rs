//! The project's own commands: the same by hand and in CI. `cargo xtask` lists them.

use std::process::ExitCode;

use anyhow::{Result, bail};

mod postgres;
mod sqlx;
mod tools;

const HELP: &str = "\
cargo xtask <command>

  db [stop|reset]  start the development Postgres and leave it running; prints its addresses
  sqlx             record the shape of every query anew (.sqlx)
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
        "db" => postgres::command(rest),
        "sqlx" => sqlx::command(rest),
        "help" | "--help" | "-h" => {
            print!("{HELP}");
            Ok(())
        }
        unknown => bail!("there is no command `{unknown}`\n\n{HELP}"),
    }
}
