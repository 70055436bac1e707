//! `cargo xtask kills`: the tests that kill real processes, with many kills. The suites themselves make a few with each run of
//! `cargo xtask test`.

use std::process::Command;

use anyhow::{Context, Result, bail};
use serde_json::{Map, Value};

use crate::postgres::{self, Cluster, DATABASE};
use crate::test::Browser;
use crate::web::{self, Profile};
use crate::{tools, up};

const KILLS: u32 = 200;
const BROWSER_KILLS: u32 = 100;
/// The seed when none is given: another one with each run would make two runs hard to compare.
const SEED: u64 = 1;
const SERVERS: [&str; 2] = ["kills", "killed_at_random_nothing_that_was_confirmed_is_lost"];
const BROWSER: [&str; 2] = ["browser", "kills::killed_while_it_saves_photos_nothing_called_saved_is_missing"];

#[derive(Debug, PartialEq, Eq)]
struct Wish {
    kills: Option<u32>,
    seed: u64,
    json: bool,
    browser: bool,
}

impl Wish {
    fn read(args: &[String]) -> Result<Self> {
        let mut wish = Self { kills: None, seed: SEED, json: false, browser: false };
        let mut args = args.iter();
        while let Some(arg) = args.next() {
            let mut number = || args.next().with_context(|| format!("{arg} wants a number"));
            match arg.as_str() {
                "--kills" => wish.kills = Some(number()?.parse()?),
                "--seed" => wish.seed = number()?.parse()?,
                "--json" => wish.json = true,
                "--browser" => wish.browser = true,
                unknown => bail!("`kills` takes --kills N, --seed S, --json and --browser, not `{unknown}`"),
            }
        }
        Ok(wish)
    }
}

/// Builds, runs, and prints what was counted.
pub(crate) fn command(args: &[String]) -> Result<()> {
    let wish = Wish::read(args)?;
    let server = up::build_server()?;
    let [suite, test] = if wish.browser { BROWSER } else { SERVERS };
    let mut run =
        tools::cargo(["test", "--quiet", "--package", "tests", "--test", suite, "--", "--exact", test, "--nocapture"]);
    run.env("WITNESSMARK_SERVER_BIN", server).env("WITNESSMARK_KILLS_SEED", wish.seed.to_string());
    let kills = wish.kills.unwrap_or(if wish.browser { BROWSER_KILLS } else { KILLS });
    run.env("WITNESSMARK_KILLS", kills.to_string());
    tools::say(format!("seed {}, {kills} kills", wish.seed));
    let printed = if wish.browser { in_a_browser(&mut run) } else { on_servers(&mut run) };
    let counts = printed?.lines().find_map(|line| line.find('{').and_then(|at| serde_json::from_str(&line[at..]).ok()));
    let counts: Map<String, Value> = counts.context("the test printed no counts")?;
    if wish.json {
        println!("{}", Value::Object(counts));
    } else {
        counts.iter().for_each(|(name, value)| println!("{name}  {value}"));
    }
    Ok(())
}

fn on_servers(run: &mut Command) -> Result<String> {
    tools::read_out(run.env("WITNESSMARK_POSTGRES_BIN", postgres::programs()?))
}

fn in_a_browser(run: &mut Command) -> Result<String> {
    let browser = Browser::find_or_install()?;
    run.env("WITNESSMARK_CHROMIUM", browser.chromium).env("WITNESSMARK_CHROMEDRIVER", browser.driver);
    run.env("WITNESSMARK_WEB_DIST", web::build(Profile::Ship)?);
    let name = format!("test-{}", std::process::id());
    let cluster = Cluster::start(&name)?;
    cluster.create_database(DATABASE)?;
    let printed = tools::read_out(run.env("WITNESSMARK_TEST_DATABASE_URL", cluster.owner_url(DATABASE)));
    cluster.stop()?;
    Cluster::remove(&name)?;
    printed
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;

    fn read(args: &[&str]) -> Result<Wish> {
        Wish::read(&args.iter().map(|arg| (*arg).to_owned()).collect::<Vec<_>>())
    }

    #[test]
    fn wishes_are_read_or_refused() {
        let wish = Wish { kills: Some(7), seed: 3, json: true, browser: false };
        assert_eq!(read(&["--kills", "7", "--seed", "3", "--json"]).unwrap(), wish);
        assert!(read(&["--kills"]).is_err() && read(&["--kill", "7"]).is_err());
    }
}
