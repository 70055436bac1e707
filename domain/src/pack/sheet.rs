//! The design sheet in the report: every check with its verdict, and so explained that it can be redone by hand.

use super::lines::{check_report, choice, cited, limit_of_check, named, quantity, verdict_text};
use super::{CheckReport, Context, SheetLine, SheetReport};
use crate::design::{
    Design, Line, LineName, OutOfForce, Outcome, Sheet, as_built, line_name, load_of, modules_of_job, rules_of_job,
    sheet, with_equipment,
};
use crate::electrical::rule_set::{Lapse, RuleSet};
use crate::electrical::{Check, Prefix, Quantity, Verdict, judge::Why};
use crate::identification::Date;
use crate::job_file::JobState;

/// The sheet of the job; absent while nothing is designed.
pub(super) fn sheet_report(state: &mut JobState<'_, '_>, context: &Context<'_>) -> Option<SheetReport> {
    let modules = modules_of_job(&mut state.gate);
    let record = state.gate.record();
    let figures = &record.design.as_ref()?.value.values;
    let label = record.plan.map_or("", |(_, _, plan)| plan.rule_set.as_str());
    let name = rules_of_job(figures, label);
    let Some(rules) = name.find(context.own_rules) else {
        let missing = context.words.with("design.rules_missing", &[("label", &name.label())]);
        return Some(SheetReport { rules: missing, ..SheetReport::default() });
    };
    let mut design = Design::of_values(figures.iter().map(|(key, micro)| (key.as_str(), *micro)));
    if let Some(equipment) = &record.equipment {
        design = as_built(&with_equipment(&design, equipment.value), modules);
    }
    let day = record.schedule.as_ref().and_then(|latest| Date::parse(&latest.value.day).ok());
    Some(report_of(&sheet(&design, &rules), &rules, day, context))
}

fn report_of(sheet: &Sheet, rules: &RuleSet, day: Option<Date>, context: &Context<'_>) -> SheetReport {
    let out_of_force = day.map(|day| sheet.out_of_force(rules, day)).unwrap_or_default();
    let show = |value: Quantity| quantity(context, value.unit, value.micro, Prefix::One);
    let loosened = sheet.loosened.iter().map(|one| {
        let blanks =
            [("rule", one.rule), ("from", &show(one.from)), ("to", &show(one.to)), ("reason", one.reason.as_str())];
        context.words.with("design.loosened", &blanks)
    });
    SheetReport {
        standing: standing(sheet, rules, context),
        rules: context.words.with("design.rules", &[("label", &sheet.rules)]),
        editions: out_of_force.iter().map(|one| out_of_force_text(one, context)).collect(),
        loosened: loosened.collect(),
        lines: sheet.lines.iter().map(|line| explained(line, rules, context)).collect(),
        limits: sheet.limits.iter().map(|line| limit_line(line, rules, context)).collect(),
    }
}

fn standing(sheet: &Sheet, rules: &RuleSet, context: &Context<'_>) -> Vec<String> {
    let of = |key: &str, is_such: fn(Verdict) -> bool| {
        let such = sheet.lines.iter().filter(|line| is_such(line.verdict()));
        let names: Vec<String> = such.map(|line| name(line, rules, context)).collect();
        (!names.is_empty()).then(|| context.words.with(key, &[("names", &names.join("; "))]))
    };
    let fails = of("standing.design_fails", |verdict| matches!(verdict, Verdict::Fail(_)));
    let open = of("standing.design_open", |verdict| matches!(verdict, Verdict::NotDetermined(_)));
    fails.into_iter().chain(open).collect()
}

fn out_of_force_text(one: &OutOfForce, context: &Context<'_>) -> String {
    let (key, day) = match one.lapse {
        Lapse::Withdrawn(day) => ("design.edition_withdrawn", day),
        Lapse::NotYet(day) => ("design.edition_not_yet", day),
    };
    context.words.with(key, &[("standard", one.standard), ("edition", one.edition), ("day", &day.to_string())])
}

fn explained(line: &Line, rules: &RuleSet, context: &Context<'_>) -> SheetLine {
    let by_house = line.fails_by_house_figure().then(|| context.words.get("verdict.fail_house"));
    SheetLine {
        name: name(line, rules, context),
        verdict: by_house.unwrap_or_else(|| verdict_text(context, line.verdict())),
        open: open(line, context),
        check: line.check().map(|check| with_rule(line, check, context)),
    }
}

/// What is measured has its verdict at its step; here stands what it is compared with.
fn limit_line(line: &Line, rules: &RuleSet, context: &Context<'_>) -> SheetLine {
    let known = line.check().and_then(|check| limit_of_check(context, check));
    let verdict = known.unwrap_or_else(|| verdict_text(context, line.verdict()));
    SheetLine { verdict, ..explained(line, rules, context) }
}

/// Beside the formula's source that of the rule whose figure went in.
fn with_rule(line: &Line, check: &Check, context: &Context<'_>) -> CheckReport {
    let mut report = check_report(context, check);
    if let Some((id, source)) = line.rule.filter(|(_, source)| *source != check.source) {
        let rule = context.words.with("check.rule", &[("id", id), ("source", &cited(context, &source))]);
        report.source = format!("{}; {rule}", report.source);
    }
    report
}

/// What the check waits for, or why it does not apply.
fn open(line: &Line, context: &Context<'_>) -> String {
    if let Some(word) = line.because {
        return choice(context, word);
    }
    match &line.outcome {
        Outcome::Settled(Verdict::NotApplicable(Why::NoBackup)) => context.words.get("design.no_backup"),
        Outcome::Settled(Verdict::NotApplicable(Why::NoRuleHere)) => context.words.get("design.no_rule_here"),
        Outcome::OutOfRange(key) => {
            context.words.with("design.out_of_range", &[("figure", &named(context, "figure", key))])
        }
        Outcome::Computed(_) | Outcome::Missing | Outcome::Settled(_) => {
            let waits = matches!(line.verdict(), Verdict::NotDetermined(_)) && !line.missing.is_empty();
            let fields: Vec<String> = line.missing.iter().map(|key| field(context, key)).collect();
            if waits { context.words.with("design.missing", &[("figures", &fields.join(", "))]) } else { String::new() }
        }
    }
}

fn name(line: &Line, rules: &RuleSet, context: &Context<'_>) -> String {
    match line_name(rules, line.key) {
        LineName::RcdTime(multiple) => {
            let multiple = multiple.replace('.', &context.decimal.to_string());
            context.words.with("design.line.rcd_time", &[("multiple", &multiple)])
        }
        LineName::Field(key) => field(context, key),
        LineName::Line(key) => named(context, "design.line", key),
    }
}

/// The name of a field; loads have a number.
fn field(context: &Context<'_>, key: &str) -> String {
    match load_of(key) {
        Some((number, part)) => context.words.with(&format!("design.field.load_{part}"), &[("n", &number.to_string())]),
        None => named(context, "design.field", key),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::electrical::rule_set::{Change, FirmRules, Place};
    use crate::ids::{Hash32, JobId, SiteId, uuid_v7};
    use crate::job_file::body::{Body, DesignInputs, JobPlanned, MethodRef, Purpose, Schedule};
    use crate::job_file::{JobFile, fold};
    use crate::method::Method;
    use crate::method::gate::Plan;
    use crate::pack::Words;
    use std::collections::BTreeMap;

    const TERRACE: &str = include_str!("../../tests/golden/designs/uk-terrace.design.txt");

    const AU_WALL: &str = "location_kind = attached_garage\nhas_wall_barrier = wall_non_combustible";

    fn report(text: &str) -> SheetReport {
        let (design, rules) = (Design::parse(text).expect("well formed"), RuleSet::of(Place::Uk));
        with_context(&[], |context| report_of(&sheet(&design, &rules), &rules, None, context))
    }

    fn with_context<T>(own_rules: &[FirmRules], then: impl FnOnce(&Context<'_>) -> T) -> T {
        let words = [
            ("check.inputs", "Inputs: {values}"),
            ("check.limit", "Limit: {limit}"),
            ("check.results", "Results: {values}"),
            ("check.rule", "rule {id}: {source}"),
            ("design.line.ac_drop", "Voltage drop"),
            ("design.missing", "Missing: {figures}"),
            ("design.loosened", "{rule}: {from} became {to}. {reason}"),
            ("design.rules", "By {label}"),
            ("design.rules_missing", "Unknown: {label}"),
            ("design.choice.one_phase", "one phase"),
            ("design.choice.wall_non_combustible", "the wall is of brick"),
            ("design.no_backup", "Nothing is fed"),
            ("design.edition_withdrawn", "{standard}, {edition}: withdrawn on {day}"),
            ("design.field.load_w", "Load {n}"),
            ("figure.length", "Length"),
            ("limit.at_least", "at least {least}"),
            ("limit.at_most", "at most {most}"),
            ("standing.design_fails", "Fail: {names}"),
            ("standing.design_open", "Open: {names}"),
            ("verdict.fail", "fail"),
            ("verdict.fail_house", "fail by a house figure"),
            ("verdict.not_applicable", "not applicable"),
            ("verdict.not_determined", "not determined"),
            ("verdict.pass", "pass"),
        ];
        let words = words.into_iter().map(|(key, text)| (key.to_owned(), text.to_owned()));
        let words = Words::of(words.collect::<BTreeMap<_, _>>());
        let context = Context {
            words: &words,
            language: "en",
            decimal: '.',
            firm: "",
            own_rules,
            person: &|_| String::new(),
            when: &|_| String::new(),
            arrived: &|_| false,
            seal: crate::pack::SealContext::default(),
        };
        then(&context)
    }

    /// A job that was planned by rules of that label and has the design of the terrace.
    fn sheet_of_job(label: &str, own_rules: &[FirmRules]) -> SheetReport {
        sheet_on(label, "2026-10-14", own_rules)
    }

    /// The same with the day for which it is scheduled.
    fn sheet_on(label: &str, day: &str, own_rules: &[FirmRules]) -> SheetReport {
        let design = Design::parse(TERRACE).expect("well formed");
        let values = design.values().map(|(key, micro): (&str, i64)| (key.to_owned(), micro)).collect();
        let method = MethodRef { id: "m".into(), version: 1, hash: Hash32::of([0; 32]) };
        let site = SiteId::of(uuid_v7(0, &[3; 10]));
        let plan = JobPlanned { purpose: Purpose::Install, site, method, rule_set: label.into() };
        let schedule = Body::Schedule(Schedule { day: day.into(), start: String::new() });
        let bodies = [Body::JobPlanned(plan), schedule, Body::DesignInputs(DesignInputs { values })];
        let file = JobFile::imagined(JobId::of(uuid_v7(0, &[1; 10])), bodies);
        let method = Method::without_work();
        let plan = Plan::of(&method);
        let mut state = fold(&file, &plan);
        with_context(own_rules, |context| sheet_report(&mut state, context)).expect("something is designed")
    }

    #[test]
    fn a_loosened_limit_stands_on_the_report_with_its_reason() {
        let changes = |micro, reason: &str| vec![Change { rule: "UK-1M".to_owned(), micro, reason: reason.to_owned() }];
        let set = |version, changes| FirmRules { place: "uk".to_owned(), version, base: 1, changes };
        let own = [set(1, changes(600_000, "agreed with the fire officer")), set(2, changes(1_500_000, ""))];
        let loose = sheet_of_job("uk 1 firm 1", &own);
        assert_eq!(loose.rules, "By uk 1 firm 1");
        assert_eq!(loose.loosened, ["UK-1M: 1 m became 0.6 m. agreed with the fire officer"]);
        assert_eq!(sheet_of_job("uk 1 firm 2", &own).loosened, [""; 0], "tightening is nobody's business");
        // Rules that are not there judge nothing, and no others stand in for them.
        let absent = sheet_of_job("uk 1 firm 3", &own);
        assert_eq!((absent.rules.as_str(), absent.lines.len()), ("Unknown: uk 1 firm 3", 0));
        assert!(sheet_of_job("uk 1", &own).lines.len() > 20);
    }

    #[test]
    fn a_withdrawn_edition_stands_at_the_head_of_the_sheet() {
        let on = |day: &str| sheet_on("uk 1", day, &[]);
        assert_eq!(on("2026-10-14").editions, [""; 0]);
        let late = on("2026-10-15");
        assert_eq!(late.editions[0], "BS 7671, 2018+A2:2022: withdrawn on 2026-10-15");
        assert_eq!(late.editions.len(), 2);
        assert_eq!(late.lines, on("2026-10-14").lines, "it judges on");
        assert_eq!(on("").editions, [""; 0], "no day is no day");
    }

    fn line<'a>(lines: &'a [SheetLine], name: &str) -> &'a SheetLine {
        lines.iter().find(|line| line.name == name).unwrap_or_else(|| panic!("no line {name}"))
    }

    #[test]
    fn a_check_says_all_that_is_needed_to_redo_it() {
        let report = report(TERRACE);
        assert_eq!(report.rules, "By uk 1");
        let drop = line(&report.lines, "Voltage drop");
        assert_eq!((drop.verdict.as_str(), drop.open.as_str()), ("pass", ""));
        let check = drop.check.as_ref().expect("computed");
        assert!(check.inputs.contains("Length = 14 m"), "{}", check.inputs);
        assert!(check.with_numbers.contains("14"), "{}", check.with_numbers);
        assert!(check.limit.starts_with("Limit: at most "), "{}", check.limit);
        assert!(check.source.starts_with("F02 ") && check.source.contains("rule UK-"), "{}", check.source);
    }

    /// A word that stands for a code is a word on paper, and no bare number is left of an answer.
    #[test]
    fn codes_are_words() {
        let report = report(TERRACE);
        let inputs: Vec<&str> =
            report.lines.iter().filter_map(|line| line.check.as_ref()).map(|check| check.inputs.as_str()).collect();
        let inputs = inputs.join("; ");
        for words in ["supply kind = one phase", "direct = YES", "rcd type = A", "rule kind = DISTANCE"] {
            assert!(inputs.contains(words), "{words}: {inputs}");
        }
        for figure in ["supply kind", "direct", "rcd type", "rule kind", "place is such", "demand met", "far end"] {
            assert!(
                !inputs.contains(&format!("{figure} = 1")) && !inputs.contains(&format!("{figure} = 0")),
                "{figure}"
            );
        }
        let kind = line(&report.lines, "rcd type").check.as_ref().expect("computed");
        assert_eq!((kind.results.as_str(), kind.limit.as_str()), ("Results: rcd type least = A", "Limit: at least A"));
        for check in report.lines.iter().filter_map(|line| line.check.as_ref()) {
            assert!(!["0", "1", "?"].contains(&check.with_numbers.as_str()), "{check:?}");
        }
    }

    #[test]
    fn a_fail_by_a_house_figure_says_so() {
        let rise = |metres: &str| {
            let design = TERRACE.replace("ac_cable_length_m = 14", &format!("ac_cable_length_m = {metres}"));
            line(&report(&design).lines, "Voltage drop").verdict.clone()
        };
        assert_eq!((rise("14").as_str(), rise("40").as_str()), ("pass", "fail by a house figure"));
    }

    #[test]
    fn what_does_not_apply_says_by_which_answer() {
        let none = report("backup_output = no\nlocation_kind = outdoor_wall");
        let island = line(&none.lines, "has island earthing");
        assert_eq!((island.verdict.as_str(), island.open.as_str()), ("not applicable", "Nothing is fed"));
        let (design, rules) = (Design::parse(AU_WALL).expect("well formed"), RuleSet::of(Place::Au));
        let barrier = with_context(&[], |context| report_of(&sheet(&design, &rules), &rules, None, context));
        let barrier = line(&barrier.lines, "has wall barrier");
        assert_eq!((barrier.verdict.as_str(), barrier.open.as_str()), ("not applicable", "the wall is of brick"));
    }

    #[test]
    fn the_faults_of_the_design_are_on_the_report() {
        let fails = report(TERRACE).lines.into_iter().filter(|line| line.verdict == "fail").count();
        let sheet = sheet(&Design::parse(TERRACE).expect("well formed"), &RuleSet::of(Place::Uk));
        let expected = sheet.lines.iter().filter(|line| matches!(line.verdict(), Verdict::Fail(_))).count();
        assert!(fails > 0 && fails == expected, "{fails} of {expected}");
    }

    /// The head of the report names them, as the desk and the plan of the week do.
    #[test]
    fn the_head_of_the_report_names_what_fails_and_what_is_open() {
        for (text, verdict, said) in [(TERRACE, "fail", "Fail: "), ("phases = 1", "not determined", "Open: ")] {
            let report = report(text);
            let such = report.lines.iter().filter(|line| line.verdict == verdict);
            let such: Vec<&str> = such.map(|line| line.name.as_str()).collect();
            assert!(!such.is_empty(), "{verdict}");
            let sentence = report.standing.iter().find_map(|sentence| sentence.strip_prefix(said));
            assert_eq!(sentence, Some(such.join("; ").as_str()), "{verdict}");
        }
        assert_eq!(SheetReport::default().standing, [""; 0]);
    }

    #[test]
    fn what_waits_names_its_figures_and_a_measurement_names_its_limit() {
        let open = report("phases = 1");
        let drop = line(&open.lines, "Voltage drop");
        assert!(drop.open.starts_with("Missing: ") && drop.open.contains("ac cable length m"), "{}", drop.open);
        let limits = report(TERRACE).limits;
        let earth = limits.iter().find(|line| line.name == "pe continuity").expect("without words by its key");
        assert!(earth.verdict.starts_with("at most "), "{}", earth.verdict);
    }
}
