//! A proof of dead has a lifetime: leaving and power end it, and nobody works inside a board on an old one. Every built-in method with
//! boards is left and come back to at each of its steps.
#![cfg(feature = "methods")]
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

mod built_in;
mod rehearsal;

use domain::ids::EntryId;
use domain::job_file::body::*;
use domain::job_file::{Body, BreachWhy, Place, fold, fold_at, fold_for};
use domain::method::gate::{Answer, Ending, Obstacle, PROOF_SPAN_US, Plan, StepRef, StepState};
use domain::method::load::compose;
use domain::method::plan::{BoardPart, Method};
use rehearsal::{Log, Way, Who, id, lead, opening, perfect_run, tech, ways, words, work_on};
use std::collections::BTreeSet;

const PROOFS: [BoardPart; 3] = [BoardPart::TesterBefore, BoardPart::Dead, BoardPart::TesterAfter];
const LEFT_AS: [LeftAs; 3] = [LeftAs::IsolatedAndLocked, LeftAs::NotConnected, LeftAs::RunningAsBefore];

fn methods() -> impl Iterator<Item = Method> {
    let all = built_in::METHODS
        .iter()
        .map(|name| compose(name, built_in::FILES).unwrap_or_else(|why| panic!("{why}")).method);
    all.filter(|method| !method.boards().is_empty())
}

fn with_part(method: &Method, parts: &[BoardPart]) -> BTreeSet<String> {
    let has = |step: &&domain::method::plan::Step| step.duties().iter().any(|duty| parts.contains(&duty.part));
    method.steps.iter().filter(has).map(|step| step.id.clone()).collect()
}

/// Those of the steps that the choices of this log leave on: one line or another of a supply is tested, never both ways.
fn that_apply(steps: BTreeSet<String>, log: &Log, plan: &Plan<'_>) -> BTreeSet<String> {
    let mut state = fold(&log.file, plan);
    let off: BTreeSet<String> = state
        .gate
        .steps()
        .into_iter()
        .filter(|at| state.gate.view(*at).state == StepState::NotApplicable)
        .map(|at| plan.step(at.step).id.clone())
        .collect();
    let on: BTreeSet<String> = steps.difference(&off).cloned().collect();
    assert!(on.len() >= 6, "{on:?}");
    on
}

/// The log as far as the first record of each step.
fn begun(log: &Log, step: &str) -> Log {
    let mut out = Log::default();
    let before = |line: &&rehearsal::Line| line.body.evidence_place().is_none_or(|place| place.step != step);
    for line in log.lines.iter().take_while(before) {
        out.write(line.who, line.id, line.body.clone());
    }
    out
}

fn leave(log: &mut Log, left_as: LeftAs) {
    let number = log.lines.len() as u64;
    log.write(tech(), EntryId::of(id(60, number)), Body::Paused(Paused { left_as, remark: None }));
    log.write(tech(), EntryId::of(id(61, number)), Body::Resumed(Plain {}));
}

fn recorded(log: &Log, step: &str) -> usize {
    log.lines.iter().filter(|line| line.body.evidence_place().is_some_and(|place| place.step == step)).count()
}

/// Steps of isolating and proving that are asked for anew, with the reason.
fn ended(log: &Log, plan: &Plan<'_>) -> BTreeSet<(String, Ending)> {
    let mut state = fold(&log.file, plan);
    let mut found = BTreeSet::new();
    for at in state.gate.steps() {
        let view = state.gate.view(at);
        if let Some(ended) = view.ended.filter(|_| !matches!(view.state, StepState::Satisfied)) {
            found.insert((view.step.id.clone(), ended.by));
        }
    }
    found
}

/// Nobody may work inside a board unless the log says, after everything that ends a proof, that it was proved dead in three records.
fn nobody_is_let_in_on_an_old_proof(log: &Log, plan: &Plan<'_>, case: &str) -> usize {
    let method = plan.method();
    let mut state = fold(&log.file, plan);
    let at_step = |part: BoardPart, board: &str, line: &rehearsal::Line| {
        let place = line.body.evidence_place()?;
        let step = method.step(&place.step)?;
        Some(step.is_part(board, part))
    };
    let last = |which: &dyn Fn(&rehearsal::Line) -> bool| log.lines.iter().rposition(which);
    let mut open = 0;
    for at in state.gate.steps() {
        let step = plan.step(at.step);
        if state.gate.is_done(at) || !state.gate.obstacles(at).is_empty() {
            continue;
        }
        for duty in step.duties().iter().filter(|duty| duty.part == BoardPart::Inside) {
            let end = last(&|line| {
                matches!(line.body, Body::Paused(_)) || at_step(BoardPart::Ends, &duty.id, line) == Some(true)
            });
            for part in PROOFS {
                let proof = last(&|line| at_step(part, &duty.id, line) == Some(true));
                assert!(proof > end, "{case}: {} is open, and {part:?} of {} is older", words(plan, at), duty.id);
            }
            open += 1;
        }
    }
    open
}

#[test]
fn left_and_come_back_to_at_every_step_nobody_works_on_an_old_proof() {
    let (mut cases, mut finished, mut let_in) = (0, 0, 0);
    for method in methods() {
        let plan = Plan::of(&method);
        let way = ways(&method).remove(0);
        let log = perfect_run(&plan, &way);
        let_in += nobody_is_let_in_on_an_old_proof(&begun(&log, "connect-dc"), &plan, "never left");
        for (number, step) in method.steps.iter().enumerate() {
            for left_as in LEFT_AS {
                let case = format!("{} left before {} as {left_as:?}", method.id, step.id);
                let mut own = begun(&log, &step.id);
                leave(&mut own, left_as);
                let_in += nobody_is_let_in_on_an_old_proof(&own, &plan, &case);
                cases += 1;
                if number % 7 == LEFT_AS.iter().position(|own| *own == left_as).unwrap() {
                    work_on(&mut own, &plan, &way, &mut 2_000_000).unwrap_or_else(|why| panic!("{case}: {why}"));
                    finished += 1;
                }
            }
        }
    }
    println!(
        "{cases} times left and come back; {finished} of these jobs worked to their end; {let_in} times somebody was let in"
    );
    assert!(cases >= 500 && finished >= 60 && let_in >= 1, "{cases} {finished} {let_in}");
}

#[test]
fn locks_that_stayed_on_ask_for_the_proof_alone_and_everything_else_for_the_whole_isolation() {
    for method in methods() {
        let plan = Plan::of(&method);
        let way = ways(&method).remove(0);
        let log = perfect_run(&plan, &way);
        let first_inside =
            method.steps.iter().find(|step| step.duties().iter().any(|duty| duty.part == BoardPart::Inside));
        let at = &first_inside.unwrap().id;
        for left_as in LEFT_AS {
            let mut own = begun(&log, at);
            leave(&mut own, left_as);
            let found = ended(&own, &plan);
            let (parts, by): (&[BoardPart], _) = match left_as {
                LeftAs::IsolatedAndLocked => (&PROOFS, Ending::Left),
                LeftAs::NotConnected | LeftAs::RunningAsBefore => (
                    &[BoardPart::Isolates, BoardPart::TesterBefore, BoardPart::Dead, BoardPart::TesterAfter],
                    Ending::Power,
                ),
            };
            let asked = that_apply(with_part(&method, parts), &log, &plan);
            let expected = asked.into_iter().map(|step| (step, by)).collect::<BTreeSet<_>>();
            assert_eq!(found, expected, "{} {left_as:?}", method.id);
        }
    }
}

#[test]
fn once_nobody_has_work_left_inside_leaving_asks_for_nothing() {
    for method in methods() {
        let plan = Plan::of(&method);
        let way = ways(&method).remove(0);
        let log = perfect_run(&plan, &way);
        for left_as in LEFT_AS {
            for step in ["power-briefing", "inverter-on", "briefing"] {
                let mut own = begun(&log, step);
                leave(&mut own, left_as);
                assert_eq!(ended(&own, &plan), BTreeSet::new(), "{} before {step} as {left_as:?}", method.id);
            }
        }
    }
}

#[test]
fn work_inside_that_is_asked_for_again_after_the_power_begins_with_the_isolation() {
    let mut cases = 0;
    for method in methods() {
        let plan = Plan::of(&method);
        let way = ways(&method).remove(0);
        let log = perfect_run(&plan, &way);
        for step in &method.steps {
            if !step.duties().iter().any(|duty| duty.part == BoardPart::Inside) {
                continue;
            }
            let case = format!("{} {}", method.id, step.id);
            let last = log
                .lines
                .iter()
                .rev()
                .find(|line| line.body.evidence_place().is_some_and(|place| place.step == step.id));
            let Some(line) = last else { continue };
            let at = line.body.evidence_place().unwrap();
            let mut own = log.clone();
            let remark = EntryId::of(id(62, 1));
            let returned = Returned { at: Place::of(&at.step, at.slot, ""), remark };
            own.write(lead(), EntryId::of(id(63, 1)), Body::Returned(returned));
            let found = ended(&own, &plan);
            assert!(found.contains(&("isolate-ac".to_owned(), Ending::Power)), "{case}: {found:?}");
            assert!(found.contains(&("prove-tester-after".to_owned(), Ending::Power)), "{case}: {found:?}");
            nobody_is_let_in_on_an_old_proof(&own, &plan, &case);

            // Whoever records it all the same, on the terminal that is live, has recorded a breach.
            let mut hasty = own.clone();
            let entry = EntryId::of(id(64, 1));
            hasty.write(tech(), entry, line.body.clone());
            let state = fold(&hasty.file, &plan);
            let why = &state.breaches.get(&entry).unwrap_or_else(|| panic!("{case}: no breach")).why;
            let names_it = |by: &[Obstacle]| {
                by.iter().any(|one| matches!(one, Obstacle::Step(at) if plan.step(at.step).id == "isolate-ac"))
            };
            assert!(matches!(why, BreachWhy::StepShut(by) if names_it(by)), "{case}: {why:?}");

            // Isolated, proved, done, and then the locks and the power are recorded again.
            let before = recorded(&own, "remove-locks");
            work_on(&mut own, &plan, &way, &mut 3_000_000).unwrap_or_else(|why| panic!("{case}: {why}"));
            for again in [
                "find-sources",
                "isolate-ac",
                "discharge-wait",
                "prove-tester-before",
                "prove-dead-ac",
                "prove-dead-dc",
                "prove-tester-after",
                "covers-closed",
                "power-briefing",
                "battery-on",
            ] {
                assert!(recorded(&own, again) > recorded(&log, again), "{case}: {again} was not done again");
            }
            assert!(recorded(&own, "remove-locks") > before, "{case}");
            cases += 1;
        }
    }
    assert!(cases >= 20, "{cases}");
}

#[test]
fn a_correction_after_the_power_is_no_new_proof() {
    for method in methods() {
        let plan = Plan::of(&method);
        let log = perfect_run(&plan, &ways(&method)[0]);
        let proof = log.lines.iter().rfind(|line| match &line.body {
            Body::Reading(reading) => reading.at.step == "prove-tester-after",
            _ => false,
        });
        let Some(line) = proof else { panic!("{}", method.id) };
        let Body::Reading(reading) = &line.body else { unreachable!() };
        let mut own = log.clone();
        let better = Reading { corrects: Some(line.id), raw: format!("{} ", reading.raw), ..reading.clone() };
        own.write(tech(), EntryId::of(id(65, 1)), Body::Reading(better));
        let mut state = fold(&own.file, &plan);
        assert_eq!(state.gate.unfinished(), Vec::<StepRef>::new(), "{}", method.id);
    }
}

/// Nobody waits for less because a label says less, and nobody goes on before what it says has passed.
#[test]
fn what_is_known_of_the_discharge_lengthens_the_wait_and_never_shortens_it() {
    for method in methods() {
        let plan = Plan::of(&method);
        let log = begun(&perfect_run(&plan, &ways(&method)[0]), "discharge-wait");
        let mut state = fold(&log.file, &plan);
        let at = state.gate.steps().into_iter().find(|at| plan.step(at.step).id == "discharge-wait").unwrap();
        let counted = |answer: &Answer| match answer {
            Answer::Missing { want, .. } if *want > 1 => Some(want / 1_000),
            _ => None,
        };
        let least_s = state.gate.view(at).answers.iter().find_map(counted).unwrap();
        let designed =
            |seconds: u64| with_figure(&log, "discharge_estimate_s", i64::try_from(seconds * 1_000_000).unwrap() - 999);
        let long = designed(least_s + 30);
        for (log, on_label_s, waited_s, is_done) in [
            (&log, least_s + 60, least_s, false),
            (&log, least_s + 60, least_s + 59, false),
            (&log, least_s + 60, least_s + 60, true),
            (&log, 5, least_s - 1, false),
            (&log, 5, least_s, true),
            (&long, 5, least_s + 29, false),
            (&long, 5, least_s + 30, true),
            (&long, least_s + 60, least_s + 59, false),
            (&designed(5), 5, least_s - 1, false),
            (&designed(5), 5, least_s, true),
        ] {
            let mut own = log.clone();
            let place = |requirement: &str| Place::of("discharge-wait", 0, requirement);
            let read = Reading {
                at: place("label-time"),
                raw: format!("{on_label_s} s"),
                micro: i64::try_from(on_label_s * 1_000_000).ok(),
                unit: domain::electrical::Unit::Second.code(),
                sign: Sign::Equal,
                quality: ReadingQuality::Ok,
                instrument: None,
                corrects: None,
                test_voltage: None,
            };
            let waited = Waited { at: place("wait"), elapsed_ms: waited_s * 1_000, corrects: None };
            let original = rehearsal::photo_file(9_000_077);
            let photo = Photo {
                at: place("label"),
                capture: domain::ids::CaptureId::of(id(71, 1)),
                original,
                preview: None,
                taken_ms: 0,
                origin: PhotoOrigin::Camera,
                corrects: None,
                kept_anyway: false,
            };
            let read_cautions = CautionsRead { at: place(""), cautions: plan.step(at.step).cautions.clone() };
            for (number, body) in
                [Body::CautionsRead(read_cautions), Body::Photo(photo), Body::Reading(read), Body::Waited(waited)]
                    .into_iter()
                    .enumerate()
            {
                own.write(tech(), EntryId::of(id(70, number as u64)), body);
            }
            let mut state = fold(&own.file, &plan);
            assert_eq!(state.breaches.len(), 0, "{:?}", state.breaches);
            assert_eq!(state.gate.is_done(at), is_done, "{} label {on_label_s} s, waited {waited_s} s", method.id);
        }
    }
}

/// A record that is set right after the power stands at its own time: the next proof is made whole.
#[test]
fn a_record_that_was_corrected_after_the_power_proves_nothing_new() {
    for method in methods() {
        let plan = Plan::of(&method);
        let way = ways(&method).remove(0);
        let mut log = perfect_run(&plan, &way);
        let read = log.lines.iter().find_map(|line| match &line.body {
            Body::Reading(reading) if reading.at.step == "prove-dead-dc" => Some((line.id, reading.clone())),
            _ => None,
        });
        let (entry, reading) = read.unwrap();
        let better = Reading { corrects: Some(entry), raw: format!("{} ", reading.raw), ..reading.clone() };
        log.write(tech(), EntryId::of(id(67, 1)), Body::Reading(better));
        let inside = method.steps.iter().find(|step| step.is_part("inverter-dc", BoardPart::Inside)).unwrap();
        let done = log.lines.iter().filter_map(|line| line.body.evidence_place()).find(|place| place.step == inside.id);
        let at = Place::of(&inside.id, done.unwrap().slot, "");
        log.write(lead(), EntryId::of(id(68, 1)), Body::Returned(Returned { at, remark: EntryId::of(id(69, 1)) }));
        let before = log.lines.iter().filter(|line| line.body.evidence_place() == Some(&reading.at)).count();
        work_on(&mut log, &plan, &way, &mut 5_000_000).unwrap_or_else(|why| panic!("{}: {why}", method.id));
        let after = log.lines.iter().filter(|line| line.body.evidence_place() == Some(&reading.at)).count();
        assert_eq!(after, before + 1, "{}: measured again", method.id);
    }
}

/// One more photo of the tester, long after the power, takes nothing back.
#[test]
fn a_further_photo_after_the_power_ends_nothing() {
    for method in methods() {
        let plan = Plan::of(&method);
        let mut log = perfect_run(&plan, &ways(&method)[0]);
        for (number, step) in ["find-sources", "isolate-ac", "prove-tester-after"].into_iter().enumerate() {
            let number = number as u64;
            let photo = Photo {
                at: Place::of(step, 0, "photo"),
                capture: domain::ids::CaptureId::of(id(72, number)),
                original: rehearsal::photo_file(9_100_000 + number),
                preview: None,
                taken_ms: 0,
                origin: PhotoOrigin::Camera,
                corrects: None,
                kept_anyway: false,
            };
            log.write(tech(), EntryId::of(id(73, number)), Body::Photo(photo));
        }
        let mut state = fold(&log.file, &plan);
        assert_eq!(state.gate.unfinished(), Vec::<StepRef>::new(), "{}", method.id);
    }
}

/// A way of working with this answer to what is connected at the battery terminals.
fn with_battery(way: &Way, answer: &str) -> Way {
    let choice = ("find-sources".to_owned(), "battery".to_owned());
    Way { options: way.options.clone().into_iter().chain([(choice, answer.to_owned())]).collect(), stacks: way.stacks }
}

/// The last record of a step, written again as something new.
fn once_more(log: &mut Log, step: &str, which: fn(&Body) -> bool, entry: EntryId) {
    let of_step = |line: &&rehearsal::Line| {
        line.body.evidence_place().is_some_and(|place| place.step == step) && which(&line.body)
    };
    let body = log.lines.iter().rfind(of_step).unwrap_or_else(|| panic!("nothing at {step}")).body.clone();
    log.write(tech(), entry, body);
}

#[test]
fn nothing_new_is_recorded_inside_on_a_proof_that_has_ended() {
    let mut cases = 0;
    for method in methods() {
        let plan = Plan::of(&method);
        let log = perfect_run(&plan, &ways(&method)[0]);
        for step in with_part(&method, &[BoardPart::Inside]) {
            if recorded(&log, &step) == 0 {
                continue;
            }
            let case = format!("{} {step}", method.id);
            let mut own = log.clone();
            let entry = EntryId::of(id(74, 1));
            once_more(&mut own, &step, |_| true, entry);
            let mut state = fold(&own.file, &plan);
            let why = &state.breaches.get(&entry).unwrap_or_else(|| panic!("{case}: let through")).why;
            let names_it = |by: &[Obstacle]| {
                by.iter().any(|one| matches!(one, Obstacle::Step(at) if plan.step(at.step).id == "isolate-ac"))
            };
            assert!(matches!(why, BreachWhy::StepShut(by) if names_it(by)), "{case}: {why:?}");
            let at = state.gate.steps().into_iter().find(|at| plan.step(at.step).id == step).unwrap();
            let view = state.gate.view(at);
            assert!(view.lapsed && matches!(view.state, StepState::Satisfied), "{case}: {:?}", view.state);

            // What was mistyped is put right all the same.
            let read = log.lines.iter().rfind(|line| {
                matches!(&line.body, Body::Reading(reading) if reading.at.step == step) && line.who == tech()
            });
            let Some((line, Body::Reading(reading))) = read.map(|line| (line, &line.body)) else { continue };
            let mut own = log.clone();
            let better = Reading { corrects: Some(line.id), raw: format!("{} ", reading.raw), ..reading.clone() };
            own.write(tech(), entry, Body::Reading(better));
            assert!(fold(&own.file, &plan).breaches.is_empty(), "{case}: a correction");
            cases += 1;
        }
    }
    assert!(cases >= 8, "{cases}");
}

#[test]
fn a_source_that_is_found_later_asks_for_the_wait_and_the_proof_again() {
    // Where a battery is locked off whatever was found, none can be found later.
    let is_found = |method: &Method| {
        let when = method.step("isolate-battery").and_then(|step| step.when.as_ref());
        when.is_some_and(|when| when.step == "find-sources")
    };
    let methods: Vec<Method> = methods().filter(is_found).collect();
    assert!(methods.len() >= 3, "{}", methods.len());
    for method in methods {
        let plan = Plan::of(&method);
        let none = with_battery(&ways(&method)[0], "no");
        let found = with_battery(&none, "yes");
        let inside = method.steps.iter().find(|step| step.duties().iter().any(|duty| duty.part == BoardPart::Inside));
        let mut log = begun(&perfect_run(&plan, &none), &inside.unwrap().id);
        assert_eq!(recorded(&log, "isolate-battery"), 0);
        let choice = Choice { at: Place::of("find-sources", 0, "battery"), option: "yes".into(), corrects: None };
        log.write(tech(), EntryId::of(id(75, 1)), Body::Choice(choice));
        let again = [
            "lock-list",
            "discharge-wait",
            "prove-tester-before",
            "prove-dead-ac",
            "prove-dead-dc",
            "prove-tester-after",
        ];
        let before = again.map(|step| recorded(&log, step));
        work_on(&mut log, &plan, &found, &mut 6_000_000).unwrap_or_else(|why| panic!("{}: {why}", method.id));
        assert!(recorded(&log, "isolate-battery") > 0, "{}", method.id);
        for (step, before) in again.into_iter().zip(before) {
            assert!(recorded(&log, step) > before, "{}: {step} was not done again", method.id);
        }
    }
}

/// Where a battery stands now, "none is connected" from before it came says nothing.
#[test]
fn after_the_power_it_is_asked_again_which_sources_there_are() {
    for method in methods() {
        let plan = Plan::of(&method);
        let none = with_battery(&ways(&method)[0], "no");
        let mut log = perfect_run(&plan, &none);
        let inside = method.steps.iter().find(|step| {
            step.duties().iter().any(|duty| duty.part == BoardPart::Inside) && recorded(&log, &step.id) > 0
        });
        let done = log.lines.iter().filter_map(|line| line.body.evidence_place());
        let slot = done.rev().find(|place| place.step == inside.unwrap().id).unwrap().slot;
        let at = Place::of(&inside.unwrap().id, slot, "");
        log.write(lead(), EntryId::of(id(76, 1)), Body::Returned(Returned { at, remark: EntryId::of(id(77, 1)) }));
        let mut state = fold(&log.file, &plan);
        let battery = state.gate.steps().into_iter().find(|at| plan.step(at.step).id == "isolate-battery").unwrap();
        assert!(matches!(state.gate.view(battery).state, StepState::Locked { .. }), "{}", method.id);
        work_on(&mut log, &plan, &with_battery(&none, "yes"), &mut 7_000_000)
            .unwrap_or_else(|why| panic!("{}: {why}", method.id));
        assert!(recorded(&log, "isolate-battery") > 0, "{}: the battery was not locked off", method.id);
    }
}

#[test]
fn what_is_tested_again_asks_for_the_tester_again() {
    for method in methods() {
        let plan = Plan::of(&method);
        let log = perfect_run(&plan, &ways(&method)[0]);
        let inside = method.steps.iter().find(|step| step.duties().iter().any(|duty| duty.part == BoardPart::Inside));
        let mut own = begun(&log, &inside.unwrap().id);
        once_more(&mut own, "prove-dead-dc", |body| matches!(body, Body::Photo(_)), EntryId::of(id(78, 1)));
        assert_eq!(ended(&own, &plan), BTreeSet::new(), "{}: a photo measures nothing", method.id);
        once_more(&mut own, "prove-dead-dc", |body| matches!(body, Body::Reading(_)), EntryId::of(id(78, 2)));
        let asked = BTreeSet::from([("prove-tester-after".to_owned(), Ending::TestedAgain)]);
        assert_eq!(ended(&own, &plan), asked, "{}", method.id);
    }
}

/// Steps of which this person is asked for the evidence anew, and why.
fn asked_of(log: &Log, plan: &Plan<'_>, who: Who) -> BTreeSet<(String, Ending)> {
    let mut state = fold_for(&log.file, plan, log.next_us(), who.0);
    let views: Vec<_> = state.gate.steps().into_iter().map(|at| state.gate.view(at)).collect();
    let asked = views.iter().filter(|view| !matches!(view.state, StepState::Satisfied));
    asked.filter_map(|view| Some((view.step.id.clone(), view.ended?.by))).collect()
}

/// The job of each method as far as its first work inside a board, what is recorded there first, and the steps of the proof.
fn before_the_first_work_inside(method: &Method, plan: &Plan<'_>, way: &Way) -> (Log, Body, BTreeSet<String>) {
    let whole = perfect_run(plan, way);
    let is_inside =
        |step: &&domain::method::plan::Step| step.duties().iter().any(|duty| duty.part == BoardPart::Inside);
    let inside = &method.steps.iter().find(is_inside).unwrap().id;
    let log = begun(&whole, inside);
    let first = whole.lines.iter().find(|line| line.body.evidence_place().is_some_and(|place| place.step == *inside));
    let proofs = that_apply(with_part(method, &PROOFS), &log, plan);
    (log, first.unwrap().body.clone(), proofs)
}

fn proved_again_and_not_isolated_again(before: &Log, after: &Log, case: &str) {
    for step in ["prove-tester-before", "prove-dead-ac", "prove-dead-dc", "prove-tester-after"] {
        assert!(recorded(after, step) > recorded(before, step), "{case}: {step}");
    }
    for step in ["find-sources", "isolate-ac", "lock-list", "discharge-wait"] {
        assert_eq!(recorded(after, step), recorded(before, step), "{case}: {step}");
    }
}

#[test]
fn who_left_the_others_proves_again_and_they_go_on() {
    for method in methods() {
        let plan = Plan::of(&method);
        let way = ways(&method).remove(0);
        let (log, first, proofs) = before_the_first_work_inside(&method, &plan, &way);
        let mut own = log.clone();
        somebody_else_works_too(&mut own, &method);
        own.write(tech(), EntryId::of(id(90, 1)), Body::WentAway(Plain {}));
        let open_for = |log: &Log, who: Who| {
            let mut state = fold_for(&log.file, &plan, log.next_us(), who.0);
            let steps = state.gate.steps();
            let is_open = |at: &StepRef| state.gate.obstacles(*at).is_empty();
            steps.into_iter().filter(is_open).count()
        };
        assert_eq!(open_for(&own, tech()), 0, "{}: who is away records nothing", method.id);
        assert!(open_for(&own, lead()) > 0, "{}", method.id);

        own.write(tech(), EntryId::of(id(90, 2)), Body::CameBack(Plain {}));
        let asked: BTreeSet<(String, Ending)> = proofs.into_iter().map(|step| (step, Ending::Away)).collect();
        assert_eq!(asked_of(&own, &plan, tech()), asked, "{}", method.id);
        assert_eq!(asked_of(&own, &plan, lead()), BTreeSet::new(), "{}", method.id);
        for (who, is_let_in) in [(lead(), true), (tech(), false)] {
            let mut hasty = own.clone();
            let entry = EntryId::of(id(90, 3));
            hasty.write(who, entry, first.clone());
            let state = fold(&hasty.file, &plan);
            let why = state.breaches.get(&entry).map(|breach| &breach.why);
            assert_eq!(why.is_none(), is_let_in, "{}: {why:?}", method.id);
        }
        work_on(&mut own, &plan, &way, &mut 8_000_000).unwrap_or_else(|why| panic!("{}: {why}", method.id));
        proved_again_and_not_isolated_again(&log, &own, &method.id);
    }
}

/// The lead says at a step without boards what the technician has said there.
fn somebody_else_works_too(log: &mut Log, method: &Method) {
    let outside = |line: &&rehearsal::Line| {
        let place = line.body.evidence_place().filter(|_| matches!(line.body, Body::Confirmation(_)));
        place.and_then(|place| method.step(&place.step)).is_some_and(|step| step.duties().is_empty())
    };
    let said = log.lines.iter().find(outside).map(|line| line.body.clone());
    log.write(lead(), EntryId::of(id(93, 1)), said.unwrap());
}

/// "The others" are nobody where nobody else has recorded anything: whoever left took their locks along.
#[test]
fn who_leaves_nobody_behind_isolates_again() {
    for method in methods() {
        let plan = Plan::of(&method);
        let way = ways(&method).remove(0);
        let (log, ..) = before_the_first_work_inside(&method, &plan, &way);
        let leave_and_come_back = |log: &mut Log| {
            log.write(tech(), EntryId::of(id(94, 1)), Body::WentAway(Plain {}));
            log.write(tech(), EntryId::of(id(94, 2)), Body::CameBack(Plain {}));
        };
        let mut own = log.clone();
        leave_and_come_back(&mut own);
        // Two who each believe that the other one stays, on phones that do not hear of each other.
        let mut both = log.clone();
        somebody_else_works_too(&mut both, &method);
        both.write(lead(), EntryId::of(id(94, 3)), Body::WentAway(Plain {}));
        leave_and_come_back(&mut both);
        for (own, who) in [(&own, tech()), (&own, lead()), (&both, tech())] {
            let asked = asked_of(own, &plan, who);
            for step in ["find-sources", "isolate-ac", "lock-list", "discharge-wait"] {
                assert!(asked.contains(&(step.to_owned(), Ending::Power)), "{}: {step}: {asked:?}", method.id);
            }
        }
        work_on(&mut own, &plan, &way, &mut 8_000_000).unwrap_or_else(|why| panic!("{}: {why}", method.id));
        assert!(recorded(&own, "lock-list") > recorded(&log, "lock-list"), "{}", method.id);
    }
}

#[test]
fn a_lock_that_changes_hands_ends_the_proof_of_everybody() {
    for method in methods() {
        let plan = Plan::of(&method);
        let way = ways(&method).remove(0);
        let (log, first, proofs) = before_the_first_work_inside(&method, &plan, &way);
        let mut own = log.clone();
        own.write(tech(), EntryId::of(id(91, 1)), Body::LockHandedOver(LockHandedOver { to: lead().0 }));
        let asked: BTreeSet<(String, Ending)> = proofs.into_iter().map(|step| (step, Ending::LockHandedOver)).collect();
        for who in [tech(), lead()] {
            assert_eq!(asked_of(&own, &plan, who), asked, "{}", method.id);
            let mut hasty = own.clone();
            let entry = EntryId::of(id(91, 2));
            hasty.write(who, entry, first.clone());
            let why = fold(&hasty.file, &plan).breaches.get(&entry).map(|breach| breach.why.clone());
            assert!(matches!(why, Some(BreachWhy::StepShut(_))), "{}: {why:?}", method.id);
        }
        assert_eq!(ended(&own, &plan), asked, "{}: also for whoever reads it at a desk", method.id);
        work_on(&mut own, &plan, &way, &mut 8_000_000).unwrap_or_else(|why| panic!("{}: {why}", method.id));
        proved_again_and_not_isolated_again(&log, &own, &method.id);
    }
}

/// The whole crew left, and somebody who had gone before comes back with it: that is coming back.
#[test]
fn who_comes_back_with_the_crew_is_back() {
    let method = methods().next().unwrap();
    let plan = Plan::of(&method);
    let (mut log, ..) = before_the_first_work_inside(&method, &plan, &ways(&method)[0]);
    somebody_else_works_too(&mut log, &method);
    log.write(tech(), EntryId::of(id(92, 1)), Body::WentAway(Plain {}));
    let left_as = LeftAs::IsolatedAndLocked;
    log.write(lead(), EntryId::of(id(92, 2)), Body::Paused(Paused { left_as, remark: None }));
    log.write(lead(), EntryId::of(id(92, 3)), Body::Resumed(Plain {}));
    let away = |log: &Log| {
        let state = fold_for(&log.file, &plan, log.next_us(), tech().0);
        state.gate.job_obstacles()
    };
    assert_eq!(away(&log), [Obstacle::Away], "the others are back");
    log.write(tech(), EntryId::of(id(92, 4)), Body::Resumed(Plain {}));
    assert_eq!(away(&log), []);
    let (own, others) = (asked_of(&log, &plan, tech()), asked_of(&log, &plan, lead()));
    assert!(own.iter().all(|(_, by)| *by == Ending::Away) && others.iter().all(|(_, by)| *by == Ending::Left));
    assert!(!own.is_empty() && own.len() == others.len(), "{own:?} {others:?}");
}

const MINUTE_US: u64 = 60_000_000;

/// Steps of proving dead that are asked for anew at this moment because of a silence.
fn silenced(log: &Log, plan: &Plan<'_>, now: u64) -> BTreeSet<String> {
    let mut state = fold_at(&log.file, plan, now);
    let views = state.gate.steps().into_iter().map(|at| state.gate.view(at)).collect::<Vec<_>>();
    let asked = views.into_iter().filter(|view| view.ended.is_some_and(|ended| ended.by == Ending::Silent));
    asked.map(|view| view.step.id.clone()).collect()
}

/// The log as begun, with a figure of the job's design on top.
fn with_figure(log: &Log, key: &str, micro: i64) -> Log {
    let values = log.lines.iter().rev().find_map(|line| match &line.body {
        Body::DesignInputs(inputs) => Some(inputs.values.clone()),
        _ => None,
    });
    let mut values = values.unwrap();
    values.retain(|(own, _)| own != key);
    values.push((key.to_owned(), micro));
    values.sort();
    let mut own = log.clone();
    own.write(lead(), EntryId::of(id(72, micro.unsigned_abs())), Body::DesignInputs(DesignInputs { values }));
    own
}

/// A firm's rules may shorten or lengthen it, and no figure of a job goes beyond what rules may say.
#[test]
fn how_long_a_proof_holds_goes_by_the_rules_of_the_job() {
    for method in methods() {
        let plan = Plan::of(&method);
        let inside = method.steps.iter().find(|step| step.duties().iter().any(|duty| duty.part == BoardPart::Inside));
        let log = begun(&perfect_run(&plan, &ways(&method)[0]), &inside.unwrap().id);
        let last = fold_at(&log.file, &plan, log.next_us()).gate.proof_holds_until().unwrap() - PROOF_SPAN_US;
        for (figure_s, holds_s) in [(1_800, 1_800), (0, 900), (i64::MAX / 2_000_000, 7_200)] {
            let own = with_figure(&log, "proof_span_s", figure_s * 1_000_000);
            let until = last + holds_s * 1_000_000;
            assert_eq!(
                fold_at(&own.file, &plan, last).gate.proof_holds_until(),
                Some(until),
                "{} {figure_s} s",
                method.id
            );
            assert_eq!(silenced(&own, &plan, until), BTreeSet::new(), "{} {figure_s} s", method.id);
            assert!(!silenced(&own, &plan, until + 1).is_empty(), "{} {figure_s} s", method.id);
        }
    }
}

#[test]
fn an_hour_without_a_record_asks_for_the_proof_alone() {
    for method in methods() {
        let plan = Plan::of(&method);
        let way = ways(&method).remove(0);
        let inside = method.steps.iter().find(|step| step.duties().iter().any(|duty| duty.part == BoardPart::Inside));
        let log = begun(&perfect_run(&plan, &way), &inside.unwrap().id);
        // Its cautions were read last; that is no presence at a board.
        let after = log.lines.iter().rev().take_while(|line| line.body.evidence_place().is_none()).count() as u64;
        let last = log.next_us() - (after + 1) * 1_000_000;
        assert_eq!(PROOF_SPAN_US, 60 * MINUTE_US);
        assert_eq!(silenced(&log, &plan, last + PROOF_SPAN_US), BTreeSet::new(), "{}", method.id);
        let asked = that_apply(with_part(&method, &PROOFS), &log, &plan);
        assert_eq!(silenced(&log, &plan, last + PROOF_SPAN_US + 1), asked, "{}", method.id);
        let until = fold_at(&log.file, &plan, last).gate.proof_holds_until();
        assert_eq!(until, Some(last + PROOF_SPAN_US), "{}", method.id);

        // Nobody is let in, the office sees what it saw before, and after the proof alone the work goes on. Its cautions were read last: that
        // began the step.
        let mut late = log.clone();
        late.later_us = 2 * PROOF_SPAN_US + MINUTE_US;
        let entry = EntryId::of(id(79, 1));
        let body = perfect_run(&plan, &way)
            .lines
            .into_iter()
            .find(|line| line.body.evidence_place().is_some_and(|place| place.step == inside.unwrap().id));
        let mut hasty = late.clone();
        hasty.write(tech(), entry, body.unwrap().body);
        let state = fold(&hasty.file, &plan);
        let why = state.breaches.get(&entry).map(|breach| &breach.why);
        assert!(matches!(why, Some(BreachWhy::StepShut(_))), "{}: {why:?}", method.id);
        assert_eq!(ended(&late, &plan), BTreeSet::new(), "{}: read without a moment", method.id);
        work_on(&mut late, &plan, &way, &mut 8_000_000).unwrap_or_else(|why| panic!("{}: {why}", method.id));
        for step in ["prove-tester-before", "prove-dead-ac", "prove-dead-dc", "prove-tester-after"] {
            assert!(recorded(&late, step) > recorded(&log, step), "{}: {step}", method.id);
        }
        for step in ["find-sources", "isolate-ac", "lock-list", "discharge-wait"] {
            assert_eq!(recorded(&late, step), recorded(&log, step), "{}: {step}", method.id);
        }
    }
}

/// Who began a step under a living proof finishes it though an hour passes meanwhile, and not two.
#[test]
fn what_was_begun_under_a_living_proof_is_finished_under_it() {
    let mut cases = 0;
    for method in methods() {
        let plan = Plan::of(&method);
        let log = perfect_run(&plan, &ways(&method)[0]);
        let inside = method.steps.iter().filter(|step| step.duties().iter().any(|duty| duty.part == BoardPart::Inside));
        for step in inside {
            let of_step: Vec<&rehearsal::Line> = log
                .lines
                .iter()
                .filter(|line| line.body.evidence_place().is_some_and(|place| place.step == step.id))
                .collect();
            // A second record of the same repetition: the first one began it.
            let Some([first, second]) = of_step.get(..2).and_then(|two| <[_; 2]>::try_from(two).ok()) else { continue };
            let slot = |line: &rehearsal::Line| line.body.evidence_place().map(|place| place.slot);
            if slot(first) != slot(second) {
                continue;
            }
            let third = of_step.get(2).filter(|line| slot(line) == slot(first));
            for (minutes, let_in) in [(59, true), (61, true), (119, true), (121, false)] {
                let mut own = begun(&log, &step.id);
                let read =
                    CautionsRead { at: Place::of(&step.id, slot(first).unwrap(), ""), cautions: step.cautions.clone() };
                own.write(tech(), EntryId::of(id(80, 1)), Body::CautionsRead(read));
                own.write(tech(), EntryId::of(id(80, 2)), first.body.clone());
                own.later_us = minutes * MINUTE_US;
                let entry = EntryId::of(id(80, 3));
                own.write(tech(), entry, second.body.clone());
                let breached = fold(&own.file, &plan).breaches.contains_key(&entry);
                assert_eq!(!breached, let_in, "{} {} after {minutes} min", method.id, step.id);
                if let Some(third) = third.filter(|_| let_in) {
                    let entry = EntryId::of(id(80, 4));
                    own.write(tech(), entry, third.body.clone());
                    let breaches = fold(&own.file, &plan).breaches;
                    assert!(!breaches.contains_key(&entry), "{} {}: the record after it", method.id, step.id);
                }
                cases += 1;
            }
        }
    }
    assert!(cases >= 24, "{cases}");
}

/// The order in which entries arrive says nothing, only when they were made.
#[test]
fn a_silence_between_two_records_stays_one_whoever_reads_later() {
    let method = methods().next().unwrap();
    let plan = Plan::of(&method);
    let way = ways(&method).remove(0);
    let inside = method.steps.iter().find(|step| step.duties().iter().any(|duty| duty.part == BoardPart::Inside));
    let mut log = begun(&perfect_run(&plan, &way), &inside.unwrap().id);
    log.later_us = PROOF_SPAN_US + MINUTE_US;
    let again = log
        .lines
        .iter()
        .rfind(|line| matches!(&line.body, Body::Reading(reading) if reading.at.step == "prove-tester-before"));
    let body = again.unwrap().body.clone();
    log.write(tech(), EntryId::of(id(81, 1)), body);
    let asked = ended(&log, &plan);
    let still: BTreeSet<(String, Ending)> =
        with_part(&method, &PROOFS).into_iter().map(|step| (step, Ending::Silent)).collect();
    assert!(!asked.is_empty() && asked.is_subset(&still), "{asked:?}");
    assert!(asked.contains(&("prove-tester-after".to_owned(), Ending::Silent)), "one record of three proves nothing");
}

/// A lead may let one record of a new isolation pass; what makes ready for power and switching on are asked for again all the same.
#[test]
fn a_new_isolation_with_a_deviation_is_one() {
    for method in methods() {
        let plan = Plan::of(&method);
        let yes = with_battery(&ways(&method)[0], "yes");
        let mut log = perfect_run(&plan, &yes);
        let at = first_work_inside(&method, &log);
        log.write(lead(), EntryId::of(id(82, 1)), Body::Returned(Returned { at, remark: EntryId::of(id(82, 2)) }));
        let again = ["covers-closed", "power-briefing", "remove-locks", "battery-on"];
        let before = again.map(|step| recorded(&log, step));
        // No battery to lock off this time: the act from the first isolation stays the newest of its step.
        work_on(&mut log, &plan, &with_battery(&yes, "no"), &mut 9_000_000)
            .unwrap_or_else(|why| panic!("{}: {why}", method.id));
        for (step, before) in again.into_iter().zip(before) {
            assert!(recorded(&log, step) > before, "{}: {step} was not done again", method.id);
        }
    }
}

fn first_work_inside(method: &Method, log: &Log) -> Place {
    let inside = with_part(method, &[BoardPart::Inside]);
    let mut places = log.lines.iter().filter_map(|line| line.body.evidence_place());
    let place = places.find(|place| inside.contains(&place.step)).unwrap();
    Place::of(&place.step, place.slot, "")
}

/// The locks come off, and a step inside is returned before anybody has recorded that: the agreement to switch on tells of it.
#[test]
fn once_switching_on_was_agreed_nobody_is_let_in_on_the_old_proof() {
    for method in methods() {
        let plan = Plan::of(&method);
        let log = perfect_run(&plan, &ways(&method)[0]);
        let mut own = begun(&log, "remove-locks");
        let at = first_work_inside(&method, &log);
        own.write(lead(), EntryId::of(id(83, 1)), Body::Returned(Returned { at, remark: EntryId::of(id(83, 2)) }));
        let asked = ended(&own, &plan);
        assert!(asked.contains(&("prove-tester-before".to_owned(), Ending::Agreed)), "{}: {asked:?}", method.id);

        // Who records it all the same has switched on: a breach, and the power came.
        let line = log.lines.iter().find(|line| line.body.evidence_place().is_some_and(|at| at.step == "remove-locks"));
        let entry = EntryId::of(id(83, 3));
        own.write(tech(), entry, line.unwrap().body.clone());
        assert!(fold(&own.file, &plan).breaches.contains_key(&entry), "{}", method.id);
        let asked = ended(&own, &plan);
        assert!(asked.contains(&("isolate-ac".to_owned(), Ending::Power)), "{}: {asked:?}", method.id);
    }
}

/// A step that a lead had done again is no step that somebody is busy with.
#[test]
fn what_was_returned_was_not_begun() {
    for method in methods() {
        let plan = Plan::of(&method);
        let log = perfect_run(&plan, &ways(&method)[0]);
        let at = first_work_inside(&method, &log);
        let next = method.steps.iter().skip_while(|step| step.id != at.step).nth(1).unwrap();
        let mut own = begun(&log, &next.id);
        own.write(
            lead(),
            EntryId::of(id(84, 1)),
            Body::Returned(Returned { at: at.clone(), remark: EntryId::of(id(84, 2)) }),
        );
        let mut state = fold_at(&own.file, &plan, own.next_us() + PROOF_SPAN_US + MINUTE_US);
        let step = state.gate.find(&at).unwrap();
        assert!(!state.gate.obstacles(step).is_empty(), "{}: {} is open", method.id, at.step);
    }
}

/// The wrong breaker was locked, a lead saw it: the right one asks for the wait and the proof again.
#[test]
fn a_lock_that_was_put_right_asks_for_the_wait_and_the_proof_again() {
    for method in methods() {
        let plan = Plan::of(&method);
        let way = ways(&method).remove(0);
        let log = perfect_run(&plan, &way);
        let mut own = begun(&log, &first_work_inside(&method, &log).step);
        let at = Place::of("isolate-ac", 0, "");
        own.write(lead(), EntryId::of(id(85, 1)), Body::Returned(Returned { at, remark: EntryId::of(id(85, 2)) }));
        let before = recorded(&own, "discharge-wait");
        let proofs = recorded(&own, "prove-dead-dc");
        work_on(&mut own, &plan, &way, &mut 10_000_000).unwrap_or_else(|why| panic!("{}: {why}", method.id));
        assert!(recorded(&own, "discharge-wait") > before && recorded(&own, "prove-dead-dc") > proofs, "{}", method.id);
    }
}

/// A record that says it corrects one of another place is none.
#[test]
fn a_correction_stands_at_the_place_of_what_it_corrects() {
    let method = methods().next().unwrap();
    let plan = Plan::of(&method);
    let log = perfect_run(&plan, &ways(&method)[0]);
    let readings = log.lines.iter().filter_map(|line| match &line.body {
        Body::Reading(reading) => Some((line.id, reading)),
        _ => None,
    });
    let all: Vec<_> = readings.collect();
    let dead = all.iter().find(|(_, reading)| reading.at.step == "prove-dead-dc").unwrap();
    let other = all.iter().find(|(_, reading)| reading.at != dead.1.at).unwrap();
    let mut own = log.clone();
    let entry = EntryId::of(id(86, 1));
    own.write(tech(), entry, Body::Reading(Reading { corrects: Some(other.0), ..dead.1.clone() }));
    let why = fold(&own.file, &plan).breaches.get(&entry).map(|breach| breach.why.clone());
    assert_eq!(why, Some(BreachWhy::NothingThere));
}

/// A phone whose clock was set an hour ahead: its time is told by what the server stamped.
#[test]
fn a_clock_that_runs_ahead_is_known_by_the_stamps() {
    let method = methods().next().unwrap();
    let plan = Plan::of(&method);
    let log = perfect_run(&plan, &ways(&method)[0]);
    assert_eq!(log.file.ahead_us(tech().1), 0);
    let mut file = domain::job_file::JobFile::default();
    for held in log.file.iter() {
        let stamp =
            held.stamp.map(|stamp| domain::job_file::Stamp { time_us: held.entry.header.hlc - PROOF_SPAN_US, ..stamp });
        file.absorb(held.entry.clone(), stamp);
    }
    assert_eq!(file.ahead_us(tech().1), PROOF_SPAN_US);
}

/// The gates keep what they worked out from entry to entry. Whoever opens the job just then, with everything to work out anew, must hear
/// the same: after leaving, after a long silence, and after work that went on as if nothing had been.
#[test]
fn what_was_kept_from_entry_to_entry_is_what_is_worked_out_anew() {
    let (mut asked, mut shut) = (0, 0);
    for (number, method) in methods().enumerate() {
        let plan = Plan::of(&method);
        let perfect = perfect_run(&plan, &ways(&method)[0]);
        let inside = with_part(&method, &[BoardPart::Inside]);
        let at_boards = with_part(&method, &[BoardPart::Dead, BoardPart::Ends, BoardPart::BeforePower]);
        let (mut own, mut expected) = (Log::default(), Vec::new());
        let mut steps_left = BTreeSet::new();
        for line in &perfect.lines {
            if let Some(place) = line.body.evidence_place() {
                // Before the first record of every third of these steps.
                if (inside.contains(&place.step) || at_boards.contains(&place.step))
                    && steps_left.insert(&place.step)
                    && steps_left.len() % 3 == number % 3
                {
                    if steps_left.len() % 2 == 0 {
                        own.later_us += PROOF_SPAN_US + MINUTE_US;
                    } else {
                        leave(&mut own, LEFT_AS[steps_left.len() % LEFT_AS.len()]);
                    }
                }
                let mut state = fold_at(&own.file, &plan, own.next_us());
                let at = state.gate.find(place).unwrap();
                let mut by = state.gate.obstacles(at);
                if by.is_empty() {
                    by = state.gate.lapsed_before(at).into_iter().map(Obstacle::Step).collect();
                }
                shut += usize::from(!by.is_empty());
                expected.push((line.id, place.clone(), by));
            }
            own.write(line.who, line.id, line.body.clone());
        }
        let state = fold(&own.file, &plan);
        for (entry, place, by) in expected {
            let said = match state.breaches.get(&entry).map(|breach| &breach.why) {
                Some(BreachWhy::StepShut(by)) => by.clone(),
                None => Vec::new(),
                Some(other) => panic!("{}: {place:?} {other:?}", method.id),
            };
            assert_eq!(said, by, "{}: {place:?}", method.id);
            asked += 1;
        }
    }
    println!("{asked} records asked about twice, {shut} of them shut");
    assert!(asked >= 600 && shut >= 60, "{asked} {shut}");
}

#[test]
fn a_job_that_was_never_isolated_is_asked_for_nothing_more() {
    for method in methods() {
        let plan = Plan::of(&method);
        let mut log = opening(&method, 1);
        leave(&mut log, LeftAs::NotConnected);
        assert_eq!(ended(&log, &plan), BTreeSet::new(), "{}", method.id);
    }
}
