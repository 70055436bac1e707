//! The view model of a step on cases as they come up on site.

use domain::electrical::{Limit, Unit};
use domain::ids::{CaptureId, EntryId, Hash32, InstrumentId, JobId, PersonId};
use domain::job_file::JobFile;
use domain::job_file::body::{
    Body, InstrumentSnapshot, MediaType, ModelSnapshot, Photo, PhotoFile, PhotoOrigin, Place, ReadingQuality,
    SerialSource, Sign, UnitKind,
};
use domain::method::gate::{Answer, LimitInfo, LimitSource, Obstacle, StepRef, StepState};
use domain::method::plan::{CheckCall, CheckNeed, Micro, PhotoNeed, ReadingNeed, Requirement, Text};

use super::photo::others;
use super::view_model::*;
use crate::features::job::load::{
    CautionCard, EvidenceItem, EvidenceStanding, JobView, RequirementCard, StepCard, UnitView, job_view,
};
use crate::features::words;
use crate::i18n::{Decimal, Lang, Words};
use crate::key;
use crate::ui::Tone;

const COMMA: Words = Words { lang: Lang::De, decimal: Decimal::Comma };
const TODAY: &str = "2026-11-25";

fn id(n: u128) -> uuid::Uuid {
    uuid::Uuid::from_u128(n)
}

fn text(en: &str) -> Text {
    Text { en: en.into(), ..Text::default() }
}

fn ohms(prefix: &str, instrument: Option<&str>) -> ReadingNeed {
    ReadingNeed {
        id: "pe".into(),
        label: text("Protective earth"),
        unit: Unit::Ohm,
        prefix: prefix.into(),
        sanity: (Micro(0), Micro(200_000_000)),
        instrument: instrument.map(str::to_owned),
        limit: None,
        pair: None,
        by_choice: None,
    }
}

fn at_most(micro: i64) -> LimitInfo {
    LimitInfo::Known { limit: Limit::at_most(micro), source: LimitSource::Method("house rule".into()) }
}

fn typed(raw: &str) -> ReadingDraft {
    ReadingDraft { raw: raw.into(), ..ReadingDraft::default() }
}

fn meter(due: &str) -> InstrumentSnapshot {
    InstrumentSnapshot {
        id: InstrumentId::of(id(7)),
        kind: "low-ohm".into(),
        label: "M 7".into(),
        calibration_due: due.into(),
    }
}

fn see(
    w: Words,
    need: &ReadingNeed,
    limit: &LimitInfo,
    draft: &ReadingDraft,
    used: Option<&InstrumentSnapshot>,
) -> ReadingPreview {
    preview(w, need, limit, draft, used, TODAY)
}

#[test]
fn a_reading_is_shown_as_it_was_understood_and_judged_at_once() {
    let (need, limit) = (ohms("", None), at_most(500_000));
    let good = see(Words::default(), &need, &limit, &typed("0.35"), None);
    assert_eq!(good.understood.as_deref(), Some("0.35\u{202f}Ω"));
    assert_eq!(good.verdict.as_ref().map(|(tone, _)| *tone), Some(Tone::Good));
    assert_eq!(good.value.and_then(|value| value.micro), Some(350_000));
    let bad = see(COMMA, &need, &limit, &typed("0,75"), None);
    assert_eq!(bad.verdict.as_ref().map(|(tone, _)| *tone), Some(Tone::Stop));
    assert!(bad.value.is_some(), "what fails is kept all the same");
}

#[test]
fn a_reading_that_can_be_read_in_two_ways_waits_for_the_person() {
    let need = ReadingNeed { sanity: (Micro(0), Micro(2_000_000_000)), ..ohms("", None) };
    let w = COMMA;
    let asked = see(w, &need, &LimitInfo::None, &typed("1.234"), None);
    let Some(ReadingQuestion::Which(candidates)) = asked.question else { panic!("{asked:?}") };
    assert!(candidates.len() > 1 && asked.value.is_none());
    let chosen = see(w, &need, &LimitInfo::None, &ReadingDraft { chosen: Some(0), ..typed("1.234") }, None);
    assert!(chosen.value.is_some() && chosen.question.is_none());
}

#[test]
fn what_cannot_be_read_says_how_it_is_typed() {
    let seen = see(COMMA, &ohms("", None), &LimitInfo::None, &typed("much"), None);
    assert!(seen.fault.as_ref().is_some_and(|fault| fault.contains("12,3")), "{seen:?}");
    assert!(seen.value.is_none());
    assert!(see(COMMA, &ohms("", None), &LimitInfo::None, &typed("  "), None).fault.is_none());
}

#[test]
fn an_implausible_value_is_asked_for_again_and_kept_if_confirmed() {
    let need = ohms("", None);
    let asked = see(Words::default(), &need, &at_most(500_000), &typed("5000"), None);
    assert!(matches!(asked.question, Some(ReadingQuestion::Implausible(..))) && asked.value.is_none(), "{asked:?}");
    let kept = see(Words::default(), &need, &at_most(500_000), &ReadingDraft { keep: true, ..typed("5000") }, None);
    assert_eq!(kept.value.map(|value| value.quality), Some(ReadingQuality::OutsideSanity));
    assert_eq!(kept.verdict.map(|(tone, _)| tone), Some(Tone::Caution));
}

#[test]
fn no_tick_keeps_what_cannot_be() {
    let need = ohms("", None);
    for keep in [false, true] {
        let typed = ReadingDraft { keep, ..typed("-3") };
        let seen = see(Words::default(), &need, &at_most(500_000), &typed, None);
        assert!(seen.value.is_none() && seen.question.is_none(), "{seen:?}");
        assert!(seen.fault.as_ref().is_some_and(|fault| fault.contains("cannot be")), "{seen:?}");
    }
}

#[test]
fn an_instrument_is_needed_and_its_calibration_counts() {
    let (need, limit) = (ohms("", Some("low-ohm")), at_most(500_000));
    let without = see(Words::default(), &need, &limit, &typed("0.3"), None);
    assert_eq!((without.lacks, without.value.is_none()), (Some(key!("step.reading.lacks_instrument")), true));
    let good = see(Words::default(), &need, &limit, &typed("0.3"), Some(&meter(TODAY)));
    assert_eq!(good.verdict.map(|(tone, _)| tone), Some(Tone::Good));
    for due in ["2026-11-24", ""] {
        let ended = see(Words::default(), &need, &limit, &typed("0.3"), Some(&meter(due)));
        assert_eq!(ended.verdict.map(|(tone, _)| tone), Some(Tone::Caution), "{due:?}");
        assert!(ended.value.is_some(), "it is recorded, it only decides nothing");
    }
}

#[test]
fn a_rule_of_the_method_is_said_in_the_readers_language_and_as_the_programs() {
    let cited = |lang, text: &str| {
        let limit = LimitInfo::Known { limit: Limit::at_most(1), source: LimitSource::Method(text.into()) };
        words::limit_source(Words { lang, ..Words::default() }, &limit)
    };
    assert_eq!(cited(Lang::De, "house rule").as_deref(), Some("eigene Regel dieses Programms"));
    assert_eq!(cited(Lang::Es, "house rule, 230 V ± 5 %").as_deref(), Some("regla propia del programa, 230 V ± 5 %"));
    assert_eq!(cited(Lang::De, "IEC 61008-1").as_deref(), Some("IEC 61008-1"));
}

#[test]
fn insulation_wants_its_test_voltage() {
    let need = ReadingNeed { sanity: (Micro(0), Micro(i64::MAX)), ..ohms("M", None) };
    let limit = LimitInfo::Known {
        limit: Limit::at_least(1_000_000_000_000),
        source: LimitSource::Method("house rule".into()),
    };
    let without = see(Words::default(), &need, &limit, &typed("200"), None);
    assert_eq!((without.lacks, without.value.is_none()), (Some(key!("step.reading.lacks_voltage")), true));
    let with = see(Words::default(), &need, &limit, &ReadingDraft { voltage: "500 V".into(), ..typed("200") }, None);
    let value = with.value.expect("nothing is lacking");
    assert_eq!((value.micro, value.test_voltage), (Some(200_000_000_000_000), Some(500_000_000)));
}

#[test]
fn not_measured_needs_a_reason_and_never_passes() {
    let draft = ReadingDraft { not_tested: true, ..ReadingDraft::default() };
    let seen = see(Words::default(), &ohms("", None), &at_most(1), &draft, None);
    assert_eq!((seen.lacks, seen.value.is_none()), (Some(key!("step.reading.lacks_reason")), true));
    let draft = ReadingDraft { reason: "No access".into(), ..draft };
    let seen = see(Words::default(), &ohms("", None), &at_most(1), &draft, None);
    assert_eq!(seen.value.map(|value| value.quality), Some(ReadingQuality::NotTested));
    assert_eq!(seen.verdict.map(|(tone, _)| tone), Some(Tone::Caution));
}

#[test]
fn the_entry_holds_what_was_typed_byte_for_byte() {
    let (need, draft) = (ohms("", None), typed(" <0,5 Ω"));
    let value = see(COMMA, &need, &at_most(500_000), &draft, None).value.expect("it can be read");
    let body = reading_body(&Place::of("s", 2, "pe"), &need, &draft, &value, None, Some(EntryId::of(id(1))));
    let Body::Reading(reading) = body else { panic!("{body:?}") };
    assert_eq!((reading.raw.as_str(), reading.micro, reading.sign), (" <0,5 Ω", Some(500_000), Sign::Less));
    assert_eq!((reading.corrects, reading.unit), (Some(EntryId::of(id(1))), Unit::Ohm.code()));
}

// --- jobs by hand

fn job() -> JobView {
    let mut job = job_view(JobId::of(id(1)), &JobFile::default(), None, "en");
    job.units = vec![unit(1, Some("KCM50000000001")), unit(2, None)];
    job
}

fn unit(slot: u16, serial: Option<&str>) -> UnitView {
    UnitView {
        slot,
        kind: UnitKind::Module,
        model: model(),
        new: true,
        serial: serial.map(str::to_owned),
        serial_bad: false,
        serial_step: None,
    }
}

fn model() -> ModelSnapshot {
    ModelSnapshot {
        model: domain::ids::ModelId::of(id(3)),
        version: 1,
        kind: UnitKind::Module,
        maker: "Maker".into(),
        name: "M 5".into(),
        gtin: Some("09521234543213".into()),
        serial_prefix: "KCM5".into(),
        serial_length: (14, 14),
        values: Vec::new(),
    }
}

fn serial(raw: &str, again: &str) -> SerialDraft {
    SerialDraft { raw: raw.into(), again: again.into(), ..SerialDraft::default() }
}

#[test]
fn a_typed_serial_is_typed_twice() {
    let (job, model) = (job(), model());
    let see = |raw: &str, again: &str| serial_preview(Words::default(), &job, 2, Some(&model), &serial(raw, again));
    let once = see("KCM50000000002", "");
    assert!(once.wants_again && !once.ready && !once.differs && once.fault.is_none());
    assert!(!see("KCM50000000002", "KCM5000").differs, "still being typed");
    assert!(see("KCM50000000002", "KCM50000000003").differs);
    assert!(see("KCM50000000002", "kcm5 0000 000002").ready);
    let Some(Body::Serial(read)) = serial_body(&Place::of("s", 2, "n"), &serial("KCM50000000002", ""), None) else {
        panic!("a serial is written")
    };
    assert_eq!((read.stored.as_str(), read.source), ("KCM50000000002", SerialSource::Typed));
}

#[test]
fn a_serial_of_another_place_says_which() {
    let seen = serial_preview(Words::default(), &job(), 2, None, &serial("kcm5-0000000001", ""));
    assert!(seen.fault.is_some_and(|fault| fault.contains('1')) && !seen.ready);
    let own = serial_preview(Words::default(), &job(), 1, None, &serial("KCM50000000001", "KCM50000000001"));
    assert!(own.ready, "its own place may be corrected to the same");
}

#[test]
fn a_pattern_warns_and_refuses_nothing() {
    let (job, model) = (job(), model());
    for odd in ["KCH10000000002", "KCM5000000002"] {
        let seen = serial_preview(Words::default(), &job, 2, Some(&model), &serial(odd, odd));
        assert!(seen.ready && seen.warning.is_some(), "{odd}: {seen:?}");
    }
}

#[test]
fn what_a_carrier_declares_is_not_typed_again() {
    let draft = serial("]C10109521234543213211234ABC", "");
    let seen = serial_preview(Words::default(), &job(), 2, None, &draft);
    assert_eq!((seen.serial.as_deref(), seen.wants_again, seen.ready), (Some("1234ABC"), false, true));
    let Some(Body::Serial(read)) = serial_body(&Place::of("s", 2, "n"), &draft, None) else { panic!("written") };
    assert_eq!((read.source, read.gtin.as_deref()), (SerialSource::Wedge, Some("09521234543213")));
}

#[test]
fn a_network_address_may_be_confirmed_and_nonsense_may_not() {
    let mac = serial("00:1A:2B:3C:4D:5E", "");
    let seen = serial_preview(Words::default(), &job(), 2, None, &mac);
    assert!(seen.may_confirm && seen.fault.is_some());
    let seen = serial_preview(Words::default(), &job(), 2, None, &SerialDraft { confirmed: true, ..mac });
    assert!(seen.fault.is_none() && seen.wants_again);
    let table = serial_preview(Words::default(), &job(), 2, None, &serial("1.2E+11", ""));
    assert!(!table.may_confirm && table.fault.is_some());
}

fn card(need: Requirement, answer: Answer) -> RequirementCard {
    RequirementCard {
        place: Place::of("s", 0, need.id()),
        label: need.label().en.clone(),
        need,
        answer,
        evidence: Vec::new(),
        limit: LimitInfo::None,
        check: None,
        deviation: None,
        countersigned: None,
    }
}

fn photo(answer: Answer) -> RequirementCard {
    let need = PhotoNeed { id: "p".into(), label: text("Lock"), shows: text("the lock"), count: 2, held: None };
    card(Requirement::Photo(need), answer)
}

fn step(index: usize, title: &str, state: StepState, requirements: Vec<RequirementCard>) -> StepCard {
    StepCard {
        at: StepRef { step: index, slot: 0 },
        id: format!("s{index}"),
        slot: 0,
        unit: None,
        stage: 0,
        title: title.into(),
        act: String::new(),
        hold: true,
        stop_work: false,
        hazardous: false,
        state,
        cautions: Vec::new(),
        requirements,
        returned: None,
        ended: None,
        since: None,
        lapsed: false,
        inside: false,
    }
}

const MISSING: Answer = Answer::Missing { have: 0, want: 2 };

fn shut_by(steps: &[usize]) -> StepState {
    StepState::Locked { by: steps.iter().map(|step| Obstacle::Step(StepRef { step: *step, slot: 0 })).collect() }
}

#[test]
fn a_shut_gate_names_what_can_be_done_now_before_what_comes_later() {
    let mut job = job();
    job.steps = vec![
        step(0, "Isolate", StepState::Open, vec![photo(Answer::Missing { have: 1, want: 2 })]),
        step(1, "Prove", shut_by(&[0]), vec![photo(MISSING)]),
        step(2, "Open", shut_by(&[0, 1]), vec![photo(MISSING)]),
    ];
    let w = Words::default();
    let needs = gate_needs(w, &job, &job.steps[2]);
    assert_eq!(needs.now.iter().map(|need| need.step.clone()).collect::<Vec<_>>(), [Some(("s0".to_owned(), 0))]);
    assert!(needs.now[0].missing.contains("Lock") && needs.now[0].missing.contains('1'), "{needs:?}");
    assert_eq!(needs.later.len(), 1);
    job.steps[2].state = StepState::Locked { by: vec![Obstacle::Paused] };
    let paused = gate_needs(w, &job, &job.steps[2]);
    assert_eq!((paused.now.len(), paused.now[0].step.is_none()), (1, true));
    job.steps[2].state = StepState::Locked { by: Vec::new() };
    assert_eq!(gate_needs(w, &job, &job.steps[2]).now.len(), 1, "even a gate without obstacles says what it waits for");
}

#[test]
fn what_waits_for_the_lead_or_elsewhere_is_not_opened_as_work() {
    let asked = Answer::DeviationAsked { asked: EntryId::of(id(4)) };
    let check =
        CheckNeed { id: "c".into(), label: text("Sum"), call: CheckCall { check: "F06".into(), inputs: Vec::new() } };
    let check = card(Requirement::Check(check), MISSING);
    let own = step(0, "A", StepState::Open, vec![photo(asked.clone()), check, photo(MISSING)]);
    assert_eq!(first_to_do(&own), Some(2));
    let mut job = job();
    job.steps =
        vec![own, step(1, "B", StepState::Open, vec![photo(asked)]), step(2, "C", StepState::Satisfied, Vec::new())];
    assert_eq!(next_after(&job, &job.steps[2]).map(|step| step.id.as_str()), Some("s0"));
    assert_eq!(next_after(&job, &job.steps[0]).map(|step| step.id.as_str()), None);
}

#[test]
fn cautions_that_were_not_read_are_missing_too() {
    let mut own = step(0, "A", StepState::Open, Vec::new());
    own.cautions.push(CautionCard {
        id: "c".into(),
        text: "Hot".into(),
        english: None,
        acknowledge: true,
        read: false,
    });
    assert!(!missing_of(Words::default(), &own).is_empty());
    own.cautions[0].read = true;
    assert!(missing_of(Words::default(), &own).is_empty());
}

#[test]
fn a_statement_of_two_parts_is_one_thing_that_is_missing() {
    let mut need = photo(Answer::Missing { have: 0, want: 1 });
    need.label = "My own locks are off; none is left.".into();
    let own = step(0, "A", StepState::Open, vec![need]);
    assert_eq!(missing_of(Words::default(), &own), ["My own locks are off; none is left."]);
}

#[test]
fn time_asleep_does_not_count() {
    assert_eq!(waited(10_000, 1_000), 11_000);
    assert_eq!(waited(10_000, 600_000), 10_000);
}

fn taken(at: Place, at_us: u64, hash: u8, has_preview: bool) -> EvidenceItem {
    let file = |hash| PhotoFile { hash: Hash32::of([hash; 32]), bytes: 9, width: 4, height: 3, media: MediaType::Jpeg };
    let body = Body::Photo(Photo {
        at,
        capture: CaptureId::of(id(u128::from(hash))),
        original: file(hash),
        preview: has_preview.then(|| file(hash + 100)),
        taken_ms: 0,
        origin: PhotoOrigin::Camera,
        corrects: None,
        kept_anyway: false,
    });
    let (entry, by) = (EntryId::of(id(u128::from(hash))), PersonId::of(id(1)));
    EvidenceItem { id: entry, by, at_us, body, standing: EvidenceStanding::Counts, stamped: false }
}

#[test]
fn a_photo_is_compared_with_those_that_count_elsewhere_its_own_subject_first() {
    let place = |step: &str, slot| Place::of(step, slot, "p");
    let with = |at: Place, evidence: Vec<EvidenceItem>| RequirementCard { place: at, evidence, ..photo(MISSING) };
    let taken_back = EvidenceItem { standing: EvidenceStanding::TakenBack, ..taken(place("a", 0), 9, 9, true) };
    let mut job = job();
    let cards = vec![
        with(place("a", 0), vec![taken(place("a", 0), 1, 1, true), taken(place("a", 0), 5, 2, true), taken_back]),
        with(place("label", 1), vec![taken(place("label", 1), 2, 3, true)]),
        with(place("label", 2), vec![taken(place("label", 2), 3, 4, true)]),
        with(place("b", 0), vec![taken(place("b", 0), 4, 5, false)]),
    ];
    job.steps = vec![step(0, "A", StepState::Open, cards)];
    let found = others(&job, &place("label", 2));
    let hashes: Vec<u8> = found.iter().map(|other| other.original.bytes()[0]).collect();
    assert_eq!(hashes, [3, 2, 1], "the other label, then the latest; never its own place, nor one without a preview");
    assert_eq!((found[0].at.clone(), found[0].preview), (place("label", 1), Hash32::of([103; 32])));
}
