//! Real servers and a real Postgres, killed at random under devices that work: whatever a person was told is so at the end.
//!
//! Two server processes over one private Postgres (fsync on) behind a balancer. A seed draws who is killed and when; the devices
//! ([`tests::device::Device`]) turn the tray that phones turn, over real HTTP. What real processes make of a seed differs from run
//! to run: a seed is a plan, not a replay.
//!
//! `cargo xtask kills` runs the same with more kills. [`world`] is the plan and its run, [`work`] what devices do, [`check`] the
//! questions at the end.

#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

mod check;
mod keeper;
mod work;
mod world;

use anyhow::{Result, ensure};

use crate::world::{Commits, Plan, Victims};

/// The run that CI makes.
const FIXED: Plan = Plan { seed: 5001, kills: 12, victims: Victims::All, commits: Commits::Strict };
/// Confirmed before the disk has it: three crashes of such a database must be seen.
const EARLY: Plan = Plan { seed: 5002, kills: 3, victims: Victims::Database, commits: Commits::Early };

/// `cargo xtask kills` sets these.
const KILLS: &str = "WITNESSMARK_KILLS";
const SEED: &str = "WITNESSMARK_KILLS_SEED";

fn number(name: &str) -> Option<u64> {
    std::env::var(name).ok().map(|text| text.parse().unwrap())
}

fn wished() -> Plan {
    let kills = number(KILLS).map_or(FIXED.kills, |kills| u32::try_from(kills).unwrap());
    Plan { kills, seed: number(SEED).unwrap_or(FIXED.seed), ..FIXED }
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_at_random_nothing_that_was_confirmed_is_lost() -> Result<()> {
    let plan = wished();
    let outcome = world::run(plan).await?;
    println!("{}", outcome.json(&plan));
    ensure!(outcome.findings.is_empty(), "seed {}: {:#?}", plan.seed, outcome.findings);
    ensure!(outcome.killed() == plan.kills, "{} of {} kills", outcome.killed(), plan.kills);
    ensure!(outcome.acknowledged > 0 && outcome.photos_stored > 0, "nothing was at stake");
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_database_that_confirms_early_is_found() -> Result<()> {
    let outcome = world::run(EARLY).await?;
    println!("{}", outcome.json(&EARLY));
    ensure!(outcome.lost > 0, "three crashes of a database that confirms early cost nothing: the check is blind");
    Ok(())
}
