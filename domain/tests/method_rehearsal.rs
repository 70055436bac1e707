//! Every built-in method, walked through by the gates themselves: good work closes it by every way through its choices,
//! each single omission or bad value keeps exactly what depends on it shut, and departures behave as the method says.
//! The cases are generated from the method, not picked by hand, and counted.
#![cfg(feature = "methods")]
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

mod built_in;
mod rehearsal;

use domain::electrical::rule_set::Place as Country;
use domain::identification::dates::Date;
use domain::ids::EntryId;
use domain::job_file::body::*;
use domain::job_file::{Body, BreachWhy, JobFile, Place, fold};
use domain::method::Method;
use domain::method::gate::{Answer, LimitInfo, Obstacle, Plan, StepRef, StepState};
use domain::method::load::compose;
use domain::method::plan::{BoardPart, LimitRule, Repeat, Requirement, Step};
use domain::registration::{Around, registration};
use rehearsal::{Line, Log, Way, id, lead, perfect_run, photo_file, place, server, tech, ways, words, work_on};
use std::collections::{BTreeMap, BTreeSet};

fn method(name: &str) -> Method {
    compose(name, built_in::FILES).unwrap_or_else(|fault| panic!("{fault}")).method
}

/// What the method's text says must wait for each step, however far on: worked out here without the gate's own plan.
struct Waits {
    after: BTreeMap<StepRef, BTreeSet<StepRef>>,
}

impl Waits {
    fn of(method: &Method, steps: &[StepRef], equipment: &Equipment) -> Self {
        let controls: Vec<u16> = equipment
            .slots
            .iter()
            .filter(|slot| slot.new && equipment.models[usize::from(slot.model)].kind == UnitKind::ControlUnit)
            .map(|slot| slot.number)
            .collect();
        let stack = |slot: u16| controls.iter().find(|control| **control >= slot).or(controls.last());
        let mut direct: BTreeMap<StepRef, BTreeSet<StepRef>> = BTreeMap::new();
        for at in steps {
            let step = &method.steps[at.step];
            let choice = step.when.as_ref().map(|when| &when.step);
            for need in step.needs.iter().chain(choice) {
                for before in steps.iter().filter(|before| method.steps[before.step].id == *need) {
                    let fits = match (step.repeat, method.steps[before.step].repeat) {
                        (None, _) | (_, None) => true,
                        (Some(a), Some(b)) if (a == Repeat::Stack) != (b == Repeat::Stack) => {
                            stack(at.slot) == stack(before.slot)
                        }
                        (Some(_), Some(_)) => at.slot == before.slot,
                    };
                    if fits {
                        direct.entry(*before).or_default().insert(*at);
                    }
                }
            }
            if step.in_order {
                let earlier = steps.iter().filter(|b| b.step == at.step && b.slot < at.slot);
                for before in earlier.filter(|before| stack(at.slot) == stack(before.slot)) {
                    direct.entry(*before).or_default().insert(*at);
                }
            }
        }
        let mut after = BTreeMap::new();
        for at in steps {
            let mut found = BTreeSet::new();
            let mut open = vec![*at];
            while let Some(next) = open.pop() {
                for waits in direct.get(&next).into_iter().flatten() {
                    if found.insert(*waits) {
                        open.push(*waits);
                    }
                }
            }
            after.insert(*at, found);
        }
        Self { after }
    }
}

/// Steps that are shut because of others, those switched off, and whether the step itself is done.
fn outcome(file: &JobFile, plan: &Plan<'_>, at: StepRef) -> (BTreeSet<StepRef>, BTreeSet<StepRef>, bool) {
    let mut state = fold(file, plan);
    let mut shut = BTreeSet::new();
    let mut off = BTreeSet::new();
    for step in state.gate.steps() {
        match state.gate.view(step).state {
            StepState::Locked { by } if by.iter().any(|o| matches!(o, Obstacle::Step(_))) => {
                shut.insert(step);
            }
            StepState::NotApplicable => {
                off.insert(step);
            }
            _ => {}
        }
    }
    (shut, off, state.gate.is_done(at))
}

/// Steps of isolating and proving that are to be done again: work inside a board is left, and somebody recorded the power, though nothing
/// let them.
fn to_be_done_again(log: &Log, plan: &Plan<'_>) -> BTreeSet<StepRef> {
    let mut state = fold(&log.file, plan);
    let has_part = |step: &Step, parts: &[BoardPart]| step.duties().iter().any(|duty| parts.contains(&duty.part));
    let power = log.lines.iter().any(|line| {
        let step = line.body.evidence_place().and_then(|place| plan.method().step(&place.step));
        let came = |breach: &domain::job_file::Breach| matches!(breach.why, BreachWhy::StepShut(_));
        step.is_some_and(|step| has_part(step, &[BoardPart::Ends])) && state.breaches.get(&line.id).is_none_or(came)
    });
    let steps = state.gate.steps();
    let inside = steps.iter().filter(|at| has_part(plan.step(at.step), &[BoardPart::Inside]));
    let is_left = inside.copied().collect::<Vec<_>>().into_iter().any(|at| !state.gate.is_done(at));
    let again = [BoardPart::Isolates, BoardPart::TesterBefore, BoardPart::Dead, BoardPart::TesterAfter];
    let made_again = steps.into_iter().filter(|at| has_part(plan.step(at.step), &again));
    if power && is_left { made_again.collect() } else { BTreeSet::new() }
}

/// The case's requirement does not do: its step is not done, and exactly what waits for it is shut.
fn assert_exactly_shut(log: &Log, plan: &Plan<'_>, at: StepRef, waits: &Waits, case: &str) {
    let (shut, off, done) = outcome(&log.file, plan, at);
    assert!(!done, "{case}: the step is done");
    let mut undone = to_be_done_again(log, plan);
    undone.insert(at);
    let waiting: BTreeSet<StepRef> = undone.difference(&off).flat_map(|step| &waits.after[step]).copied().collect();
    let expected: BTreeSet<StepRef> = waiting.difference(&off).copied().collect();
    let names = |steps: Vec<&StepRef>| steps.into_iter().map(|step| words(plan, *step)).collect::<Vec<_>>();
    assert!(
        shut == expected,
        "{case}: open though they wait: {:?}; shut though they do not: {:?}",
        names(expected.difference(&shut).collect()),
        names(shut.difference(&expected).collect())
    );
}

/// Lines of evidence at a place replaced by what `change` makes of them.
fn at_place(log: &Log, place: &Place, change: &dyn Fn(&Line, usize) -> Vec<Line>) -> Log {
    let mut seen = 0;
    log.altered(&mut |line| {
        if line.body.evidence_place() == Some(place) {
            seen += 1;
            change(line, seen - 1)
        } else {
            vec![line.clone()]
        }
    })
}

fn with_body(line: &Line, body: Body) -> Vec<Line> {
    vec![Line { body, ..line.clone() }]
}

/// The log with a value at a place that does not do; `None` where no value of that kind could be bad.
fn spoiled(log: &Log, plan: &Plan<'_>, at: StepRef, requirement: &Requirement) -> Option<Log> {
    let place = place(plan, at, requirement.id());
    let with = |body: &dyn Fn(&Body) -> Body| Some(at_place(log, &place, &|line, _| with_body(line, body(&line.body))));
    match requirement {
        Requirement::Photo(_) => {
            // The server finds each of its pictures in another job, where they were entered first.
            let mut out = log.clone();
            let pictures: Vec<EntryId> = log
                .lines
                .iter()
                .filter(|line| line.body.evidence_place() == Some(&place))
                .map(|line| line.id)
                .collect();
            for (number, about) in pictures.into_iter().enumerate() {
                let other = Some(EntryId::of(id(0, 0)));
                let finding = Finding { code: FindingCode::PhotoElsewhere, about, other };
                out.write(server(), EntryId::of(id(30, number as u64)), Body::Finding(finding));
            }
            Some(out)
        }
        Requirement::Reading(need) => with(&|body| {
            let Body::Reading(reading) = body else { return body.clone() };
            // One past the limit, on the side that it has.
            match fold(&log.file, plan).gate.limit_at(at, &need.id) {
                LimitInfo::Known { limit, .. } => {
                    let past = limit.at_most.map(|most| most + 1).or(limit.at_least.map(|least| least - 1));
                    Body::Reading(Reading { micro: past, ..reading.clone() })
                }
                _ => {
                    let quality = ReadingQuality::NotTested;
                    Body::Reading(Reading { micro: None, quality, ..reading.clone() })
                }
            }
        }),
        Requirement::Serial(_) => with(&|body| match body {
            Body::Serial(serial) => Body::Serial(SerialRead { stored: "АВС".into(), ..serial.clone() }),
            other => other.clone(),
        }),
        Requirement::Words(_) => with(&|body| match body {
            Body::Words(words) => Body::Words(Words { text: " ".into(), ..words.clone() }),
            other => other.clone(),
        }),
        // A tick by whoever records cannot be wrong, only absent.
        Requirement::Confirmation(need) if need.by == domain::method::plan::Confirmer::Recorder => None,
        Requirement::Confirmation(_) => with(&|body| match body {
            Body::Confirmation(tick) => {
                Body::Confirmation(Confirmation { person: None, named_in: None, ..tick.clone() })
            }
            other => other.clone(),
        }),
        Requirement::Choice(need) => {
            // Options that stop all work are walked in a test of their own.
            let option = need.options.iter().find(|option| option.fails && option.stops.is_none())?.id.clone();
            with(&|body| match body {
                Body::Choice(choice) => Body::Choice(Choice { option: option.clone(), ..choice.clone() }),
                other => other.clone(),
            })
        }
        Requirement::Wait(_) => with(&|body| match body {
            Body::Waited(waited) => Body::Waited(Waited { elapsed_ms: waited.elapsed_ms - 1, ..waited.clone() }),
            other => other.clone(),
        }),
        Requirement::Countersign(_) => with(&|body| match body {
            Body::Countersign(sign) => Body::Countersign(Countersign { person: tech().0, ..sign.clone() }),
            other => other.clone(),
        }),
        Requirement::Signature(_) => with(&|body| match body {
            Body::Signature(sign) => Body::Signature(Signature { drawing: EntryId::of(id(0, 0)), ..sign.clone() }),
            other => other.clone(),
        }),
        Requirement::Check(need) => {
            // The design or a model is another one, so that the comparison fails; one of its inputs must be able to.
            let mut cases = need.call.inputs.iter().flat_map(|input| [(input, 10), (input, -10)]);
            cases.find_map(|(input, factor)| {
                let scale = |value: i64| if factor > 0 { value * 10 } else { value / 10 };
                let parts: Vec<&str> = input.from.split('.').collect();
                let key = *parts.last()?;
                let change = |values: &mut Vec<(String, i64)>| {
                    values.iter_mut().filter(|(own, _)| own == key).for_each(|(_, value)| *value = scale(*value));
                };
                let changed = log.altered(&mut |line| match (&line.body, parts[0]) {
                    (Body::DesignInputs(design), "design") => {
                        let mut design = design.clone();
                        change(&mut design.values);
                        with_body(line, Body::DesignInputs(design))
                    }
                    // The last of the readings is two hundredths higher: within its own limit, and unlike the others.
                    (Body::Reading(reading), "readings")
                        if Some(&reading.at) == last_of(log, &parts, at.slot).as_ref() =>
                    {
                        let micro = reading.micro.map(|micro| micro + micro / 50);
                        with_body(line, Body::Reading(Reading { micro, ..reading.clone() }))
                    }
                    (Body::Equipment(equipment), "model") => {
                        let mut equipment = equipment.clone();
                        equipment.models.iter_mut().for_each(|model| change(&mut model.values));
                        with_body(line, Body::Equipment(equipment))
                    }
                    _ => vec![line.clone()],
                });
                (!fold(&changed.file, plan).gate.is_done(at)).then_some(changed)
            })
        }
    }
}

/// The place of the last reading that an input `readings.STEP.REQUIREMENT` takes, in a step of this slot's stack.
fn last_of(log: &Log, parts: &[&str], slot: u16) -> Option<Place> {
    let places = log.lines.iter().filter_map(|line| line.body.evidence_place());
    let places = places.filter(|place| slot == 0 || place.slot <= slot);
    places.filter(|place| parts[1..] == [place.step.as_str(), place.requirement.as_str()]).max().cloned()
}

/// Asked for by the technician and allowed by the lead, in place of the evidence.
fn deviating(log: &Log, place: &Place, request: u64) -> Log {
    at_place(log, place, &|line, number| {
        let own = |kind| EntryId::of(id(kind, request));
        let asked = DeviationAsked { at: place.clone(), remark: own(41), photo: photo_file(u64::MAX), preview: None };
        let decided = DeviationDecided { asked: own(42), allowed: true, remark: None };
        let said = |who, id, body| Line { who, id, body };
        match number {
            0 => vec![
                said(line.who, own(41), Body::Remark(Remark { at: Some(place.clone()), text: "why".into() })),
                said(line.who, own(42), Body::DeviationAsked(asked)),
                said(lead(), own(43), Body::DeviationDecided(decided)),
            ],
            _ => Vec::new(),
        }
    })
}

/// Readings of a step whose limit takes another of its readings.
fn judged_by<'m>(step: &'m Step, read: &str) -> impl Iterator<Item = &'m Requirement> {
    let from = format!("reading.{}.{read}", step.id);
    step.requirements.iter().filter(move |other| match other {
        Requirement::Reading(need) => {
            let mut inputs = need.limits().filter_map(LimitRule::call).flat_map(|call| &call.inputs);
            inputs.any(|input| input.from == from)
        }
        _ => false,
    })
}

#[derive(Default)]
struct Count {
    ways: usize,
    omitted: usize,
    bad: usize,
    deviations: usize,
    refused: usize,
}

/// Omission, bad value and departure for each requirement that this way has and `covered` has not.
fn walk(plan: &Plan<'_>, way: &Way, covered: &mut BTreeSet<(StepRef, u16, usize)>, count: &mut Count) {
    let log = perfect_run(plan, way);
    count.ways += 1;
    let mut state = fold(&log.file, plan);
    let steps = state.gate.steps();
    let equipment = state.gate.record().equipment.as_ref().unwrap().value;
    let waits = Waits::of(plan.method(), &steps, equipment);
    let switching = rehearsal::switches(plan.method());
    for at in steps.iter().copied() {
        // Of the repetitions for many units the first and the last tell what the others would.
        let instances = state.gate.instances(at.step);
        if instances.first() != Some(&at) && instances.last() != Some(&at) {
            continue;
        }
        let view = state.gate.view(at);
        if view.state == StepState::NotApplicable {
            continue;
        }
        let step = plan.step(at.step);
        for (index, (requirement, answer)) in step.requirements.iter().zip(&view.answers).enumerate() {
            if *answer == Answer::NotApplicable || !covered.insert((at, way.stacks, index)) {
                continue;
            }
            let place = place(plan, at, requirement.id());
            let case = format!("{} {place:?}", plan.method().id);
            let computed = matches!(requirement, Requirement::Check(_));
            if !computed {
                let without = at_place(&log, &place, &|_, _| Vec::new());
                assert_exactly_shut(&without, plan, at, &waits, &format!("{case} left out"));
                count.omitted += 1;
            }
            match spoiled(&log, plan, at, requirement) {
                // Another design may fail elsewhere as well, so that only what waits is compared.
                Some(bad) if computed => {
                    let (shut, off, done) = outcome(&bad.file, plan, at);
                    assert!(!done && waits.after[&at].difference(&off).all(|step| shut.contains(step)), "{case} bad");
                    count.bad += 1;
                }
                Some(bad) => {
                    assert_exactly_shut(&bad, plan, at, &waits, &format!("{case} bad"));
                    count.bad += 1;
                }
                None => assert!(!computed, "{case}: no input makes it fail"),
            }
            if computed || switching.contains_key(&(place.step.clone(), place.requirement.clone())) {
                continue;
            }
            let mut departed = deviating(&log, &place, 1);
            // What is judged by it in the same step can be judged no more, and the lead allows that too.
            for (number, other) in judged_by(step, requirement.id()).enumerate() {
                departed = deviating(&departed, &Place::of(&step.id, at.slot, other.id()), number as u64 + 2);
            }
            let mut state = fold(&departed.file, plan);
            if step.stop_work {
                let asked = state.breaches.get(&EntryId::of(id(42, 1))).map(|breach| breach.why.clone());
                assert_eq!(asked, Some(BreachWhy::StopWorkStep), "{case}: a departure was let through");
                assert_exactly_shut(&departed, plan, at, &waits, &format!("{case} departed from"));
                count.refused += 1;
            } else {
                assert_eq!(state.gate.view(at).state, StepState::Deviating, "{case} departed from");
                let shut_by = |step: &StepRef, gate: &mut domain::method::gate::Gate<'_, '_>| {
                    gate.obstacles(*step).contains(&Obstacle::Step(at))
                };
                assert!(!steps.iter().any(|step| shut_by(step, &mut state.gate)), "{case}: allowed, and still shuts");
                count.deviations += 1;
            }
        }
    }
}

fn whole_method(name: &str) {
    let method = method(name);
    let plan = Plan::of(&method);
    let mut count = Count::default();
    let mut covered = BTreeSet::new();
    for way in ways(&method) {
        walk(&plan, &way, &mut covered, &mut count);
    }
    let reached: BTreeSet<(usize, usize)> = covered.iter().map(|(at, _, index)| (at.step, *index)).collect();
    let new_units = method.units.iter().any(|unit| unit.new);
    for (index, step) in method.steps.iter().enumerate() {
        let missed = (0..step.requirements.len()).find(|own| !reached.contains(&(index, *own)));
        assert!(missed.is_none() || (step.repeat.is_some() && !new_units), "{} {missed:?} is on no way", step.id);
    }
    let Count { ways, omitted, bad, deviations, refused } = count;
    println!(
        "{name}: {} generated cases: {ways} ways closed by good work, {omitted} omissions and {bad} bad values each \
         shut exactly what follows, {deviations} departures allowed, {refused} departures from stop-work steps refused",
        ways + omitted + bad + deviations + refused
    );
    assert!(omitted >= 80 && bad >= 60 && deviations >= 60 && refused >= 20, "{omitted} {bad} {deviations} {refused}");
}

#[test]
fn series_stack_floor() {
    whole_method("series-stack-floor.toml");
}

#[test]
fn install_with_backup() {
    whole_method("install-with-backup.toml");
}

#[test]
fn replace_fuse() {
    whole_method("replace-fuse.toml");
}

#[test]
fn hybrid_inverter() {
    whole_method("hybrid-inverter.toml");
}

/// Readings of a conductor that is not there are not asked for; a voltage that was read at one does not go away by saying so.
#[test]
fn a_voltage_is_not_talked_away_with_its_conductor() {
    let method = method("series-stack-floor.toml");
    let plan = Plan::of(&method);
    let mut way = ways(&method).remove(1);
    let phases = ("find-sources".to_owned(), "phases".to_owned());
    way.options.insert(phases, "three".to_owned());
    let whole = perfect_run(&plan, &way);
    let is_of_test = |line: &Line| line.body.evidence_place().is_some_and(|place| place.step == "prove-dead-ac");
    let last = whole.lines.iter().rposition(is_of_test).unwrap();
    let mut three = Log::default();
    whole.lines[..=last].iter().for_each(|line| three.write(line.who, line.id, line.body.clone()));
    let test = StepRef { step: plan.index_of("prove-dead-ac").unwrap(), slot: 0 };
    let answers = |log: &Log| {
        let mut state = fold(&log.file, &plan);
        let at = test;
        let view = state.gate.view(at);
        let by_id = view.step.requirements.iter().map(|need| need.id().to_owned()).zip(view.answers);
        (by_id.collect::<BTreeMap<String, Answer>>(), state.gate.is_done(at))
    };
    let is_met = |answer: &Answer| matches!(answer, Answer::Met { .. });
    let (all, done) = answers(&three);
    assert!(done && all.values().all(is_met), "{all:?}");
    let one_phase = |log: &Log| {
        at_place(log, &Place::of("find-sources", 0, "phases"), &|line, _| match &line.body {
            Body::Choice(choice) => with_body(line, Body::Choice(Choice { option: "one".into(), ..choice.clone() })),
            _ => vec![line.clone()],
        })
    };
    let without =
        |log: &Log, requirement: &str| at_place(log, &Place::of("prove-dead-ac", 0, requirement), &|_, _| Vec::new());
    let (own, done) = answers(&without(&three, "l2-n"));
    assert!(!done && matches!(own["l2-n"], Answer::Missing { .. }), "{own:?}");
    let (own, done) = answers(&without(&one_phase(&three), "l2-n"));
    assert!(done && own["l2-n"] == Answer::NotApplicable && is_met(&own["l3-n"]), "{own:?}");
    let live = at_place(&three, &Place::of("prove-dead-ac", 0, "l2-n"), &|line, _| match &line.body {
        Body::Reading(reading) => {
            with_body(line, Body::Reading(Reading { micro: Some(230_000_000), ..reading.clone() }))
        }
        _ => vec![line.clone()],
    });
    let (own, done) = answers(&one_phase(&live));
    assert!(!done && matches!(own["l2-n"], Answer::Failed { .. }), "{own:?}");
}

/// The same method on 230/400 V at 50 Hz and on 120/240 V at 60 Hz: what the supply should be follows from the rules of the place, and the
/// other place's voltage and frequency do not pass.
#[test]
fn a_new_inverter_is_finished_on_either_supply() {
    use Country::{De, Uk, Us};
    let method = method("hybrid-inverter.toml");
    let plan = Plan::of(&method);
    let mut closed = 0;
    for (country, phases, volts, hertz) in [(Uk, "one", 230, 50), (De, "three", 230, 50), (Us, "split", 120, 60)] {
        let values = rehearsal::figures(&method, country);
        let mut way = ways(&method).remove(1);
        way.options.insert(("find-sources".to_owned(), "other".to_owned()), "lockable".to_owned());
        way.options.insert(("further-sources".to_owned(), "which".to_owned()), "all".to_owned());
        for step in ["find-sources", "isolate-supply", "isolate-further-ac", "isolate-vehicle"] {
            way.options.insert((step.to_owned(), "phases".to_owned()), phases.to_owned());
        }
        let mut log = rehearsal::opening(&method, 1);
        log.write(lead(), EntryId::of(id(70, 1)), Body::DesignInputs(DesignInputs { values }));
        work_on(&mut log, &plan, &way, &mut 0).unwrap_or_else(|why| panic!("{country:?}: {why}"));
        let reads = |step: &str, requirement: &str| {
            log.lines.iter().find_map(|line| match &line.body {
                Body::Reading(reading) if reading.at == Place::of(step, 0, requirement) => reading.micro,
                _ => None,
            })
        };
        let about = |step: &str, requirement: &str, expected: i64| {
            let read = reads(step, requirement).map(|micro| (micro / 1_000_000 - expected).abs());
            assert!(read.is_some_and(|off| off * 20 <= expected), "{country:?} {step} {requirement}: {read:?}");
        };
        about("supply", "voltage", volts);
        about("supply", "frequency", hertz);
        assert_eq!(reads("supply-second-line", "between").is_some(), phases == "split");
        // Each conductor that this supply has is tested against every other one, and no other is asked for.
        for (step, second) in [
            ("prove-dead-ac", "l1-l2"),
            ("prove-dead-main-board", "l2-l1"),
            ("prove-dead-further-ac", "l1-l2"),
            ("prove-dead-vehicle", "l1-l2"),
        ] {
            assert_eq!(reads(step, second).is_some(), phases != "one", "{country:?} {step}");
            assert_eq!(reads(step, "l2-n").is_some(), phases != "one", "{country:?} {step}");
            assert_eq!(reads(step, "l2-l3").is_some(), phases == "three", "{country:?} {step}");
        }
        if phases == "split" {
            about("supply-second-line", "between", 240);
            about("supply-second-line", "second", 120);
        }
        let other =
            if hertz == 60 { [("voltage", 230), ("frequency", 50)] } else { [("voltage", 120), ("frequency", 60)] };
        for (requirement, wrong) in other {
            let place = Place::of("supply", 0, requirement);
            let changed = at_place(&log, &place, &|line, _| match &line.body {
                Body::Reading(reading) => {
                    let micro = Some(wrong * 1_000_000);
                    with_body(line, Body::Reading(Reading { micro, ..reading.clone() }))
                }
                _ => vec![line.clone()],
            });
            let mut state = fold(&changed.file, &plan);
            let at = state.gate.steps().into_iter().find(|at| plan.step(at.step).id == "supply").unwrap();
            assert!(!state.gate.is_done(at), "{country:?}: {wrong} passes as {requirement}");
        }
        closed += 1;
    }
    assert_eq!(closed, 3);
}

/// The registration knows the new inverter by its serial and its label, and what was read of the firmware.
#[test]
fn a_new_inverter_is_in_the_registration() {
    let method = method("hybrid-inverter.toml");
    let plan = Plan::of(&method);
    let log = perfect_run(&plan, &ways(&method)[1]);
    let state = fold(&log.file, &plan);
    let day = Date::parse("2026-01-02").unwrap();
    let around = Around { today: day, installer: "Firm", arrived: &BTreeSet::new(), day_of: &|_| Some(day) };
    let found = registration(&state, around);
    let inverter = found.units.iter().find(|unit| unit.kind == UnitKind::Inverter).unwrap();
    assert!(inverter.serial.as_deref().is_some_and(|serial| serial.starts_with("MK")), "{inverter:?}");
    assert_eq!(inverter.labels.len(), 1);
    assert_eq!(found.firmware.as_deref(), Some("V1.02; Yes, by today's list"));
    assert_eq!(found.grid_profile.as_deref(), Some("V1.02; The one that the operator names"));
}

/// Each answer that stops all work: everything freezes, a correction alone opens nothing, the lead's word does, and then
/// good work closes the job.
#[test]
fn answers_that_stop_work_freeze_the_job_until_the_lead_has_resolved_them() {
    let mut cases = 0;
    for name in built_in::METHODS {
        let method = method(name);
        let plan = Plan::of(&method);
        let way = ways(&method).remove(1);
        let log = perfect_run(&plan, &way);
        for line in &log.lines {
            let Body::Choice(choice) = &line.body else { continue };
            let Some(Requirement::Choice(need)) =
                method.step(&choice.at.step).unwrap().requirement(&choice.at.requirement)
            else {
                continue;
            };
            for option in need.options.iter().filter(|option| option.stops.is_some()) {
                stop_and_go_on(&plan, &way, &log, line, choice, &option.id);
                cases += 1;
            }
        }
    }
    println!("{cases} answers stopped all work and let it go on once resolved");
    assert!(cases >= 15, "{cases}");
}

fn stop_and_go_on(plan: &Plan<'_>, way: &Way, log: &Log, line: &Line, choice: &Choice, option: &str) {
    let mut stopped = Log::default();
    for before in log.lines.iter().take_while(|before| before.id != line.id) {
        stopped.write(before.who, before.id, before.body.clone());
    }
    let case = format!("{} {option}", choice.at.step);
    stopped.write(line.who, line.id, Body::Choice(Choice { option: option.to_owned(), ..choice.clone() }));
    let frozen = |log: &Log| {
        let mut state = fold(&log.file, plan);
        let open = state.gate.unfinished().into_iter().find(|at| state.gate.obstacles(*at).is_empty());
        (state.gate.job_obstacles(), open)
    };
    assert_eq!(frozen(&stopped), (vec![Obstacle::StopWork(line.id)], None), "{case}");
    // Another answer to the question does not make the danger undone; recording it now is a breach.
    let again = EntryId::of(id(50, 1));
    let better = Body::Choice(Choice { corrects: Some(line.id), ..choice.clone() });
    let mut talked = stopped.clone();
    talked.write(tech(), again, better.clone());
    assert!(fold(&talked.file, plan).breaches.contains_key(&again), "{case}");
    assert_eq!(frozen(&talked).1, None, "{case}");
    // A technician cannot resolve it.
    let resolved = |number| Body::StopResolved(StopResolved { stop: line.id, remark: EntryId::of(id(51, number)) });
    let mut own_word = stopped.clone();
    own_word.write(tech(), EntryId::of(id(52, 1)), resolved(1));
    assert_eq!(frozen(&own_word).1, None, "{case}");
    // The lead does, the answer is corrected, and the work goes on to its end.
    stopped.write(lead(), EntryId::of(id(52, 2)), resolved(2));
    assert_eq!(frozen(&stopped).0, Vec::new(), "{case}");
    stopped.write(tech(), EntryId::of(id(50, 2)), better);
    work_on(&mut stopped, plan, way, &mut 1_000_000).unwrap_or_else(|why| panic!("{case}: {why}"));
}

/// A serial stands where the gate takes it, is on record where it does not, and is nothing where nobody asks.
#[test]
fn the_serial_of_a_slot_stands_only_where_its_gate_takes_it() {
    let method = method("series-stack-floor.toml");
    let plan = Plan::of(&method);
    let log = perfect_run(&plan, &ways(&method)[0]);
    let serial_at = |slot: u16| {
        move |line: &Line| match &line.body {
            Body::Serial(read) if read.at.slot == slot => Some(read.clone()),
            _ => None,
        }
    };
    let (first, second) = (1, 2);
    let of_first = log.lines.iter().find_map(serial_at(first)).unwrap();
    let mut good = fold(&log.file, &plan);
    let standing = |slot: u16, gate: &mut domain::method::gate::Gate<'_, '_>| {
        let found = gate.serial_of(slot)?;
        Some((found.read.map(|read| read.stored.clone()), found.standing().is_some()))
    };
    assert_eq!(standing(first, &mut good.gate), Some((Some(of_first.stored.clone()), true)));
    assert_eq!(standing(9_999, &mut good.gate), None, "no such place");

    let twice = log.altered(&mut |line| {
        let mut line = line.clone();
        if let Body::Serial(read) = &mut line.body
            && read.at.slot == second
        {
            (read.raw, read.stored) = (of_first.raw.clone(), of_first.stored.clone());
        }
        vec![line]
    });
    let mut twice = fold(&twice.file, &plan);
    assert_eq!(standing(second, &mut twice.gate), Some((Some(of_first.stored.clone()), false)), "read, and not taken");

    let unread = log.altered(&mut |line| serial_at(first)(line).map_or_else(|| vec![line.clone()], |_| Vec::new()));
    assert_eq!(standing(first, &mut fold(&unread.file, &plan).gate), Some((None, false)));
}
