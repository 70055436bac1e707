//! Seals in the log: by the server alone, above the review, and what comes after one asks for the next.

use super::*;
use crate::seal::ready::{Obstacle as InTheWay, obstacles};
use std::collections::BTreeSet;

fn passed() -> World {
    let mut w = World::new();
    w.arrive(TECH);
    w.volts(TECH, 2_000_000, None);
    w.serial(TECH, 1, "A-1");
    w.serial(TECH, 2, "A-2");
    w.write(TECH, Body::Choice(Choice { at: Place::of("floor", 0, "floor"), option: "even".into(), corrects: None }));
    w.tick(TECH, "end", "done");
    w.write(TECH, Body::Submitted(Plain {}));
    w.sync(TECH);
    w.sync(LEAD);
    w.write(LEAD, Body::Passed(Plain {}));
    w.sync(LEAD);
    w
}

fn seal(w: &mut World, by: u8, number: u32) -> EntryId {
    w.sync(by);
    let up_to = w.server.head();
    let body = Sealed { number, up_to, manifest: Hash32::NONE, key: Hash32::NONE, by: person(LEAD) };
    let id = w.write(by, Body::Sealed(body));
    w.sync(by);
    id
}

fn photos(w: &World) -> BTreeSet<Hash32> {
    let bodies = w.server.iter().filter_map(|held| held.entry.body());
    bodies.flat_map(Body::photo_files).map(|file| file.hash).collect()
}

fn in_the_way(w: &World, arrived: &BTreeSet<Hash32>) -> Vec<InTheWay> {
    let plan = Plan::of(&w.method);
    obstacles(&fold(&w.server, &plan), arrived)
}

fn phase_and_after(w: &World) -> (Phase, usize) {
    let plan = Plan::of(&w.method);
    let state = fold(&w.server, &plan);
    (state.phase, state.after_seal.len())
}

#[test]
fn the_server_seals_and_what_comes_after_asks_for_the_next() {
    let mut w = passed();
    assert_eq!(in_the_way(&w, &photos(&w)), []);
    seal(&mut w, SERVER, 1);
    assert_eq!(phase_and_after(&w), (Phase::Sealed, 0));
    assert_eq!(in_the_way(&w, &photos(&w)), [InTheWay::NothingNew]);
    // A number of the server's alone is no news; words are.
    w.write(TECH, Body::DrawnNumber(DrawnNumber { number: Hash32::NONE }));
    w.sync(TECH);
    assert_eq!(phase_and_after(&w), (Phase::Sealed, 0));
    w.remark(TECH);
    w.sync(TECH);
    assert_eq!(phase_and_after(&w), (Phase::Sealed, 1));
    assert_eq!(in_the_way(&w, &photos(&w)), []);
    seal(&mut w, SERVER, 2);
    assert_eq!(phase_and_after(&w), (Phase::Sealed, 0));
    assert_eq!(w.breaches(), []);
}

#[test]
fn a_seal_that_a_phone_wrote_is_a_breach() {
    let mut w = passed();
    seal(&mut w, LEAD, 1);
    assert_eq!(w.breaches().len(), 1);
    assert_eq!(phase_and_after(&w), (Phase::Passed, 0));
}

#[test]
fn a_photo_that_is_missing_stands_in_the_way_until_somebody_says_so() {
    let mut w = passed();
    let all = photos(&w);
    let missing = in_the_way(&w, &BTreeSet::new());
    assert_eq!(missing.len(), all.len());
    assert!(missing.iter().all(|one| matches!(one, InTheWay::Photo { .. })), "{missing:?}");
    for hash in all {
        let remark = w.remark(LEAD);
        w.write(LEAD, Body::PhotoAbsent(PhotoAbsent { hash, remark }));
    }
    w.sync(LEAD);
    assert_eq!(in_the_way(&w, &BTreeSet::new()), []);
}

#[test]
fn a_breach_and_an_open_review_stand_in_the_way() {
    let mut w = World::new();
    let skipped = w.serial(TECH, 1, "A-1");
    w.sync(TECH);
    assert_eq!(in_the_way(&w, &BTreeSet::new()), [InTheWay::NotPassed, InTheWay::Breach { entry: skipped }]);
}
