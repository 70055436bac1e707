//! Every built-in method comes to its end by the rules of every place: by good work, by leaving and coming back on the way, and
//! where nothing but what kills can be shown and a lead has allowed the rest.
#![cfg(feature = "methods")]
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

mod built_in;
mod rehearsal;

use domain::electrical::rule_set::Place as Country;
use domain::ids::EntryId;
use domain::job_file::body::*;
use domain::job_file::{Body, fold, fold_at};
use domain::method::gate::{Answer, Plan, StepRef};
use domain::method::load::compose;
use domain::method::plan::{Method, Requirement};
use rehearsal::{Log, Way, figures, id, lead, opening, photo_file, rehearse, switches, tech, ways, work_on};

fn method(name: &str) -> Method {
    compose(name, built_in::FILES).unwrap_or_else(|fault| panic!("{fault}")).method
}

fn begun(method: &Method, country: Country) -> Log {
    let mut log = opening(method, 1);
    log.write(lead(), EntryId::of(id(70, 1)), Body::DesignInputs(DesignInputs { values: figures(method, country) }));
    log
}

fn way_of(method: &Method, country: Country) -> Way {
    let mut way = ways(method).remove(1);
    if country == Country::Us && method.id == "hybrid-inverter" {
        for step in ["find-sources", "isolate-supply", "isolate-further-ac", "isolate-vehicle"] {
            way.options.insert((step.to_owned(), "phases".to_owned()), "split".to_owned());
        }
    }
    way
}

fn each(mut play: impl FnMut(&Plan<'_>, Country, Way, Log, &str)) {
    for name in built_in::METHODS {
        let method = method(name);
        let plan = Plan::of(&method);
        for country in Country::ALL {
            play(&plan, country, way_of(&method, country), begun(&method, country), &format!("{name} {country:?}"));
        }
    }
}

#[test]
fn good_work_ends_everywhere() {
    let mut ended = 0;
    each(|plan, _, way, mut log, case| {
        work_on(&mut log, plan, &way, &mut 0).unwrap_or_else(|why| panic!("{case}: {why}"));
        let state = fold(&log.file, plan);
        assert!(state.breaches.is_empty(), "{case}: {:?}", state.breaches);
        ended += 1;
    });
    assert_eq!(ended, built_in::METHODS.len() * Country::ALL.len());
}

/// The crew leaves at another step in each place, each time in another state, and comes back the next morning.
#[test]
fn leaving_and_coming_back_ends_everywhere() {
    let mut left_at = Vec::new();
    each(|plan, country, way, log, case| {
        let number = Country::ALL.iter().position(|own| *own == country).unwrap();
        let mut good = log.clone();
        work_on(&mut good, plan, &way, &mut 0).unwrap_or_else(|why| panic!("{case}: {why}"));
        let done = good.lines.len() - log.lines.len();
        let stop = log.lines.len() + done * (2 * number + 1) / (2 * Country::ALL.len());
        let mut left = Log::default();
        for line in good.lines.iter().take(stop) {
            left.write(line.who, line.id, line.body.clone());
        }
        let left_as = [LeftAs::IsolatedAndLocked, LeftAs::NotConnected, LeftAs::RunningAsBefore][number % 3];
        left.write(tech(), EntryId::of(id(71, 1)), Body::Paused(Paused { left_as, remark: None }));
        left.later_us += 15 * 3_600_000_000;
        left.write(tech(), EntryId::of(id(71, 2)), Body::Resumed(Plain {}));
        work_on(&mut left, plan, &way, &mut 1_000_000)
            .unwrap_or_else(|why| panic!("{case}, left after {stop} lines: {why}"));
        left_at.push(stop);
    });
    left_at.sort_unstable();
    left_at.dedup();
    assert!(left_at.len() >= 18, "{left_at:?}");
}

/// Where nothing can be shown but the acts that kill: each other requirement is asked to be left out, and the lead allows it.
#[test]
fn not_possible_here_ends_everywhere() {
    let mut fewest = usize::MAX;
    each(|plan, _, way, mut log, case| {
        let allowed = without_evidence(&mut log, plan, &way).unwrap_or_else(|why| panic!("{case}: {why}"));
        let mut state = fold(&log.file, plan);
        assert!(state.gate.unfinished().is_empty() && state.breaches.is_empty(), "{case}: {:?}", state.breaches);
        // What kills was shown all the same.
        for at in state.gate.steps().into_iter().filter(|at| plan.step(at.step).stop_work) {
            let view = state.gate.view(at);
            assert!(!view.answers.iter().any(|answer| matches!(answer, Answer::DeviationAllowed { .. })), "{case}");
        }
        fewest = fewest.min(allowed);
    });
    assert!(fewest >= 100, "{fewest}");
}

/// Goes through a job without evidence where a lead may allow that; gives how many requirements were left out so.
fn without_evidence(log: &mut Log, plan: &Plan<'_>, way: &Way) -> Result<usize, String> {
    let switching = switches(plan.method());
    let (mut made, mut asked) = (0, 0);
    for _ in 0..2_000 {
        let mut lines = Vec::new();
        {
            let mut state = fold_at(&log.file, plan, log.next_us());
            let unfinished = state.gate.unfinished();
            if unfinished.is_empty() {
                return Ok(asked as usize);
            }
            let open: Vec<StepRef> = unfinished.into_iter().filter(|at| state.gate.obstacles(*at).is_empty()).collect();
            for at in open {
                let view = state.gate.view(at);
                let mut good = Vec::new();
                for said in rehearse(&mut made, at, &mut state.gate) {
                    let place = said.body.evidence_place().cloned();
                    let key = place.as_ref().map(|place| (place.step.clone(), place.requirement.clone()));
                    // Cautions are read everywhere; a choice decides which steps there are.
                    let is_choice = key.as_ref().is_some_and(|key| switching.contains_key(key));
                    let body = match said.body {
                        Body::Choice(mut choice) => {
                            if let Some(option) = key.as_ref().and_then(|key| way.options.get(key)) {
                                choice.option.clone_from(option);
                            }
                            Body::Choice(choice)
                        }
                        body => body,
                    };
                    if view.step.stop_work || is_choice || matches!(body, Body::CautionsRead(_)) {
                        good.push((tech(), said.id, body));
                    }
                }
                let nothing_good = good.is_empty();
                lines.extend(good);
                if view.step.stop_work || !nothing_good {
                    continue;
                }
                for (requirement, answer) in view.step.requirements.iter().zip(&view.answers) {
                    let at = state.gate.place(at, requirement.id());
                    let is_switch = switching.contains_key(&(at.step.clone(), at.requirement.clone()));
                    let waits = matches!(answer, Answer::DeviationAllowed { .. } | Answer::Met { .. });
                    // What is computed from nothing is not determined, and stands in the way like the rest.
                    let computed = matches!(requirement, Requirement::Check(_)) && answer.lets_through();
                    if is_switch || waits || computed {
                        continue;
                    }
                    asked += 1;
                    let own = |kind| EntryId::of(id(kind, asked));
                    let why = Remark { at: Some(at.clone()), text: "Not possible here.".into() };
                    let photo = photo_file(9_000_000 + asked);
                    lines.push((tech(), own(81), Body::Remark(why)));
                    let body = DeviationAsked { at, remark: own(81), photo, preview: None };
                    lines.push((tech(), own(82), Body::DeviationAsked(body)));
                    let word = DeviationDecided { asked: own(82), allowed: true, remark: None };
                    lines.push((lead(), own(83), Body::DeviationDecided(word)));
                }
            }
            if lines.is_empty() {
                let open = state.gate.unfinished().into_iter().find(|at| state.gate.obstacles(*at).is_empty());
                let view = open.map(|at| state.gate.view(at));
                return Err(format!("nothing more can be done: {:?}", view.map(|v| (v.step.id.clone(), v.answers))));
            }
        }
        for (who, entry, body) in lines {
            log.write(who, entry, body);
        }
    }
    Err("it does not end".to_owned())
}
