//! One value against one limit. Missing pieces give "not determined", never a pass.

use super::reading::{Cmp, Note, ParsedReading, Quality};

/// What is allowed, in millionths of the reading's unit; both ends inclusive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Limit {
    pub at_least: Option<i64>,
    pub at_most: Option<i64>,
}

impl Limit {
    pub const fn at_least(micro: i64) -> Limit {
        Limit { at_least: Some(micro), at_most: None }
    }

    pub const fn at_most(micro: i64) -> Limit {
        Limit { at_least: None, at_most: Some(micro) }
    }

    pub const fn between(low: i64, high: i64) -> Limit {
        Limit { at_least: Some(low), at_most: Some(high) }
    }

    /// As it is told to people: each end to as many digits as instruments on site show, rounded to the strict side, so that nobody who reads it
    /// takes for allowed what is not. A window that would close by that is told as it is.
    pub fn shown(self) -> Self {
        let shown = Self {
            at_least: self.at_least.map(|least| floor_of_digits(least.saturating_neg()).saturating_neg()),
            at_most: self.at_most.map(floor_of_digits),
        };
        match (shown.at_least, shown.at_most) {
            (Some(least), Some(most)) if least > most => self,
            _ => shown,
        }
    }

    /// Neither end is known.
    pub fn is_empty(&self) -> bool {
        self.at_least.is_none() && self.at_most.is_none()
    }
}

/// So many digits an instrument on site shows.
const DIGITS_SHOWN: u32 = 4;

/// The greatest value of so many digits that is not above this one.
fn floor_of_digits(micro: i64) -> i64 {
    let digits = micro.unsigned_abs().checked_ilog10().map_or(1, |log| log + 1);
    let step = 10_i64.pow(digits.saturating_sub(DIGITS_SHOWN));
    // What lies at the very end of the numbers is no limit of anything.
    micro.div_euclid(step).checked_mul(step).unwrap_or(micro)
}

/// The outcome of a comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    Pass,
    Fail(Why),
    /// A person must decide or add what is missing.
    NotDetermined(Why),
    NotApplicable(Why),
}

/// The reason beside a [`Verdict`]; the interface has the words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Why {
    BelowMinimum,
    AboveMaximum,
    /// A protective conductor or bus line does not conduct at all.
    OpenCircuit,
    PolarityReversed,
    /// A `<` or `>` reading that the limit cuts through.
    BoundTooWide,
    NoReading,
    NotTested,
    /// Nothing is known to compare with.
    NoLimit,
    /// The place has no rule of that kind.
    NoSuchRule,
    /// Only the maker can state it, and it is not in the model's data.
    NoMakerLimit,
    AmbiguousReading,
    InvalidReading,
    UnitMismatch,
    OutsideSanity,
    /// Over-range, and nobody said where the instrument's range ends.
    RangeTopUnknown,
    /// Lower than the conductor can be: other path, or leads nulled twice.
    SuspiciouslyLow,
    /// Zero ohms means something only when the leads were nulled.
    NullNotRecorded,
    TestVoltageMissing,
    TestVoltageTooLow,
    /// No insulation tester on a battery unless its maker allows it.
    MakerMustAllow,
    /// The computation has a result and nothing to compare it with.
    NothingToCompare,
    SingleModule,
    SocSpread,
    /// Equalising current above the weakest part.
    CurrentTooHigh,
    CurrentNotEstimated,
    BelowWindow,
    AboveWindow,
    AboveDeviceRating,
    FuseTooSmall,
    AboveCableRating,
    AboveMakerFuse,
    VoltageRatingTooLow,
    BreakingCapacityTooLow,
    RatingMissing,
    UnitTooLarge,
    LocationTooLarge,
    OutsideScope,
    /// Allowed, with a further demand by the authority.
    ExtraRequirement,
    /// The edition does not say whether locations add up.
    EditionUnclear,
    ShortCircuit,
    TerminatorMissing,
    TooManyTerminators,
    NoTerminators,
    CauseUnknown,
    ConductorTooSmall,
    /// Cleared so fast that only the device's own let-through tells the heat.
    LetThroughNeeded,
    DropTooHigh,
    /// A residual-current device tripped at half of its rated current.
    TrippedBelowRated,
    /// Smooth direct fault current would blind this type.
    RcdTypeUnsuitable,
    BusbarOverloaded,
    /// The rule holds only with the source at the far end of the busbar, and nobody said where it sits.
    PositionUnknown,
    /// More is asked than the inverter gives.
    Overloaded,
    RuntimeTooShort,
    /// This anchor was not tested for this wall.
    AnchorNotTested,
    /// Too near an edge or another anchor for its full capacity.
    AnchorSpacing,
    LocationProhibited,
    TooClose,
    /// Allowed only once the authority accepted it.
    AuthorityMustAccept,
    RequirementNotMet,
    RequirementOpen,
    /// Somebody answered that the case of the rule is not given here; the answer names what is there instead.
    DoesNotApply,
    /// The rule is about a supply while the network is away, and the design has none.
    NoBackup,
    /// The rules of the place say nothing of it, and those of another place are no law there.
    NoRuleHere,
    /// The network operator must agree before the system is switched on.
    ConsentNeeded,
    /// Heat of an arc at or above the screening level.
    ArcProtectionNeeded,
    /// Damaged goods have transport rules of their own; a safety adviser decides.
    DamagedGoods,
}

/// A parsed reading against a limit in the same unit.
pub fn judge(reading: &ParsedReading, limit: &Limit) -> Verdict {
    match &reading.quality {
        Quality::Ok | Quality::OverRange => {}
        Quality::Ambiguous { .. } => return Verdict::NotDetermined(Why::AmbiguousReading),
        Quality::Invalid { .. } => return Verdict::NotDetermined(Why::InvalidReading),
        Quality::NotTested => return Verdict::NotDetermined(Why::NotTested),
        Quality::UnitMismatch { .. } => return Verdict::NotDetermined(Why::UnitMismatch),
        Quality::OutsideSanity => return Verdict::NotDetermined(Why::OutsideSanity),
    }
    if reading.has(Note::PolarityReversed) {
        return Verdict::Fail(Why::PolarityReversed);
    }
    if reading.has(Note::OpenCircuit) {
        return Verdict::Fail(Why::OpenCircuit);
    }
    match reading.value {
        Some(value) => judge_value(value.micro, reading.cmp, limit),
        None if reading.quality == Quality::OverRange => Verdict::NotDetermined(Why::RangeTopUnknown),
        None => Verdict::NotDetermined(Why::NoReading),
    }
}

/// A value with its comparison sign. `>` and `<` are strict: a `>300` is above an allowed 300.
pub fn judge_value(micro: i64, cmp: Cmp, limit: &Limit) -> Verdict {
    if limit.is_empty() {
        return Verdict::NotDetermined(Why::NoLimit);
    }
    // What is known of the true value: it lies between these two, which `None` leaves open.
    let (low, high) = match cmp {
        Cmp::Equal => (Some(micro), Some(micro)),
        Cmp::Greater => (Some(micro), None),
        Cmp::Less => (None, Some(micro)),
    };
    if let (Some(least), Some(high)) = (limit.at_least, high)
        && (high < least || (high == least && cmp == Cmp::Less))
    {
        return Verdict::Fail(Why::BelowMinimum);
    }
    if let (Some(most), Some(low)) = (limit.at_most, low)
        && (low > most || (low == most && cmp == Cmp::Greater))
    {
        return Verdict::Fail(Why::AboveMaximum);
    }
    let least_holds = limit.at_least.is_none_or(|least| low.is_some_and(|low| low >= least));
    let most_holds = limit.at_most.is_none_or(|most| high.is_some_and(|high| high <= most));
    if least_holds && most_holds { Verdict::Pass } else { Verdict::NotDetermined(Why::BoundTooWide) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_is_told_with_four_digits_on_the_strict_side() {
        let shown = |limit: Limit| (limit.shown().at_least, limit.shown().at_most);
        assert_eq!(shown(Limit::at_most(9_574_468)), (None, Some(9_574_000)));
        assert_eq!(shown(Limit::at_least(9_574_468)), (Some(9_575_000), None));
        assert_eq!(shown(Limit::between(-43_561, 43_561)), (Some(-43_560), Some(43_560)));
        assert_eq!(shown(Limit::at_most(-9_574_468)), (None, Some(-9_575_000)));
        for exact in [0, 7, 43_600, 253_000_000, 20_000_000_000, -500_000_000] {
            assert_eq!(shown(Limit::between(exact, exact)), (Some(exact), Some(exact)));
        }
        let narrow = Limit::between(9_574_100, 9_574_900);
        assert_eq!(narrow.shown(), narrow, "it would close");
        assert_eq!(shown(Limit::between(i64::MIN + 1, i64::MAX)).1, Some(9_223_000_000_000_000_000));
        assert_eq!(Limit::default().shown(), Limit::default());
    }

    #[test]
    fn equal_is_inclusive_at_both_ends() {
        let limit = Limit::between(54, 66);
        for (value, verdict) in [
            (53, Verdict::Fail(Why::BelowMinimum)),
            (54, Verdict::Pass),
            (66, Verdict::Pass),
            (67, Verdict::Fail(Why::AboveMaximum)),
        ] {
            assert_eq!(judge_value(value, Cmp::Equal, &limit), verdict, "{value}");
        }
        assert_eq!(judge_value(1, Cmp::Equal, &Limit::default()), Verdict::NotDetermined(Why::NoLimit));
    }

    #[test]
    fn bounds_decide_only_what_they_can() {
        let unsure = Verdict::NotDetermined(Why::BoundTooWide);
        let least = Limit::at_least(100);
        assert_eq!(judge_value(100, Cmp::Greater, &least), Verdict::Pass);
        assert_eq!(judge_value(99, Cmp::Greater, &least), unsure);
        assert_eq!(judge_value(100, Cmp::Less, &least), Verdict::Fail(Why::BelowMinimum));
        assert_eq!(judge_value(101, Cmp::Less, &least), unsure);
        let most = Limit::at_most(300);
        assert_eq!(judge_value(300, Cmp::Less, &most), Verdict::Pass);
        assert_eq!(judge_value(301, Cmp::Less, &most), unsure);
        assert_eq!(judge_value(300, Cmp::Greater, &most), Verdict::Fail(Why::AboveMaximum));
        assert_eq!(judge_value(299, Cmp::Greater, &most), unsure);
        let selective = Limit::between(130, 500);
        assert_eq!(judge_value(300, Cmp::Less, &selective), unsure);
        assert_eq!(judge_value(501, Cmp::Greater, &selective), Verdict::Fail(Why::AboveMaximum));
        assert_eq!(judge_value(130, Cmp::Less, &selective), Verdict::Fail(Why::BelowMinimum));
    }
}
