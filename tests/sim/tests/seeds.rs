//! A few seeds of each kind; `cargo xtask sim` runs a thousand. What it once found in our own code is planted
//! for ever (`taken-id-is-held`, `orphans-stay`).

use sim::{Planted, run};

fn is_clean(seed: u64) {
    let outcome = run(seed, None, false);
    assert_eq!(outcome.violation, None, "seed {seed}");
    assert!(outcome.facts > 0 && outcome.stored > 0, "seed {seed}: nobody worked, so nothing was shown");
}

fn is_found(planted: Planted, seeds: std::ops::RangeInclusive<u64>) {
    let found = seeds.clone().any(|seed| run(seed, Some(planted), false).violation.is_some());
    assert!(found, "{} is not found in seeds {seeds:?}", planted.word());
}

#[test]
fn fixed_seeds_are_clean() {
    (1_001..=1_002).for_each(is_clean);
}

#[test]
fn the_same_seed_is_the_same_run() {
    let (first, second) = (run(17, None, false), run(17, None, false));
    assert_eq!((first.facts, first.stored, first.events), (second.facts, second.stored, second.events));
    let other = run(10, None, false);
    assert_ne!((first.events, first.facts), (other.events, other.facts));
}

#[test]
fn server_faults_are_seen() {
    is_found(Planted::AckBeforeCommit, 1..=3);
    is_found(Planted::PositionBySequence, 1..=3);
    is_found(Planted::StampOutsideLock, 1..=3);
    is_found(Planted::NoIdempotency, 1..=3);
    is_found(Planted::LastWriterWins, 5..=8);
    is_found(Planted::DropUnknownKinds, 1..=4);
    is_found(Planted::PullSkipsOwn, 1..=3);
    is_found(Planted::PhotoNotHashed, 1..=4);
}

#[test]
fn phone_faults_are_seen() {
    is_found(Planted::ForgetTrayAtSignOut, 1..=3);
    is_found(Planted::ConfirmedWhenSent, 1..=3);
    is_found(Planted::ChainReadOutside, 1..=3);
    is_found(Planted::PositionFromManifest, 1..=3);
    is_found(Planted::PlanInPieces, 1..=4);
    is_found(Planted::SavedBeforeCommit, 1..=6);
    is_found(Planted::TakenIdIsHeld, 12..=15);
}

#[test]
fn gates_that_forget_what_ends_a_proof_are_seen() {
    is_found(Planted::LeavingForgotten, 13..=15);
    is_found(Planted::HandoverForgotten, 45..=47);
}
