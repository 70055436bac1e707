//! One computed comparison, with everything that an electrician needs to redo it with a pocket calculator.

use std::collections::BTreeMap;

use super::judge::{Limit, Verdict, Why, judge};
use super::reading::ParsedReading;
use super::units::{Prefix, Quantity, Unit};

/// How certain a figure of a standard is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Mark {
    /// Well established.
    Sure,
    /// Compare with the edition in force before relying on it.
    Check,
    /// No standard says so; a firm may replace it.
    House,
}

/// Where a formula or limit comes from. Numbers and editions only, so no translation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Source {
    /// Empty when only the house says so.
    pub standard: &'static str,
    pub edition: &'static str,
    pub clause: &'static str,
    pub mark: Mark,
}

/// A limit with the unit of what it limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct CheckLimit {
    pub unit: Unit,
    pub limit: Limit,
}

impl CheckLimit {
    /// In which prefix people read it: insulation in megohms, a conductor in ohms.
    pub fn prefix(self) -> Prefix {
        const LARGE_MICRO: i64 = 100_000_000_000;
        let least = self.limit.at_least.unwrap_or(0);
        if self.unit == Unit::Ohm && least >= LARGE_MICRO { Prefix::Mega } else { Prefix::One }
    }
}

/// A remark that does not change the verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CheckNote {
    /// The local cap is stricter than the computed limit and was used.
    LocalCapUsed,
    /// Tested at 250 V, live conductors joined, because something sensitive stayed connected.
    ReducedTestVoltage,
    /// States of charge were neither read nor limited by the maker.
    SocNotCompared,
    /// Only the inverter's window was compared; no fuse, isolator or cable voltage was given.
    DeviceRatingsNotGiven,
    /// The stack would tip at this push without its bracket.
    TipsWithoutBracket,
    /// Other locations of the premises were not added.
    OtherLocationsApart,
    /// A minimum for unprotected conductors is larger than what the heat asks for.
    MechanicalMinimumUsed,
    /// Above 200 Ω an earth electrode may dry out.
    ElectrodeUnstable,
    /// Holds only while the source breaker stays at the far end, and is marked so.
    FarEndOnly,
    /// Less than the rule's distance, accepted by the authority.
    AuthorityAccepted,
    /// The maker's distance is not in the model's data.
    MakerDistanceMissing,
    /// No clearing time was given; two seconds were taken.
    ClearingTimeAssumed,
    /// An authority asks for the full rules of the road above this mass.
    FullTransportRules,
    /// The inverter alone cannot trip the breaker while the network is away.
    BreakerDoesNotTrip,
    /// No setting keeps the tool's whole error inside the maker's window.
    ToolCoarserThanWindow,
}

/// A band of failed readings whose cause is known by experience; millionths, inclusive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Cause {
    pub from: i64,
    pub to: i64,
    pub why: Why,
}

/// What else a reading must satisfy before "inside the limit" is a pass.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ReadingTerms {
    /// Below this the reading is not believed ([`Why::SuspiciouslyLow`]).
    pub doubtful_below: Option<i64>,
    /// A reading of zero or less needs recorded lead nulling, and none is recorded.
    pub zero_needs_null: bool,
    /// The test voltage must be recorded and at least this, in millionths of a volt.
    pub test_voltage_at_least: Option<i64>,
    /// The test voltage recorded apart from the reading, for readings that do not carry their own.
    pub test_voltage_recorded: Option<i64>,
    /// No limit, but below this the reading fails whatever the maker says.
    pub floor: Option<i64>,
    /// Why a failed reading failed.
    pub causes: &'static [Cause],
    /// Said in place of "no limit".
    pub limit_missing: Option<Why>,
}

/// A computed comparison.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Check {
    /// Number of the formula: `"F04"`.
    pub id: &'static str,
    /// Key of its title in the language files.
    pub title: &'static str,
    /// What went in, in order of the formula; a list repeats its key.
    pub inputs: Vec<(&'static str, Quantity)>,
    /// The formula with symbols.
    pub formula: &'static str,
    /// The same with numbers, decimal point, SI units without prefix.
    pub with_numbers: String,
    /// What came out, rounded to millionths before any comparison.
    pub results: Vec<(&'static str, Quantity)>,
    /// The limit of the reading or result, where there is one.
    pub limit: Option<CheckLimit>,
    pub terms: ReadingTerms,
    pub notes: Vec<CheckNote>,
    pub source: Source,
    /// Reasons of a fail that rest on a figure of this house only: no standard says so.
    pub house: &'static [Why],
    pub verdict: Verdict,
}

impl Check {
    /// The formula with its numbers; empty where nothing was computed and a question was only answered: yes, no, not here or open,
    /// which stands among the inputs in words.
    pub fn numbers(&self) -> &str {
        if matches!(self.with_numbers.as_str(), "0" | "1" | "2" | "?") { "" } else { &self.with_numbers }
    }

    /// The verdict is a fail that no standard asks for, only a figure of this house.
    pub fn fails_by_house_figure(&self) -> bool {
        matches!(self.verdict, Verdict::Fail(why) if self.house.contains(&why))
    }

    /// A result by its key.
    pub fn result(&self, key: &str) -> Option<Quantity> {
        self.results.iter().find(|(name, _)| *name == key).map(|(_, quantity)| *quantity)
    }

    /// The verdict on a reading by this check's limit and terms: the same rule that `verdict` followed when the reading
    /// was among the inputs.
    pub fn judge_reading(&self, reading: &ParsedReading) -> Verdict {
        let limit = match self.limit {
            Some(CheckLimit { unit, .. }) if reading.value.is_some_and(|value| value.unit != unit) => {
                return Verdict::NotDetermined(Why::UnitMismatch);
            }
            Some(CheckLimit { limit, .. }) => limit,
            None => Limit::default(),
        };
        if let (Some(floor), Some(_)) = (self.terms.floor, reading.value)
            && let failed @ Verdict::Fail(_) = judge(reading, &Limit::at_least(floor))
        {
            return failed;
        }
        let bands = self.terms.causes;
        match judge(reading, &limit) {
            Verdict::Fail(why) => Verdict::Fail(reading.value.map_or(why, |value| cause_of(bands, value.micro, why))),
            Verdict::NotDetermined(Why::NoLimit) => {
                Verdict::NotDetermined(self.terms.limit_missing.unwrap_or(Why::NoLimit))
            }
            Verdict::Pass => self.believe(reading),
            other @ (Verdict::NotDetermined(_) | Verdict::NotApplicable(_)) => other,
        }
    }

    /// A reading inside the limit can still be the wrong measurement.
    fn believe(&self, reading: &ParsedReading) -> Verdict {
        let micro = reading.value.map_or(0, |value| value.micro);
        if let Some(low) = self.terms.doubtful_below {
            match super::judge::judge_value(micro, reading.cmp, &Limit::at_least(low)) {
                Verdict::Pass => {}
                Verdict::Fail(_) | Verdict::NotDetermined(_) | Verdict::NotApplicable(_) => {
                    return Verdict::NotDetermined(Why::SuspiciouslyLow);
                }
            }
        }
        if self.terms.zero_needs_null && micro <= 0 {
            return Verdict::NotDetermined(Why::NullNotRecorded);
        }
        let used = reading.parts.test_voltage.map(|used| used.micro).or(self.terms.test_voltage_recorded);
        match (self.terms.test_voltage_at_least, used) {
            (None, _) => Verdict::Pass,
            (Some(_), None) => Verdict::NotDetermined(Why::TestVoltageMissing),
            (Some(least), Some(used)) if used < least => Verdict::NotDetermined(Why::TestVoltageTooLow),
            (Some(_), Some(_)) => Verdict::Pass,
        }
    }
}

/// The known cause of a failed value, else what the comparison said.
fn cause_of(bands: &[Cause], micro: i64, otherwise: Why) -> Why {
    bands.iter().find(|band| (band.from..=band.to).contains(&micro)).map_or(otherwise, |band| band.why)
}

/// The inputs of a check: key to values in millionths. Keys and units stand in
/// [`CheckInfo::inputs`](super::checks::CheckInfo); codes and counts are whole numbers times 1 000 000.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Inputs(BTreeMap<String, Vec<i64>>);

impl Inputs {
    pub fn new() -> Inputs {
        Inputs::default()
    }

    /// One value in place of any earlier ones.
    pub fn set(&mut self, key: &str, micro: i64) -> &mut Inputs {
        self.0.insert(key.to_string(), vec![micro]);
        self
    }

    /// One more value of a list.
    pub fn push(&mut self, key: &str, micro: i64) -> &mut Inputs {
        self.0.entry(key.to_string()).or_default().push(micro);
        self
    }

    /// The values under a key; empty when absent.
    pub fn list(&self, key: &str) -> &[i64] {
        self.0.get(key).map_or(&[], Vec::as_slice)
    }

    /// Every key that holds something, in order.
    pub fn keys(&self) -> impl Iterator<Item = &str> {
        self.0.iter().filter(|(_, values)| !values.is_empty()).map(|(key, _)| key.as_str())
    }
}

impl<'a> FromIterator<(&'a str, i64)> for Inputs {
    /// Repeated keys make a list.
    fn from_iter<I: IntoIterator<Item = (&'a str, i64)>>(pairs: I) -> Inputs {
        let mut inputs = Inputs::new();
        for (key, micro) in pairs {
            inputs.push(key, micro);
        }
        inputs
    }
}
