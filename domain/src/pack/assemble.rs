//! From a folded job file to a report.

use super::lines::{self, check_report, quantity};
use super::sheet::sheet_report;
use super::{Context, Headings, Report, StageReport, StepReport, Table};
use crate::design::{RULES_PLACE, rules_of_job};
use crate::electrical::Prefix;
use crate::ids::Hash32;
use crate::job_file::body::{Body, ConsentState, CrewRole, LeftAs, StopCause, UnitKind};
use crate::job_file::record::{PhaseEvent, Record};
use crate::job_file::{JobState, Phase};
use crate::method::gate::{Answer, FailWhy, LimitInfo, LimitSource, OpenWhy, StepRef, StepState};
use crate::method::plan::Requirement;
use sha2::{Digest, Sha256};

impl Report {
    /// Says everything that the job file says.
    pub fn assemble(state: &mut JobState<'_, '_>, job: &str, context: &Context<'_>) -> Self {
        let words = context.words;
        let sheet = sheet_report(state, context);
        let mut standing = standing(state, context);
        standing.extend(sheet.iter().flat_map(|sheet| sheet.standing.iter().cloned()));
        Self {
            title: words.get("report.title"),
            job: job.to_owned(),
            facts: facts(state, context),
            standing,
            units: units(state, context),
            design: design(state, context),
            sheet,
            stages: stages(state, context),
            exceptions: exceptions(state, context),
            closing: closing(state, context),
            headings: Headings {
                units: words.get("heading.units"),
                design: words.get("heading.design"),
                sheet: words.get("heading.sheet"),
                limits: words.get("heading.limits"),
                work: words.get("heading.work"),
                exceptions: words.get("heading.exceptions"),
                closing: words.get("heading.closing"),
                line: ["line.what", "line.value", "line.limit", "line.verdict", "line.by"].map(|key| words.get(key)),
            },
        }
    }
}

const fn phase_key(phase: Phase) -> &'static str {
    match phase {
        Phase::Planned => "phase.planned",
        Phase::WithCrew => "phase.with_crew",
        Phase::OnSite => "phase.on_site",
        Phase::Paused(LeftAs::IsolatedAndLocked) => "phase.paused_isolated",
        Phase::Paused(LeftAs::NotConnected) => "phase.paused_not_connected",
        Phase::Paused(LeftAs::RunningAsBefore) => "phase.paused_running",
        Phase::ForReview => "phase.for_review",
        Phase::Returned => "phase.returned",
        Phase::Passed => "phase.passed",
        Phase::Sealed => "phase.sealed",
        Phase::Withdrawn => "phase.withdrawn",
    }
}

/// The rules that judge the job: a design that was saved under others than the plan's says so.
fn rule_set(record: &Record<'_>, planned: &str) -> String {
    let figures = record.design.as_ref().map_or(&[][..], |design| &design.value.values);
    let chosen = figures.iter().any(|(key, _)| key == RULES_PLACE);
    if chosen { rules_of_job(figures, planned).label() } else { planned.to_owned() }
}

fn facts(state: &JobState<'_, '_>, context: &Context<'_>) -> Vec<(String, String)> {
    let words = context.words;
    let record = state.gate.record();
    let method = state.gate.plan().method();
    let mut facts = vec![
        (words.get("fact.firm"), context.firm.to_owned()),
        (words.get("fact.phase"), words.get(context.seal.number.map_or(phase_key(state.phase), |_| "phase.in_seal"))),
        (
            words.get("fact.method"),
            format!("{} ({} {})", method.title.in_language(context.language), method.id, method.version),
        ),
    ];
    if let Some(site) = &record.site {
        facts.push((words.get("fact.householder"), site.value.householder.clone()));
        facts.push((words.get("fact.address"), format!("{}, {}", site.value.street, site.value.town)));
        facts.push((words.get("fact.grid_point"), site.value.grid_point.clone()));
    }
    if let Some(plan) = record.plan {
        facts.push((words.get("fact.rule_set"), rule_set(record, &plan.2.rule_set)));
        facts.push((words.get("fact.planned_by"), (context.person)(plan.1)));
    }
    if let Some(schedule) = &record.schedule {
        facts.push((words.get("fact.day"), schedule.value.day.clone()));
    }
    if let Some(crew) = &record.crew {
        let names: Vec<String> = crew
            .value
            .crew
            .iter()
            .map(|assigned| {
                let role = match assigned.role {
                    CrewRole::Lead => "role.lead",
                    CrewRole::Technician => "role.technician",
                };
                let tickets: Vec<String> =
                    assigned.tickets.iter().map(|t| format!("{} {}", t.kind, t.expires)).collect();
                let mut text = format!("{} ({}", (context.person)(assigned.person), words.get(role));
                if !tickets.is_empty() {
                    text += &format!("; {}", tickets.join(", "));
                }
                text + ")"
            })
            .collect();
        facts.push((words.get("fact.crew"), names.join("; ")));
    }
    let mut times: Vec<u64> = record.evidence.values().flatten().map(|evidence| evidence.key.at).collect();
    times.sort_unstable();
    if let (Some(first), Some(last)) = (times.first(), times.last()) {
        facts.push((words.get("fact.first_record"), (context.when)(*first)));
        facts.push((words.get("fact.last_record"), (context.when)(*last)));
    }
    let passed = record.phases.iter().rev().find(|(_, (event, _))| *event == PhaseEvent::Passed);
    if let Some((key, (_, author))) = passed.filter(|_| state.phase.has_passed()) {
        let text =
            words.with("fact.passed_by", &[("who", &(context.person)(*author)), ("when", &(context.when)(key.at))]);
        facts.push((words.get("fact.review"), text));
    }
    facts.retain(|(_, value)| !value.is_empty());
    facts
}

fn standing(state: &mut JobState<'_, '_>, context: &Context<'_>) -> Vec<String> {
    let words = context.words;
    let mut lines = Vec::new();
    let open = state.gate.unfinished().len();
    if open > 0 {
        lines.push(words.with("standing.steps_open", &[("count", &open.to_string())]));
    }
    let stops = state.gate.record().open_stops().count();
    if stops > 0 {
        lines.push(words.with("standing.stopped", &[("count", &stops.to_string())]));
    }
    let breaches = state.open_breaches().count();
    if breaches > 0 {
        lines.push(words.with("standing.breaches", &[("count", &breaches.to_string())]));
    }
    if !state.phase.has_passed() {
        lines.push(words.get("standing.not_reviewed"));
    }
    lines
}

const fn kind_key(kind: UnitKind) -> &'static str {
    match kind {
        UnitKind::Module => "unit.module",
        UnitKind::ControlUnit => "unit.control_unit",
        UnitKind::Inverter => "unit.inverter",
        UnitKind::Changeover => "unit.changeover",
        UnitKind::Meter => "unit.meter",
        UnitKind::Gateway => "unit.gateway",
    }
}

fn units(state: &JobState<'_, '_>, context: &Context<'_>) -> Table {
    let words = context.words;
    let record = state.gate.record();
    let head =
        ["unit.slot", "unit.kind", "unit.maker", "unit.model", "unit.gtin", "unit.serial"].map(|key| words.get(key));
    let mut table = Table { head: head.to_vec(), rows: Vec::new() };
    let Some(equipment) = &record.equipment else { return table };
    for slot in &equipment.value.slots {
        let Some(model) = equipment.value.models.get(usize::from(slot.model)) else { continue };
        let serial = record.serial_of_slot(slot.number).map(|read| read.stored.clone());
        let absent = words.get(if slot.new { "unit.serial_missing" } else { "unit.existing" });
        table.rows.push(vec![
            slot.number.to_string(),
            words.get(kind_key(model.kind)),
            model.maker.clone(),
            model.name.clone(),
            model.gtin.clone().unwrap_or_default(),
            serial.unwrap_or(absent),
        ]);
    }
    table
}

fn design(state: &JobState<'_, '_>, context: &Context<'_>) -> Table {
    let words = context.words;
    let record = state.gate.record();
    let mut table = Table { head: vec![words.get("design.figure"), words.get("design.value")], rows: Vec::new() };
    for field in &state.gate.plan().method().design {
        // The name in an older version of a method lists the codes; on paper stands the word.
        let coded = crate::design::field(&field.key).filter(|known| !known.choices.is_empty());
        let shown = |micro| match coded.and_then(|known| known.choice(micro)) {
            Some(word) => lines::choice(context, word),
            None => quantity(context, field.unit, micro, Prefix::One),
        };
        let text = record.design_value(&field.key).map_or_else(|| words.get("design.not_entered"), shown);
        let label = match coded {
            Some(known) => lines::named(context, "design.field", known.key),
            None => field.label.in_language(context.language).to_owned(),
        };
        table.rows.push(vec![label, text]);
    }
    if let Some(consent) = &record.consent {
        let state = words.get(match consent.value.state {
            ConsentState::Waiting => "consent.waiting",
            ConsentState::Granted => "consent.granted",
            ConsentState::NotNeeded => "consent.not_needed",
            ConsentState::Refused => "consent.refused",
        });
        table
            .rows
            .push(vec![words.get("design.consent"), format!("{state} {}", consent.value.reference).trim().to_owned()]);
    }
    table
}

fn stages(state: &mut JobState<'_, '_>, context: &Context<'_>) -> Vec<StageReport> {
    let method = state.gate.plan().method();
    let all = state.gate.steps();
    method
        .stages
        .iter()
        .map(|stage| StageReport {
            title: stage.title.in_language(context.language).to_owned(),
            steps: all
                .iter()
                .filter(|at| method.steps[at.step].stage == stage.id)
                .map(|at| step_report(state, context, *at))
                .collect(),
        })
        .filter(|stage| !stage.steps.is_empty())
        .collect()
}

fn step_report(state: &mut JobState<'_, '_>, context: &Context<'_>, at: StepRef) -> StepReport {
    let words = context.words;
    let view = state.gate.view(at);
    let mut title = view.step.title.in_language(context.language).to_owned();
    if at.slot > 0 {
        title = words.with("step.in_slot", &[("title", &title), ("slot", &at.slot.to_string())]);
    }
    let state_key = match view.state {
        StepState::NotApplicable => "state.not_applicable",
        StepState::Locked { .. } => "state.locked",
        StepState::Open => "state.open",
        StepState::Failed => "state.failed",
        StepState::Deviating => "state.deviating",
        StepState::Satisfied => "state.satisfied",
    };
    let mut report =
        StepReport { title, state: words.get(state_key), lines: Vec::new(), checks: Vec::new(), photos: Vec::new() };
    if matches!(view.state, StepState::NotApplicable) {
        return report;
    }
    for (requirement, answer) in view.step.requirements.iter().zip(&view.answers) {
        let place = state.gate.place(at, requirement.id());
        if *answer == Answer::NotApplicable && !state.gate.record().evidence.contains_key(&place) {
            continue;
        }
        let info = state.gate.limit_at(at, requirement.id());
        let record = state.gate.record();
        report.lines.extend(lines::lines(context, record, &place, requirement, answer, &info));
        let label = requirement.label().in_language(context.language);
        report.photos.extend(lines::photos(context, record, &place, label));
        if let LimitInfo::Known { source: LimitSource::Check(check), .. } = &info {
            report.checks.push(check_report(context, check));
        }
        if let (Requirement::Check(need), Some(check)) = (requirement, state.gate.check_at(at, requirement.id())) {
            let mut line = check_report(context, &check);
            let verdict = lines::verdict_text(context, check.verdict);
            line.results = format!("{}; {}: {verdict}", line.results, need.label.in_language(context.language));
            report.checks.push(line);
        }
        if let Answer::Failed { why: FailWhy::Check(_), .. } | Answer::NotDetermined { why: OpenWhy::Check(_), .. } =
            answer
            && let Some(last) = report.lines.last_mut()
        {
            last.value = words.get("value.computed");
        }
    }
    report
}

fn exceptions(state: &JobState<'_, '_>, context: &Context<'_>) -> Table {
    let words = context.words;
    let record = state.gate.record();
    let words_of =
        |id| record.remarks.get(&id).map_or_else(|| words.get("value.erased"), |(_, _, _, text)| (*text).to_owned());
    let mut rows: Vec<(u64, Vec<String>)> = Vec::new();
    for (asked, deviation) in &record.deviations {
        let answer = match (deviation.decisions.last_key_value(), record.by_voice(*asked)) {
            (None, _) => words.get("exception.undecided"),
            (Some((key, (_, who, _))), Some(shown)) => {
                let fill =
                    |key, who, at| words.with(key, &[("who", &(context.person)(who)), ("when", &(context.when)(at))]);
                let said = fill("exception.allowed_by_voice", *who, key.at);
                shown.into_iter().fold(said, |said, (at, lead)| said + "; " + &fill("exception.shown_to", lead, at))
            }
            (Some((key, (allowed, who, remark))), None) => {
                let decided = if *allowed { "exception.allowed_by" } else { "exception.refused_by" };
                let text = words.with(decided, &[("who", &(context.person)(*who)), ("when", &(context.when)(key.at))]);
                remark.map_or_else(|| text.clone(), |remark| format!("{text}: {}", words_of(remark)))
            }
        };
        let place = &deviation.asked.at;
        let text =
            format!("{}: {}", place_text(state, context, &place.step, place.slot), words_of(deviation.asked.remark));
        let who = format!("{}, {}", (context.person)(deviation.by), (context.when)(deviation.key.at));
        rows.push((deviation.key.at, vec![words.get("exception.deviation"), text, who, answer]));
    }
    for stop in record.stops.values() {
        let cause = words.get(match stop.stop.cause {
            StopCause::Damage => "stop.damage",
            StopCause::HeatOrSmell => "stop.heat_or_smell",
            StopCause::Alarm => "stop.alarm",
            StopCause::Injury => "stop.injury",
            StopCause::Other => "stop.other",
        });
        // The words are written after the stop, and may never be.
        let said = stop.stop.remark.filter(|id| state.file.get(*id).is_some()).map(words_of);
        let text = said.map_or_else(|| cause.clone(), |said| format!("{cause}: {said}"));
        let who = format!("{}, {}", (context.person)(stop.by), (context.when)(stop.key.at));
        let answer = match (stop.resolved, stop.taken_back) {
            (Some((_, who, remark)), _) => format!("{}: {}", (context.person)(who), words_of(remark)),
            (None, Some(_)) => words.get("exception.stop_taken_back"),
            (None, None) => words.get("exception.not_resolved"),
        };
        rows.push((stop.key.at, vec![words.get("exception.stop"), text, who, answer]));
    }
    for (id, breach) in &state.breaches {
        let Some(held) = state.file.get(*id) else { continue };
        let at = state.keys.get(id).map_or(0, |key| key.at);
        let place = held.entry.body().and_then(Body::evidence_place);
        let text = place.map_or_else(String::new, |place| place_text(state, context, &place.step, place.slot));
        let who = format!("{}, {}", (context.person)(held.entry.header.author), (context.when)(at));
        let answer = breach.settled.map_or_else(|| words.get("exception.not_settled"), words_of);
        rows.push((at, vec![words.get("exception.breach"), text, who, answer]));
    }
    for id in &state.late {
        let Some(held) = state.file.get(*id) else { continue };
        let at = state.keys.get(id).map_or(0, |key| key.at);
        let who = format!("{}, {}", (context.person)(held.entry.header.author), (context.when)(at));
        rows.push((at, vec![words.get("exception.late"), String::new(), who, String::new()]));
    }
    rows.sort();
    let head = ["exception.kind", "exception.what", "exception.who", "exception.answer"].map(|key| words.get(key));
    Table { head: head.to_vec(), rows: rows.into_iter().map(|(_, row)| row).collect() }
}

fn place_text(state: &JobState<'_, '_>, context: &Context<'_>, step: &str, slot: u16) -> String {
    let title = state.gate.plan().method().step(step).map_or(step, |step| step.title.in_language(context.language));
    if slot == 0 {
        return title.to_owned();
    }
    context.words.with("step.in_slot", &[("title", title), ("slot", &slot.to_string())])
}

fn closing(state: &JobState<'_, '_>, context: &Context<'_>) -> Vec<String> {
    let words = context.words;
    let counted = [("entries", &*state.file.len().to_string()), ("digest", &*file_digest(state).hex())];
    let mut lines = vec![
        words.get("closing.prevails"),
        words.get("closing.confirmations"),
        words.get("closing.verdicts"),
        words.reviewed(state.gate.plan().method(), context.language),
        words.with("closing.state", &counted) + " " + &sealed(state, context),
    ];
    lines.extend(context.seal.key.map(|key| words.with("closing.key", &[("fingerprint", &key.grouped())])));
    lines
}

/// Whether this report is inside a seal, and what the newest one covers.
fn sealed(state: &JobState<'_, '_>, context: &Context<'_>) -> String {
    let words = context.words;
    if let Some(number) = context.seal.number {
        return words.with("closing.in_seal", &[("number", &number.to_string())]);
    }
    let seals = &state.gate.record().seals;
    let Some((key, last)) = seals.iter().max_by_key(|(_, sealed)| sealed.number) else {
        return words.get("closing.not_sealed");
    };
    words.with(
        "closing.sealed",
        &[
            ("number", &last.number.to_string()),
            ("when", &(context.when)(key.at)),
            ("entries", &last.up_to.to_string()),
            ("later", &state.after_seal.len().to_string()),
        ],
    )
}

/// SHA-256 over the hashes of all headers in ascending order: two files with the same entries have the same one.
fn file_digest(state: &JobState<'_, '_>) -> Hash32 {
    let mut hashes: Vec<Hash32> = state.file.iter().map(|held| held.entry.hash).collect();
    hashes.sort();
    let mut sha = Sha256::new();
    for hash in hashes {
        sha.update(hash.bytes());
    }
    Hash32::of(sha.finalize().into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::electrical::Unit;
    use crate::electrical::units::MICRO;
    use crate::ids::{JobId, SiteId, uuid_v7};
    use crate::job_file::body::{DesignInputs, JobPlanned, Purpose};
    use crate::job_file::{JobFile, fold};
    use crate::method::Method;
    use crate::method::gate::Plan;
    use crate::method::plan::{DesignField, Micro, Reviewed, Text};
    use crate::pack::{SealContext, Words};
    use std::collections::BTreeMap;

    #[test]
    fn who_looked_at_the_words_of_a_method_is_named_or_that_nobody_did() {
        let mut method = Method::without_work();
        method.reviewed = vec![Reviewed { language: "de".to_owned(), by: "Ida".to_owned() }];
        let said = [("closing.reviewed", "looked at by {who}"), ("closing.not_reviewed", "by nobody")];
        let words = Words::of(said.map(|(key, text)| (key.to_owned(), text.to_owned())).into());
        let of = |language| words.reviewed(&method, language);
        assert_eq!(["de", "en", "es"].map(of), ["looked at by Ida", "by nobody", "by nobody"]);
    }

    #[test]
    fn a_code_among_the_methods_own_figures_is_a_word_in_the_table() {
        let figure = |key: &str, label: &str, unit| DesignField {
            key: key.to_owned(),
            label: Text { en: label.to_owned(), ..Text::default() },
            unit,
            sanity: (Micro(0), Micro(MICRO)),
            proposal: None,
        };
        let mut method = Method::without_work();
        method.design = vec![
            figure("rcd_kind", "Trip times (1 general, 2 selective)", Unit::Count),
            figure("fuse_rating_a", "Fuse", Unit::Ampere),
            figure("loop_max_ohm", "Loop impedance", Unit::Ohm),
        ];
        let planned = JobPlanned {
            purpose: Purpose::Install,
            site: SiteId::of(uuid_v7(0, &[3; 10])),
            method: method.reference(),
            rule_set: String::new(),
        };
        let values = vec![("fuse_rating_a".to_owned(), 63 * MICRO), ("rcd_kind".to_owned(), 2 * MICRO)];
        let bodies = [Body::JobPlanned(planned), Body::DesignInputs(DesignInputs { values })];
        let file = JobFile::imagined(JobId::of(uuid_v7(0, &[1; 10])), bodies);
        let said = [
            ("design.choice.selective", "selective type"),
            ("design.field.rcd_kind", "Trip times of the device"),
            ("design.not_entered", "not entered"),
        ];
        let said = said.map(|(key, text)| (key.to_owned(), text.to_owned()));
        let context = Context {
            words: &Words::of(BTreeMap::from(said)),
            language: "en",
            decimal: '.',
            firm: "",
            own_rules: &[],
            person: &|_| String::new(),
            when: &|_| String::new(),
            arrived: &|_| false,
            seal: SealContext::default(),
        };
        let plan = Plan::of(&method);
        let table = design(&fold(&file, &plan), &context);
        let rows: Vec<Vec<&str>> = table.rows.iter().map(|row| row.iter().map(String::as_str).collect()).collect();
        let expected =
            [["Trip times of the device", "selective type"], ["Fuse", "63 A"], ["Loop impedance", "not entered"]];
        assert_eq!(rows, expected);
    }
}
