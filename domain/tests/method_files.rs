//! The method files that come with the server: sound, complete, and put together from shared stages.
#![cfg(feature = "methods")]
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

mod built_in;

use built_in::{FILES, METHODS};
use domain::design::{Design, sheet, test_sheet};
use domain::electrical::rule_set::{Place, RuleSet};
use domain::method::Method;
use domain::method::load::compose;
use domain::method::plan::{BoardPart, Confirmer, HOUSE_RULE, LimitRule, LivePart, Requirement, Step};
use std::collections::BTreeSet;

#[test]
fn every_built_in_method_is_sound_and_survives_its_bytes() {
    for name in METHODS {
        let composed = compose(name, FILES).unwrap_or_else(|fault| panic!("{fault}"));
        let faults: Vec<String> = composed.faults().iter().map(ToString::to_string).collect();
        assert_eq!(faults, Vec::<String>::new());
        let bytes = composed.method.to_bytes();
        assert_eq!(Method::from_bytes(&bytes).unwrap(), composed.method);
        println!("{name}: {} steps, {} bytes", composed.method.steps.len(), bytes.len());
    }
}

/// Whoever plans chooses a word; no label asks for its number.
#[test]
fn no_design_figure_lists_codes_in_its_name() {
    let mut worded = 0;
    for name in METHODS {
        for field in compose(name, FILES).unwrap().method.design {
            for label in [&field.label.en, &field.label.de, &field.label.es] {
                let coded = (1..9).any(|code| label.contains(&format!("({code} ")));
                assert!(!coded, "{name}: {label}");
            }
            worded += usize::from(domain::design::field(&field.key).is_some_and(|known| !known.choices.is_empty()));
        }
    }
    assert!(worded > 0, "a figure that stands for a word is among those looked at");
}

/// A unit that is warm, swollen, hissing or smells is left; only one that is cold and quiet is carried or switched. One text never says both
/// of the same unit.
#[test]
fn a_hot_unit_is_left_and_only_a_cold_one_is_carried() {
    let mut warned = 0;
    for name in METHODS {
        let method = compose(name, FILES).unwrap().method;
        let acts = method.steps.iter().map(|step| &step.act);
        let options = method.steps.iter().flat_map(|step| &step.requirements).filter_map(|need| match need {
            Requirement::Choice(need) => Some(need.options.iter().map(|option| &option.label)),
            _ => None,
        });
        for text in method.cautions.iter().map(|own| &own.text).chain(acts).chain(options.flatten()) {
            let hot = ["hiss", "swell", "swollen", "smoke", "smell or heat"];
            for sentence in text.en.split(['.', ';']).map(str::to_lowercase) {
                let is_hot = hot.iter().any(|word| sentence.contains(word));
                let carries =
                    ["carry it", "goes outdoors", "put them outdoors"].iter().any(|order| sentence.contains(order));
                let orders = carries || sentence.contains("switch off");
                assert!(!(is_hot && orders), "{name}: {sentence}");
                assert!(!carries || sentence.contains("cold"), "{name}: {sentence}");
                warned += usize::from(is_hot || carries);
            }
        }
    }
    assert!(warned >= 9, "{warned}");
}

/// What a lead can never allow is listed with a reason each, and little of it: the few acts that kill and whose evidence can always be
/// given. A figure that only this house gives is none of it, but for what counts as dead: no standard gives one.
#[test]
fn steps_that_nothing_but_their_evidence_opens_are_listed_with_a_reason() {
    const PAGE: &str = include_str!("../../docs/trade.md");
    let table = PAGE.split_once("Steps that nothing but their evidence opens").map_or("", |(_, rest)| rest);
    let rows = table.lines().skip_while(|line| !line.starts_with("| ---")).skip(1).take_while(|l| l.starts_with('|'));
    let mut listed: BTreeSet<&str> = BTreeSet::new();
    for row in rows {
        let cells: Vec<&str> = row.trim_matches('|').split(" | ").map(str::trim).collect();
        let [step, why] = cells.as_slice() else { panic!("{row}") };
        assert!(why.len() > 20 && listed.insert(step.trim_matches('`')), "{row}");
    }
    let methods: Vec<Method> = METHODS.iter().map(|name| compose(name, FILES).unwrap().method).collect();
    let mut shut: BTreeSet<&str> = BTreeSet::new();
    for method in &methods {
        let own: Vec<&Step> = method.steps.iter().filter(|step| step.stop_work).collect();
        println!("{}: {} of {} steps", method.id, own.len(), method.steps.len());
        assert!((5..=12).contains(&own.len()), "{}: {} steps", method.id, own.len());
        for step in own {
            shut.insert(&step.id);
            for requirement in &step.requirements {
                let is_house = match requirement {
                    Requirement::Reading(need) => need.limits().any(|limit| match limit {
                        LimitRule::Constant(own) => own.source.starts_with(HOUSE_RULE) && need.pair.is_none(),
                        // Computed limits hold figures of the house, and those of a maker or a lead may not be there.
                        LimitRule::Model(_) | LimitRule::Check(_) | LimitRule::Design(_) => true,
                    }),
                    Requirement::Check(_) => true,
                    Requirement::Wait(need) => need.model.is_some(),
                    // The crew may be one person.
                    Requirement::Countersign(_) => true,
                    Requirement::Confirmation(need) => need.by != Confirmer::Recorder,
                    Requirement::Photo(_)
                    | Requirement::Serial(_)
                    | Requirement::Choice(_)
                    | Requirement::Signature(_)
                    | Requirement::Words(_) => false,
                };
                assert!(!is_house, "{}: {}.{} cannot always be given", method.id, step.id, requirement.id());
            }
        }
    }
    assert_eq!(shut, listed);
}

/// Each finding of the review, each job without a method and each single step has its row, and each test that a row names is there.
#[test]
fn every_line_of_the_review_has_its_row_and_its_tests_exist() {
    const PAGE: &str = include_str!("../../docs/trade.md");
    let rows_of = |title: &str| -> Vec<String> {
        let from = PAGE.split_once(&format!("\n## {title}\n")).map(|(_, rest)| rest);
        let part = from.unwrap_or_else(|| panic!("no part {title}")).split("\n## ").next().unwrap_or_default();
        part.lines().filter(|line| line.starts_with("| ") && !line.starts_with("| ---")).map(str::to_owned).collect()
    };
    let numbers = |rows: &[String]| -> Vec<usize> {
        rows.iter().filter_map(|row| row.trim_matches('|').split(" | ").next()?.trim().parse().ok()).collect()
    };
    let findings: Vec<String> = PAGE.lines().take_while(|line| !line.starts_with("## ")).map(str::to_owned).collect();
    assert_eq!(numbers(&findings), (1..=31).collect::<Vec<_>>());
    assert_eq!(numbers(&rows_of("Jobs that had no method")), (1..=27).collect::<Vec<_>>());
    // The head of the table is a row as well.
    assert_eq!(rows_of("Step by step").len(), 1 + 28);
    for row in findings.iter().filter(|line| line.starts_with("| ")).chain(&rows_of("Step by step")) {
        assert!(row.trim_end_matches('|').rsplit(" | ").next().is_some_and(|now| now.trim().len() > 2), "{row}");
    }
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
    let (mut file, mut named) = (String::new(), 0);
    for words in PAGE.split('`').skip(1).step_by(2) {
        let (path, test) = words.split_once("::").map_or((words, None), |(path, test)| (path, Some(test)));
        if path.ends_with(".rs") {
            path.clone_into(&mut file);
        } else if !path.is_empty() || test.is_none() {
            continue;
        }
        let text = std::fs::read_to_string(format!("{root}/{file}")).unwrap_or_else(|error| panic!("{file}: {error}"));
        if let Some(test) = test {
            assert!(text.contains(&format!("fn {test}(")), "{file} has no {test}");
            named += 1;
        }
    }
    assert!(named >= 70, "{named}");
}

/// Everything that must be done before a step, however far back.
fn all_before<'m>(method: &'m Method, step: &'m str) -> BTreeSet<&'m str> {
    let mut found = BTreeSet::new();
    let mut open = vec![step];
    while let Some(step) = open.pop().and_then(|id| method.step(id)) {
        let choice = step.when.iter().map(|when| &when.step);
        open.extend(step.needs.iter().chain(choice).map(String::as_str).filter(|id| found.insert(*id)));
    }
    found
}

/// `steps` that the method has wait for each of `gates`.
fn assert_wait(method: &Method, steps: &[&str], gates: &[&str]) -> usize {
    let there: Vec<&&str> = steps.iter().filter(|step| method.step(step).is_some()).collect();
    for step in &there {
        let before = all_before(method, step);
        for gate in gates {
            assert!(before.contains(gate), "{}: {step} opens without {gate}", method.id);
        }
    }
    there.len()
}

/// Loop, residual-current device, phases and the clamp need an open live board: opened for them, closed again before the handover.
#[test]
fn live_tests_lie_between_opening_and_closing_the_board() {
    let tests = ["supply", "rcd-test", "rcd-twice", "rcd-five-times", "phase-sequence", "charge-discharge"];
    for name in METHODS {
        let method = compose(name, FILES).unwrap().method;
        let found = assert_wait(&method, &tests, &["open-live"]);
        assert!(found >= 2, "{name}: {found}");
        let there: Vec<&str> = tests.into_iter().filter(|test| method.step(test).is_some()).collect();
        assert_wait(&method, &["closed-again"], &there);
        assert_eq!(assert_wait(&method, &["open-live"], &["covers-closed", "inverter-on"]), 1, "{name}");
        assert_wait(&method, &["handover"], &["closed-again"]);
        let board = |id: &str, part| {
            let live = method.step(id).and_then(|step| step.live.as_ref());
            assert!(live.is_some_and(|duty| duty.part == part), "{name}: {id} is not marked");
            live.map(|duty| duty.id.clone())
        };
        let opened = board("open-live", LivePart::Opens);
        assert_eq!(opened, board("closed-again", LivePart::Closes), "{name}");
        there.iter().for_each(|test| assert_eq!(opened, board(test, LivePart::Tests), "{name}: {test}"));
    }
}

/// Whoever works in the main board or beside the PV terminals has cut and proved dead what feeds them.
#[test]
fn the_supply_and_the_strings_are_cut_and_proved_dead() {
    let in_the_board = ["ac-side", "electrode", "ac-insulation", "ac-polarity", "changeover-fit", "backup-circuits"];
    let beside_the_strings = ["ac-side", "pe-stack", "connect-dc", "dead-inspection", "cable-insulation", "polarity"];
    for name in METHODS {
        let method = compose(name, FILES).unwrap().method;
        let main = ["isolate-supply", "prove-dead-main-board", "prove-tester-after"];
        assert!(assert_wait(&method, &in_the_board, &main) >= 1, "{name}");
        let strings = ["isolate-pv", "prove-dead-pv", "prove-tester-after"];
        assert!(assert_wait(&method, &beside_the_strings, &strings) >= 3, "{name}");
        for (steps, board) in [(&in_the_board[..], "main-board"), (&beside_the_strings, "inverter-pv")] {
            let there = steps.iter().filter_map(|step| method.step(step));
            there.for_each(|step| assert!(step.is_part(board, BoardPart::Inside), "{name}: {} {board}", step.id));
            for part in [BoardPart::Isolates, BoardPart::TesterBefore, BoardPart::TesterAfter, BoardPart::Ends] {
                let has = |of: &str| method.steps.iter().filter(|step| step.is_part(of, part)).count();
                assert_eq!(has(board), has("inverter-dc"), "{name}: {board} {part:?}");
            }
        }
        // What stays live is parted and shrouded, or there is no supply: a board that is open to touch lets nobody through.
        let option = |id: &str| match method.step("prove-dead-main-board").unwrap().requirement("supply-side") {
            Some(Requirement::Choice(need)) => need.options.iter().find(|own| own.id == id).map(|own| own.fails),
            _ => None,
        };
        assert_eq!(["shrouded", "no-supply", "open"].map(option), [Some(false), Some(false), Some(true)], "{name}");
    }
}

/// A further battery, a generator and a vehicle that feeds back: each is a board with a lock, a dead test and work inside of its own.
#[test]
fn each_further_source_is_locked_by_itself_and_proved_dead() {
    let sources = [
        ("battery", "isolate-further-battery", "further-battery", "prove-dead-further-battery", 3),
        ("ac", "isolate-further-ac", "further-ac", "prove-dead-further-ac", 10),
        ("vehicle", "isolate-vehicle", "vehicle", "prove-dead-vehicle", 10),
    ];
    // Each answer names what it means: nobody can say that there is a source and then lock none.
    let has = |option: &str, kind: &str| option == "all" || option.split('-').any(|word| word == kind);
    for name in METHODS {
        let method = compose(name, FILES).unwrap().method;
        for (kind, lock, board, test, pairs) in sources {
            assert_eq!(assert_wait(&method, &[lock], &["further-sources", "stop-inverter", "isolate-ac"]), 1, "{name}");
            assert_eq!(assert_wait(&method, &["lock-list"], &[lock]), 1, "{name}");
            assert_eq!(assert_wait(&method, &[test], &[lock, "prove-tester-before"]), 1, "{name}");
            assert_eq!(assert_wait(&method, &["prove-tester-after", "covers-closed"], &[test]), 2, "{name}");
            for step in [lock, test] {
                let step = method.step(step).unwrap();
                let when = step.when.as_ref().unwrap();
                assert_eq!((&*when.step, &*when.requirement), ("further-sources", "which"), "{name}: {}", step.id);
                let Some(Requirement::Choice(which)) = method.step("further-sources").unwrap().requirement("which")
                else {
                    panic!("{name}: no choice");
                };
                for option in &which.options {
                    let is_named = sources.iter().any(|(kind, ..)| has(&option.id, kind));
                    assert!(is_named && !option.fails, "{name}: {} locks nothing", option.id);
                    assert_eq!(when.is.contains(&option.id), has(&option.id, kind), "{name}: {} {kind}", option.id);
                }
                let photos = step.requirements.iter().filter(|need| matches!(need, Requirement::Photo(_)));
                assert_eq!(photos.count(), 1, "{name}: {}", step.id);
            }
            let test = method.step(test).unwrap();
            let read = test.requirements.iter().filter(|need| match need {
                Requirement::Reading(need) => method.conductors_of(test, need).count() == 2,
                _ => false,
            });
            assert_eq!((read.count(), test.is_part(board, BoardPart::Dead)), (pairs, true), "{name}: {board}");
            let works = method.steps.iter().filter(|step| step.is_part(board, BoardPart::Inside));
            assert!(works.count() >= 2, "{name}: nobody but who closes the covers works at {board}");
        }
    }
}

/// A new inverter: hung on anchors that were compared with its load, before the house goes dark; an old one out before anything new is
/// connected; strings measured once the covers are on, and joined as the first power of their terminals.
#[test]
fn a_new_inverter_hangs_before_the_isolation_and_its_strings_come_last() {
    let method = compose("hybrid-inverter.toml", FILES).unwrap().method;
    let waits =
        |steps: &[&str], gates: &[&str]| assert_eq!(assert_wait(&method, steps, gates), steps.len(), "{steps:?}");
    let compared = method.step("anchor-load").unwrap().requirements.iter().any(|need| match need {
        Requirement::Check(need) => need.call.check == "F15-WALL",
        _ => false,
    });
    assert!(compared, "nobody compares the anchors with the load");
    waits(&["mount-inverter"], &["wall-scan", "serial-label", "anchor-load", "stud-screws"]);
    waits(
        &["find-sources"],
        &["mount-inverter", "ac-cable", "secure-stack", "secure-wall", "pv-plan", "former-inverter"],
    );
    let stands = |id: &str| method.steps.iter().position(|step| step.id == id).unwrap();
    assert!(stands("mount-inverter") < stands("find-sources") && stands("prove-tester-after") < stands("take-out-old"));
    assert!(stands("take-out-old") < stands("pe-stack") && stands("pv-string-4") < stands("power-briefing"));
    let proved = ["prove-dead-ac", "prove-dead-main-board", "prove-dead-pv", "prove-tester-after"];
    waits(&["take-out-old", "ac-circuit", "pv-cable", "current-clamp"], &proved);
    waits(&["ac-circuit", "pv-cable"], &["take-out-old"]);
    waits(&["stop-inverter", "isolate-ac"], &["inverter-wired"]);
    waits(
        &["join-strings"],
        &["covers-closed", "remove-locks", "pv-string-1", "pv-string-2", "pv-string-3", "pv-string-4"],
    );
    waits(&["inverter-on"], &["join-strings", "firmware", "grid-profile", "export-limit"]);
    assert!(method.step("join-strings").unwrap().is_part("inverter-pv", BoardPart::Ends), "it brings power");
    // Whoever says that strings are here switches them off or parts them, whether or not an inverter has them.
    let parted = method.step("isolate-pv").unwrap().when.clone().unwrap();
    assert_eq!((parted.step.as_str(), parted.is.len()), ("pv-plan", 3));
    let Some(Requirement::Choice(plan)) = method.step("pv-plan").unwrap().requirement("joined") else { panic!() };
    let free: Vec<&str> =
        plan.options.iter().map(|own| own.id.as_str()).filter(|id| !parted.is.iter().any(|on| on == id)).collect();
    assert_eq!(free, ["none"]);
    assert!(method.units.iter().all(|unit| unit.new), "the inverter is new, so its serial is read and registered");
}

/// Jobs pin the hash of a version for ever. A method that changes is a new version with a new line, beside the old one. Until the first installation they may move: decision 0022.
#[test]
fn released_methods_do_not_move() {
    const GOLDEN: &str = include_str!("golden/methods.txt");
    let lines = METHODS.map(|name| compose(name, FILES).unwrap().method.reference());
    let lines = lines.map(|own| format!("{} {} {}", own.id, own.version, own.hash));
    let other: Vec<&String> = lines.iter().filter(|line| GOLDEN.lines().all(|known| known != *line)).collect();
    assert!(other.is_empty(), "not released: {other:#?}");
    assert_eq!(GOLDEN.lines().count(), METHODS.len());
}

/// A place of the test sheet that no method has would look like a test that nobody made.
#[test]
fn what_the_test_sheet_reads_is_recorded_by_some_built_in_method() {
    let design = Design::parse("phases = 3\nload_1_w = 100\nearthing = tt").unwrap();
    let methods: Vec<Method> = METHODS.iter().map(|name| compose(name, FILES).unwrap().method).collect();
    let has = |step: &str, requirement: &str| {
        let steps = methods.iter().filter_map(|method| method.step(step));
        steps.flat_map(|step| &step.requirements).any(|need| need.id() == requirement)
    };
    let mut places = 0;
    for rules in Place::ALL.map(RuleSet::of) {
        for test in test_sheet(&design, &sheet(&design, &rules)) {
            for (step, requirement) in test.read_at() {
                places += 1;
                assert!(has(step, requirement), "{}: {step}.{requirement}", test.key);
            }
        }
    }
    assert!(places > 60, "{places}");
}
