//! One requirement of a step as lines of the report.

use super::{CheckReport, Context, Line, PhotoReport};
use crate::electrical::{Check, CheckNote, Limit, Mark, Prefix, Quantity, Source, Unit, Verdict, codes};
use crate::ids::{EntryId, PersonId};
use crate::job_file::body::{self, Body, Place, ReadingQuality, Sign};
use crate::job_file::record::{CountersignState, Evidence, Record};
use crate::method::gate::{Answer, FailWhy, LimitInfo, LimitSource, OpenWhy};
use crate::method::plan::{ReadingNeed, Requirement};

/// A quantity as the report writes it: up to four decimals, no trailing zeros.
pub(super) fn quantity(context: &Context<'_>, unit: Unit, micro: i64, prefix: Prefix) -> String {
    let number = trimmed(&Quantity::of(unit, micro).format(4, prefix, context.decimal), context.decimal);
    let symbol = unit.symbol();
    if symbol.is_empty() { number } else { format!("{number} {}{symbol}", prefix.symbol()) }
}

fn trimmed(number: &str, decimal: char) -> String {
    if number.contains(decimal) {
        number.trim_end_matches('0').trim_end_matches(decimal).to_owned()
    } else {
        number.to_owned()
    }
}

/// A limit in words.
pub(super) fn limit(context: &Context<'_>, unit: Unit, limit: &Limit, prefix: Prefix) -> String {
    limit_shown(context, limit, |micro| quantity(context, unit, micro, prefix))
}

/// The limit of a check in words; where it is a code, by the word of the code.
pub(super) fn limit_of_check(context: &Context<'_>, check: &Check) -> Option<String> {
    let known = check.limit?;
    Some(match codes::limited_by(check.id) {
        Some(figure) => limit_shown(context, &known.limit, |micro| figure_value(context, figure, known.unit, micro)),
        None => limit(context, known.unit, &known.limit, known.prefix()),
    })
}

fn limit_shown(context: &Context<'_>, limit: &Limit, show: impl Fn(i64) -> String) -> String {
    let limit = limit.shown();
    match (limit.at_least, limit.at_most) {
        (Some(least), Some(most)) => {
            context.words.with("limit.between", &[("least", &show(least)), ("most", &show(most))])
        }
        (Some(least), None) => context.words.with("limit.at_least", &[("least", &show(least))]),
        (None, Some(most)) => context.words.with("limit.at_most", &[("most", &show(most))]),
        (None, None) => String::new(),
    }
}

fn limit_text(context: &Context<'_>, need: &ReadingNeed, info: &LimitInfo) -> String {
    match info {
        LimitInfo::None => context.words.get("limit.none"),
        LimitInfo::Known { limit: known, source } => {
            let source = match source {
                LimitSource::Method(source) => context.words.cited_by_method(source),
                LimitSource::Maker => context.words.get("source.maker"),
                LimitSource::Design => context.words.get("source.design"),
                LimitSource::Check(check) => source_text(context, check),
            };
            format!("{} ({source})", limit(context, need.unit, known, need.field().entry))
        }
        LimitInfo::NoMakerFigure { key } => context.words.with("limit.no_maker_figure", &[("key", key)]),
        LimitInfo::InputMissing { key } => context.words.with("limit.input_missing", &[("key", key)]),
    }
}

/// Standard, edition and clause of a check, with its mark.
pub(super) fn source_text(context: &Context<'_>, check: &Check) -> String {
    let cited = cited(context, &check.source);
    let join = if check.source.standard.is_empty() { ", " } else { " " };
    if cited.is_empty() { check.id.to_owned() } else { format!("{}{join}{cited}", check.id) }
}

/// Standard, edition and clause, and how certain that is.
pub(super) fn cited(context: &Context<'_>, source: &Source) -> String {
    let mark = match source.mark {
        Mark::Sure => None,
        Mark::Check => Some(context.words.get("mark.check")),
        Mark::House => Some(context.words.get("mark.house")),
    };
    let parts = if source.standard.is_empty() && source.clause == "maker" {
        context.words.get("source.maker")
    } else {
        let parts = [source.standard, source.edition, source.clause].into_iter().filter(|part| !part.is_empty());
        parts.collect::<Vec<_>>().join(" ")
    };
    [Some(parts), mark].into_iter().flatten().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ")
}

/// The words of a name that data chooses; one without words is shown with its underscores opened.
pub(super) fn named(context: &Context<'_>, room: &str, name: &str) -> String {
    let key = format!("{room}.{name}");
    let words = context.words.get(&key);
    if words == key { name.replace('_', " ") } else { words }
}

/// A figure of a check: the word that its code stands for, or the quantity.
pub(super) fn figure_value(context: &Context<'_>, figure: &str, unit: Unit, micro: i64) -> String {
    match codes::word(figure, micro) {
        Some(word) => choice(context, word),
        None => quantity(context, unit, micro, Prefix::One),
    }
}

/// A choice; designations are the same in every language.
pub(super) fn choice(context: &Context<'_>, word: &str) -> String {
    let key = format!("design.choice.{word}");
    let words = context.words.get(&key);
    if words == key { codes::designation(word) } else { words }
}

/// A check as the report prints it.
pub(super) fn check_report(context: &Context<'_>, check: &Check) -> CheckReport {
    let values = |all: &[(&'static str, Quantity)]| {
        let one = |(key, value): &(&'static str, Quantity)| {
            format!("{} = {}", named(context, "figure", key), figure_value(context, key, value.unit, value.micro))
        };
        all.iter().map(one).collect::<Vec<_>>()
    };
    let said = |key: &str, blank: &str, parts: Vec<String>| {
        if parts.is_empty() { String::new() } else { context.words.with(key, &[(blank, &parts.join("; "))]) }
    };
    let known = limit_of_check(context, check);
    let notes = check.notes.iter().map(|note| context.words.get(note_key(*note)));
    let limits: Vec<String> = known.into_iter().filter(|text| !text.is_empty()).chain(notes).collect();
    CheckReport {
        inputs: said("check.inputs", "values", values(&check.inputs)),
        formula: format!("{}: {}", check.id, check.formula),
        with_numbers: check.numbers().to_owned(),
        results: said("check.results", "values", values(&check.results)),
        limit: said("check.limit", "limit", limits),
        source: source_text(context, check),
    }
}

const fn note_key(note: CheckNote) -> &'static str {
    match note {
        CheckNote::LocalCapUsed => "check_note.local_cap_used",
        CheckNote::ReducedTestVoltage => "check_note.reduced_test_voltage",
        CheckNote::SocNotCompared => "check_note.soc_not_compared",
        CheckNote::DeviceRatingsNotGiven => "check_note.device_ratings_not_given",
        CheckNote::TipsWithoutBracket => "check_note.tips_without_bracket",
        CheckNote::OtherLocationsApart => "check_note.other_locations_apart",
        CheckNote::MechanicalMinimumUsed => "check_note.mechanical_minimum_used",
        CheckNote::ElectrodeUnstable => "check_note.electrode_unstable",
        CheckNote::FarEndOnly => "check_note.far_end_only",
        CheckNote::AuthorityAccepted => "check_note.authority_accepted",
        CheckNote::MakerDistanceMissing => "check_note.maker_distance_missing",
        CheckNote::ClearingTimeAssumed => "check_note.clearing_time_assumed",
        CheckNote::FullTransportRules => "check_note.full_transport_rules",
        CheckNote::BreakerDoesNotTrip => "check_note.breaker_does_not_trip",
        CheckNote::ToolCoarserThanWindow => "check_note.tool_coarser_than_window",
    }
}

/// The lines of one requirement: replaced evidence first, then what counts.
pub(super) fn lines(
    context: &Context<'_>,
    record: &Record<'_>,
    place: &Place,
    requirement: &Requirement,
    answer: &Answer,
    limit_info: &LimitInfo,
) -> Vec<Line> {
    let label = requirement.label().in_language(context.language).to_owned();
    let all = record.evidence.get(place).map_or(&[][..], Vec::as_slice);
    let counting: Vec<_> = record.counting(place).iter().map(|evidence| evidence.key.id).collect();
    let last = counting.last().copied();
    let mut lines = Vec::new();
    for evidence in all {
        let counts = Some(evidence.key.id) == last
            || (matches!(requirement, Requirement::Photo(_)) && counting.contains(&evidence.key.id));
        lines.push(Line {
            label: label.clone(),
            value: value_text(context, record, requirement, evidence),
            limit: match (requirement, counts) {
                (Requirement::Reading(need), true) => limit_text(context, need, limit_info),
                _ => String::new(),
            },
            verdict: match (counts, evidence.body, answer) {
                (false, _, _) => context.words.get("verdict.replaced"),
                (true, Body::Countersign(_), Answer::Met { .. })
                    if record.countersign_state(evidence.key.id) == CountersignState::ToBeConfirmed =>
                {
                    context.words.get("verdict.to_be_confirmed")
                }
                (true, _, _) => answer_text(context, answer),
            },
            who: who_text(context, evidence),
            replaced: !counts,
        });
    }
    let unanswered =
        last.is_none() || matches!(answer, Answer::DeviationAllowed { .. } | Answer::DeviationAsked { .. });
    if unanswered {
        lines.push(Line { label, verdict: answer_text(context, answer), ..Line::default() });
    }
    lines
}

fn who_text(context: &Context<'_>, evidence: &Evidence<'_>) -> String {
    let header = &evidence.held.entry.header;
    let who = (context.person)(header.author);
    let when = (context.when)(evidence.key.at);
    match evidence.body {
        Body::Reading(body::Reading { instrument: Some(used), .. }) => context.words.with(
            "line.who_with_instrument",
            &[("who", &who), ("when", &when), ("label", &used.label), ("due", &used.calibration_due)],
        ),
        _ => context.words.with("line.who", &[("who", &who), ("when", &when)]),
    }
}

fn value_text(
    context: &Context<'_>,
    record: &Record<'_>,
    requirement: &Requirement,
    evidence: &Evidence<'_>,
) -> String {
    match evidence.body {
        Body::Reading(reading) => reading_text(context, requirement, reading),
        Body::Serial(serial) => serial.stored.clone(),
        Body::Words(words) => words.text.clone(),
        Body::Confirmation(confirmation) => {
            named_text(context, record, confirmation.person, confirmation.named_in, "value.confirmed")
        }
        Body::Countersign(countersign) => {
            named_text(context, record, Some(countersign.person), None, "value.confirmed")
        }
        Body::Signature(signature) => named_text(context, record, signature.person, signature.named_in, "value.signed"),
        Body::Choice(choice) => match requirement {
            Requirement::Choice(need) => need
                .options
                .iter()
                .find(|option| option.id == choice.option)
                .map_or_else(|| choice.option.clone(), |option| option.label.in_language(context.language).to_owned()),
            _ => choice.option.clone(),
        },
        Body::Waited(waited) => {
            context.words.with("value.waited", &[("seconds", &(waited.elapsed_ms / 1000).to_string())])
        }
        Body::Photo(photo) => match photo.origin {
            body::PhotoOrigin::Camera => context.words.get("value.photo"),
            body::PhotoOrigin::Imported => context.words.get("value.photo_imported"),
        },
        _ => String::new(),
    }
}

fn reading_text(context: &Context<'_>, requirement: &Requirement, reading: &body::Reading) -> String {
    let prefix = match requirement {
        Requirement::Reading(need) => need.field().entry,
        _ => Prefix::One,
    };
    let unit = Unit::from_code(reading.unit).unwrap_or(Unit::Count);
    let sign = match reading.sign {
        Sign::Equal => "",
        Sign::Less => "< ",
        Sign::Greater => "> ",
    };
    let value = reading.micro.map(|micro| format!("{sign}{}", quantity(context, unit, micro, prefix)));
    let test = reading.test_voltage.map(|micro| {
        context.words.with("value.at_test_voltage", &[("volts", &quantity(context, Unit::Volt, micro, Prefix::One))])
    });
    let word = match reading.quality {
        ReadingQuality::Ok => None,
        ReadingQuality::OverRange => Some(context.words.get("value.over_range")),
        ReadingQuality::NotTested => Some(context.words.get("value.not_tested")),
        ReadingQuality::OutsideSanity => Some(context.words.get("value.implausible")),
    };
    [value, test, word].into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// Who stands behind a statement: `key` is what the recorder themselves did, `key_by` what a named person did.
fn named_text(
    context: &Context<'_>,
    record: &Record<'_>,
    person: Option<PersonId>,
    named_in: Option<EntryId>,
    key: &str,
) -> String {
    let by = |who: &str| context.words.with(&format!("{key}_by"), &[("who", who)]);
    match (person, named_in) {
        (Some(person), _) => by(&(context.person)(person)),
        (None, None) => context.words.get(key),
        (None, Some(remark)) => match record.remarks.get(&remark) {
            Some((_, _, _, name)) => by(name),
            None => by(&context.words.get("value.erased")),
        },
    }
}

/// A verdict in words.
pub(super) fn answer_text(context: &Context<'_>, answer: &Answer) -> String {
    let words = context.words;
    match answer {
        Answer::Missing { .. } => words.get("verdict.missing"),
        Answer::Met { .. } => words.get("verdict.pass"),
        Answer::Failed { why, .. } if why.is_by_house_figure() => words.get("verdict.fail_house"),
        Answer::Failed { why, .. } => match why {
            FailWhy::SamePhotoAt(_) => words.get("verdict.fail_same_photo"),
            FailWhy::SerialInSlot(slot) => words.with("verdict.fail_same_serial", &[("slot", &slot.to_string())]),
            FailWhy::SamePhotoInFirm(_) => words.get("verdict.fail_photo_in_firm"),
            FailWhy::PinWrong => words.get("verdict.fail_pin"),
            FailWhy::TicketNeeded(ticket) => words.with("verdict.fail_ticket", &[("ticket", ticket)]),
            FailWhy::SerialUnreadable
            | FailWhy::Value { .. }
            | FailWhy::Check(_)
            | FailWhy::OptionSaysNo(_)
            | FailWhy::SecondPersonNeeded
            | FailWhy::HouseholderNeeded
            | FailWhy::PinProofMissing
            | FailWhy::NotDrawn
            | FailWhy::WordsUnreadable => words.get("verdict.fail"),
        },
        Answer::NotDetermined { why, .. } => match why {
            OpenWhy::CalibrationEnded(due) => words.with("verdict.calibration_ended", &[("due", due)]),
            OpenWhy::NoMakerFigure(key) => words.with("verdict.no_maker_figure", &[("key", key)]),
            OpenWhy::InstrumentMissing => words.get("verdict.instrument_missing"),
            OpenWhy::Value(_) | OpenWhy::InputMissing(_) | OpenWhy::Check(_) | OpenWhy::InstrumentKind(_) => {
                words.get("verdict.not_determined")
            }
        },
        Answer::DeviationAsked { .. } => words.get("verdict.deviation_asked"),
        Answer::DeviationAllowed { .. } => words.get("verdict.deviation_allowed"),
        Answer::NotApplicable => words.get("verdict.not_applicable"),
    }
}

/// A verdict of a check in words.
pub(super) fn verdict_text(context: &Context<'_>, verdict: Verdict) -> String {
    context.words.get(match verdict {
        Verdict::Pass => "verdict.pass",
        Verdict::Fail(_) => "verdict.fail",
        Verdict::NotDetermined(_) => "verdict.not_determined",
        Verdict::NotApplicable(_) => "verdict.not_applicable",
    })
}

/// The pictures of one requirement that count.
pub(super) fn photos(context: &Context<'_>, record: &Record<'_>, place: &Place, label: &str) -> Vec<PhotoReport> {
    record
        .counting(place)
        .iter()
        .filter_map(|evidence| match evidence.body {
            Body::Photo(photo) => Some(PhotoReport {
                hash: photo.original.hash,
                caption: format!("{label}. {}", who_text(context, evidence)),
                arrived: (context.arrived)(&photo.original.hash),
            }),
            _ => None,
        })
        .collect()
}
