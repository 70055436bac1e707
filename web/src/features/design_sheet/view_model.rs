//! From what was typed to a design, its sheet and its drawings, and to the one entry that keeps it. Pure.

use std::collections::BTreeMap;

use domain::bounds;
use domain::design::{Design, FIELDS, Field, Line, Sheet, sheet, single_line, stack_drawing, with_equipment};
pub use domain::design::{RULES_FIRM, RULES_PLACE, RULES_VERSION, load_of, rules_of_job};
use domain::electrical::rule_set::{FirmRules, Place, RuleSet, RulesName, Topic, newest};
use domain::electrical::{
    Cmp, FieldSpec, Mark, Note, NumberLocale, Prefix, Quality, Quantity, Unit, Verdict, parse_reading,
};
use domain::job_file::body::{Equipment, UnitKind};
use serde::{Deserialize, Serialize};

use crate::features::job::load::UnitView;
use crate::i18n::Words;

const MICRO: i64 = 1_000_000;
/// Numbers without a unit that need not be whole.
const SHARES: [&str; 2] = ["ac_power_factor", "push_factor"];

/// What somebody typed and has not saved; kept on this device at every keystroke.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct SheetDraft {
    /// Other rules than the job's, as [`rules_word`] has them; empty while the job's hold.
    pub place: String,
    /// Text by key, of fields that do not show what the job says.
    pub texts: BTreeMap<String, String>,
}

impl SheetDraft {
    /// Nothing differs from the job.
    pub fn is_empty(&self) -> bool {
        self.place.is_empty() && self.texts.is_empty()
    }

    /// Forgets what the job says by now: it was saved, and the page ended before the draft could go.
    pub fn without_saved(mut self, design: &[(String, i64)], rules: RulesName, w: Words) -> Self {
        self.texts.retain(|key, text| {
            let Some(field) = domain::design::field(key) else { return false };
            figure(field, text, w) != Ok(value_of(design, key))
        });
        if self.place == rules_word(rules) {
            self.place.clear();
        }
        self
    }
}

/// Rules as the form's choice has them: the built-in ones by their place alone, whichever version is compiled in.
pub fn rules_word(name: RulesName) -> String {
    if name.firm_version.is_some() { name.label() } else { name.place.word().to_owned() }
}

/// The rules of a choice.
pub fn rules_of_word(word: &str) -> RulesName {
    let built_in = || RulesName::built_in(Place::from_word(word).unwrap_or(Place::Neutral));
    RulesName::parse(word).unwrap_or_else(built_in)
}

/// What can be chosen: the firm's newest for each place, the job's own version, and every built-in set.
pub fn rules_offered(own: &[FirmRules], of_job: RulesName) -> Vec<RulesName> {
    let mut all: Vec<RulesName> = newest(own).into_iter().filter_map(FirmRules::named).collect();
    if of_job.firm_version.is_some() && !all.contains(&of_job) {
        all.push(of_job);
    }
    all.extend(Place::ALL.map(RulesName::built_in));
    all
}

/// Why a field is not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Cannot be read as a number.
    Unreadable,
    /// More than one reading is possible.
    Ambiguous(Vec<Quantity>),
    /// A unit of something else; perhaps this was meant.
    OtherUnit(Option<Quantity>),
    /// One exact value is needed, not a bound.
    NotExact,
    /// No such thing can be: least and greatest of the unit.
    Impossible(Quantity, Quantity),
    /// A count with a fraction.
    NotWhole,
    /// A code that this version has no words for.
    NoSuchChoice(String),
}

/// What a field says: nothing, a figure in millionths of its unit, or a fault.
pub type Read = Result<Option<i64>, Fault>;

/// Reads one field as it stands.
///
/// # Errors
/// [`Fault`].
pub fn figure(field: &Field, text: &str, w: Words) -> Read {
    figure_in(field.unit, field.choices, is_count(field), text, w.decimal.sign())
}

/// Reads what stands in a box: one of the choices by its word where there are any, else an exact figure of the unit.
///
/// # Errors
/// [`Fault`].
pub fn figure_in(unit: Unit, choices: &[&str], whole: bool, text: &str, decimal: char) -> Read {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    if !choices.is_empty() {
        // Answers count from nothing, kinds from one.
        let first = usize::from(choices.first() != Some(&"no"));
        let found = choices.iter().position(|choice| *choice == text);
        let code = found.and_then(|index| i64::try_from(index + first).ok());
        return code.map(|code| Some(code * MICRO)).ok_or_else(|| Fault::NoSuchChoice(text.to_owned()));
    }
    let micro = number_in(unit, text, decimal)?;
    if whole && micro % MICRO != 0 { Err(Fault::NotWhole) } else { Ok(Some(micro)) }
}

/// Reads an exact figure of a unit.
///
/// # Errors
/// [`Fault`].
pub fn number(unit: Unit, text: &str, w: Words) -> Result<i64, Fault> {
    number_in(unit, text, w.decimal.sign())
}

fn number_in(unit: Unit, text: &str, decimal: char) -> Result<i64, Fault> {
    let least = if unit == Unit::Celsius { i64::MIN } else { 0 };
    let spec = FieldSpec::plain(unit, Prefix::One, least, i64::MAX);
    let parsed = parse_reading(text, &spec, NumberLocale::from_decimal(decimal));
    let (least, most) = bounds::possible_in(&spec);
    let impossible = Err(Fault::Impossible(Quantity::of(unit, least), Quantity::of(unit, most)));
    match parsed.quality {
        Quality::Ok => {}
        Quality::Invalid { .. } if parsed.has(Note::Impossible) => return impossible,
        Quality::OutsideSanity => return impossible,
        Quality::Ambiguous { candidates } => return Err(Fault::Ambiguous(candidates)),
        Quality::UnitMismatch { suggestion, .. } => return Err(Fault::OtherUnit(suggestion)),
        Quality::Invalid { .. } | Quality::NotTested | Quality::OverRange => return Err(Fault::Unreadable),
    }
    match (parsed.value, parsed.cmp) {
        (None, _) => Err(Fault::Unreadable),
        (Some(_), Cmp::Less | Cmp::Greater) => Err(Fault::NotExact),
        (Some(value), Cmp::Equal) if !(least..=most).contains(&value.micro) => impossible,
        (Some(value), Cmp::Equal) => Ok(value.micro),
    }
}

fn is_count(field: &Field) -> bool {
    field.unit == Unit::Count && field.choices.is_empty() && !SHARES.contains(&field.key)
}

/// A figure as text that [`figure`] reads as the same figure; a choice by its word.
pub fn text_of(field: &Field, micro: i64, w: Words) -> String {
    let choice = if field.choices.is_empty() { None } else { field.choice(micro) };
    choice.map_or_else(|| w.number_short(micro), str::to_owned)
}

/// A figure of the job by its key.
pub fn value_of(design: &[(String, i64)], key: &str) -> Option<i64> {
    design.iter().find(|(own, _)| own == key).map(|(_, micro)| *micro)
}

/// The version under which the design was saved, where it is not the one of these rules.
pub fn other_version(design: &[(String, i64)], rules: &RuleSet) -> Option<i64> {
    let same_place = value_of(design, RULES_PLACE) == Some(rules.place.code() * MICRO);
    let saved = value_of(design, RULES_VERSION)? / MICRO;
    (same_place && saved != i64::from(rules.version)).then_some(saved)
}

/// All figures of the job after the sheet is saved: what the sheet does not know stays as it is, and so do fields that nobody touched.
pub fn values_to_save(
    job: &[(String, i64)],
    touched: impl Iterator<Item = (&'static str, Option<i64>)>,
    rules: &RuleSet,
) -> Vec<(String, i64)> {
    let mut all: BTreeMap<String, i64> = job.iter().cloned().collect();
    for (key, value) in touched {
        match value {
            Some(micro) => all.insert(key.to_owned(), micro),
            None => all.remove(key),
        };
    }
    all.insert(RULES_PLACE.to_owned(), rules.place.code() * MICRO);
    all.insert(RULES_VERSION.to_owned(), i64::from(rules.version) * MICRO);
    match rules.firm_version {
        Some(version) => all.insert(RULES_FIRM.to_owned(), i64::from(version) * MICRO),
        None => all.remove(RULES_FIRM),
    };
    all.into_iter().collect()
}

/// Everything that follows from a design.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Computed {
    /// Its figures.
    pub design: Design,
    /// All checks.
    pub sheet: Sheet,
    /// SVG.
    pub single_line: String,
    /// SVG.
    pub stack: String,
}

/// Computes and draws.
pub fn compute(design: Design, rules: &RuleSet) -> Computed {
    let sheet = sheet(&design, rules);
    let (single_line, stack) = (single_line(&design, &sheet), stack_drawing(&design, &sheet));
    Computed { design, sheet, single_line, stack }
}

/// How the checks stand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Fail.
    pub fail: usize,
    /// Not determined.
    pub open: usize,
    /// Pass.
    pub pass: usize,
}

/// Counts verdicts.
pub fn tally(lines: &[Line]) -> Tally {
    let mut tally = Tally::default();
    for line in lines {
        match line.verdict() {
            Verdict::Pass => tally.pass += 1,
            Verdict::Fail(_) => tally.fail += 1,
            Verdict::NotDetermined(_) => tally.open += 1,
            Verdict::NotApplicable(_) => {}
        }
    }
    tally
}

/// A stable word for a verdict, for tests and style sheets.
pub const fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail(_) => "fail",
        Verdict::NotDetermined(_) => "open",
        Verdict::NotApplicable(_) => "none",
    }
}

/// The least certain mark among the rules that ask for a field; `None` where no rule does.
pub fn rule_mark(rules: &RuleSet, key: &str) -> Option<Mark> {
    let mut found = None;
    for rule in &rules.rules {
        let asks = matches!(rule.topic, Topic::Distance | Topic::Prohibit | Topic::Demand);
        if !asks || rule.about != key {
            continue;
        }
        found = match (found, rule.source.mark) {
            (_, Mark::House) | (Some(Mark::House), _) => Some(Mark::House),
            (_, Mark::Check) | (Some(Mark::Check), _) => Some(Mark::Check),
            (_, Mark::Sure) => Some(Mark::Sure),
        };
    }
    found
}

/// Standards with their editions, each once, in the order of the rules.
pub fn standards(rules: &RuleSet) -> Vec<(&'static str, &'static str)> {
    let mut found = Vec::new();
    for rule in &rules.rules {
        let own = (rule.source.standard, rule.source.edition);
        if !own.0.is_empty() && !found.contains(&own) {
            found.push(own);
        }
    }
    found
}

/// A design with the figures of the chosen models where nothing else was typed.
pub fn with_models(design: &Design, equipment: Option<&Equipment>) -> Design {
    equipment.map_or_else(|| design.clone(), |equipment| with_equipment(design, equipment))
}

/// Modules of which the job file has a serial, as far as they say what was built.
pub fn modules_on_record(units: &[UnitView]) -> Option<i64> {
    let modules = units.iter().filter(|unit| unit.kind == UnitKind::Module);
    domain::design::modules_on_record(modules.map(|unit| (unit.new, unit.serial.is_some())))
}

/// What was built, as far as it is known.
pub fn as_built(now: &Design, units: &[UnitView]) -> Design {
    domain::design::as_built(now, modules_on_record(units))
}

/// The field with that key and its place among all.
pub fn field_at(key: &str) -> Option<(usize, &'static Field)> {
    FIELDS.iter().enumerate().find(|(_, field)| field.key == key)
}
