//! Changes the sample pack at random, once each time, and counts how many changes the verifier sees.
//!
//! Arguments: how many, and the seed. Prints one line with both and the count; fails when one was not seen.

use domain::ids::Hash32;
use domain::seal::sample::{Chance, mutate, pack, server_key};
use domain::seal::verify::verify;
use std::collections::BTreeMap;
use std::process::ExitCode;

fn main() -> ExitCode {
    let mut numbers = std::env::args().skip(1).map(|arg| arg.parse::<u64>().ok());
    let (Some(Some(count)), Some(Some(seed))) = (numbers.next(), numbers.next()) else {
        eprintln!("mutate_pack COUNT SEED");
        return ExitCode::FAILURE;
    };
    let (good, key) = (pack(), Hash32::sha256(&server_key().public()));
    if let Err(fault) = verify(&good, Some(&key)) {
        eprintln!("the sample itself is not good: {fault:?}");
        return ExitCode::FAILURE;
    }
    let mut chance = Chance(seed);
    let mut seen: BTreeMap<&str, (u64, u64)> = BTreeMap::new();
    for _ in 0..count {
        let (what, changed) = mutate(&good, &mut chance);
        let (tried, found) = seen.entry(what).or_default();
        *tried += 1;
        *found += u64::from(changed != good && verify(&changed, Some(&key)).is_err());
    }
    for (what, (tried, found)) in &seen {
        eprintln!("{found:>6} of {tried:>6}  {what}");
    }
    let found: u64 = seen.values().map(|(_, found)| found).sum();
    println!("mutations {count} detected {found} seed {seed}");
    if found == count { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
