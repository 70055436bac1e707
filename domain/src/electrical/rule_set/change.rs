//! A firm's changes to a rule set.

use super::{Rule, RuleSet, Stricter, Topic};
use crate::electrical::units::{MICRO, Quantity};

/// Characters of a reason at most.
const REASON_CHARS_MAX: usize = 300;
/// A figure further than this many times from the built-in one is a slip of the unit.
const TIMES_MAX: i64 = 10;

/// Least and greatest time that a proof of dead may hold without a record at the boards, in millionths of a second: a quarter of an
/// hour, in which a step can be worked, and two hours.
pub const PROOF_SPAN: (i64, i64) = (900 * MICRO, 7_200 * MICRO);
/// The figure of a job that says it.
pub const PROOF_SPAN_KEY: &str = "proof_span_s";

/// One changed figure.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Change {
    /// Id of the rule.
    pub rule: String,
    /// The new figure in millionths of the rule's unit.
    pub micro: i64,
    /// Why; needed when a limit of a standard is loosened.
    #[serde(default)]
    pub reason: String,
}

/// Why a change is refused, with the rule's id.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ChangeFault {
    NoSuchRule(String),
    /// A prohibition, a demand or a choice between tables has no figure to change, and a figure that no check of ours
    /// uses would promise what nobody keeps.
    NoFigure(String),
    /// Looser than a standard says, and nobody said why.
    ReasonMissing(String),
    /// More words than a report has room for.
    ReasonTooLong(String),
    /// Not above zero, not whole where days are counted, or too far from the built-in figure.
    Implausible(String),
    /// The same rule twice.
    Twice(String),
}

impl ChangeFault {
    /// The stable code of the fault and the rule's id.
    pub fn code(&self) -> (&'static str, &str) {
        match self {
            Self::NoSuchRule(rule) => ("rule_unknown", rule),
            Self::NoFigure(rule) => ("rule_fixed", rule),
            Self::ReasonMissing(rule) => ("rule_reason_missing", rule),
            Self::ReasonTooLong(rule) => ("rule_reason_long", rule),
            Self::Implausible(rule) => ("rule_implausible", rule),
            Self::Twice(rule) => ("rule_twice", rule),
        }
    }
}

/// How a figure stands to the built-in one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compared {
    Same,
    Stricter,
    Looser,
}

/// A limit of a standard that a firm loosened; the report shows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Loosened {
    pub rule: &'static str,
    pub from: Quantity,
    pub to: Quantity,
    pub reason: String,
}

impl RuleSet {
    /// The rules whose figure a firm may change: those that get stricter one way and that a check of the sheet uses.
    pub fn adjustable(&self) -> impl Iterator<Item = &Rule> {
        self.rules.iter().filter(|rule| self.is_adjustable(rule))
    }

    /// Must agree with what [`crate::design::sheet()`] asks of the rules; a test changes each figure and looks.
    fn is_adjustable(&self, rule: &Rule) -> bool {
        let used = match rule.topic {
            // The rise takes the place of the drop at the inverter.
            Topic::Drop if rule.about == "ac" => self.find(Topic::Drop, "rise").is_none(),
            Topic::Drop => matches!(rule.about, "dc" | "rise"),
            // The battery's branch is a final circuit.
            Topic::Disconnection => rule.about.ends_with("_final"),
            Topic::EarthCap => rule.about == "main_earth",
            // The times stand in the formula, which is that of the device's standard.
            Topic::RcdTime => false,
            _ => true,
        };
        let above_zero = rule.value.is_some_and(|value| value.micro > 0);
        used && above_zero && rule.topic.stricter() != Stricter::Neither
    }

    /// These rules with a firm's changes on top, under the firm's own version.
    ///
    /// # Errors
    /// The first change that cannot be made; then none is.
    pub fn adapted(&self, firm_version: u32, changes: &[Change]) -> Result<RuleSet, ChangeFault> {
        let mut set = RuleSet { firm_version: Some(firm_version), ..self.clone() };
        for (index, change) in changes.iter().enumerate() {
            if changes[..index].iter().any(|before| before.rule == change.rule) {
                return Err(ChangeFault::Twice(change.rule.clone()));
            }
            let at = self.rules.iter().position(|rule| rule.id == change.rule);
            let at = at.ok_or_else(|| ChangeFault::NoSuchRule(change.rule.clone()))?;
            let (to, loosened) = self.changed(&self.rules[at], change)?;
            set.rules[at].value = Some(to);
            set.loosened.extend(loosened);
        }
        Ok(set)
    }

    fn changed(&self, rule: &Rule, change: &Change) -> Result<(Quantity, Option<Loosened>), ChangeFault> {
        let of_rule = || change.rule.clone();
        let from = rule.value.filter(|_| self.is_adjustable(rule)).ok_or_else(|| ChangeFault::NoFigure(of_rule()))?;
        let whole = rule.topic != Topic::Notice || change.micro % MICRO == 0;
        let (low, high) = match rule.topic {
            Topic::Notice => (0, from.micro.saturating_mul(TIMES_MAX)),
            Topic::ProofSpan => PROOF_SPAN,
            _ => (from.micro / TIMES_MAX, from.micro.saturating_mul(TIMES_MAX)),
        };
        if !whole || !(low..=high).contains(&change.micro) {
            return Err(ChangeFault::Implausible(of_rule()));
        }
        let reason = change.reason.trim();
        if reason.chars().count() > REASON_CHARS_MAX {
            return Err(ChangeFault::ReasonTooLong(of_rule()));
        }
        let to = Quantity::of(from.unit, change.micro);
        // A house figure of ours is nobody's standard; how long dead is believed is told all the same.
        let of_nobody = rule.source.standard.is_empty() && rule.topic != Topic::ProofSpan;
        if rule.compared(change.micro) != Compared::Looser || of_nobody {
            return Ok((to, None));
        }
        if reason.is_empty() {
            return Err(ChangeFault::ReasonMissing(of_rule()));
        }
        Ok((to, Some(Loosened { rule: rule.id, from, to, reason: reason.to_owned() })))
    }
}

impl Rule {
    /// How another figure stands to this rule's.
    pub fn compared(&self, micro: i64) -> Compared {
        let Some(own) = self.value.map(|value| value.micro).filter(|own| *own != micro) else { return Compared::Same };
        match self.topic.stricter() {
            Stricter::Smaller if micro < own => Compared::Stricter,
            Stricter::Larger if micro > own => Compared::Stricter,
            Stricter::Smaller | Stricter::Larger | Stricter::Neither => Compared::Looser,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Place;
    use super::*;

    fn change(rule: &str, micro: i64, reason: &str) -> Change {
        Change { rule: rule.to_owned(), micro, reason: reason.to_owned() }
    }

    fn after(changes: &[Change]) -> Result<RuleSet, ChangeFault> {
        RuleSet::of(Place::Uk).adapted(3, changes)
    }

    #[test]
    fn tightening_is_free_and_changes_the_name() {
        let set = after(&[change("UK-1M", 1_500_000, ""), change("UK-OTHER", 30_000_000_000, "")]).expect("allowed");
        assert_eq!(set.label(), "uk 1 firm 3");
        assert_eq!(set.rule("UK-1M").and_then(|rule| rule.value).map(|value| value.micro), Some(1_500_000));
        assert_eq!(set.loosened, []);
        // The built-in set did not move.
        assert_eq!(RuleSet::of(Place::Uk).label(), "uk 1");
    }

    #[test]
    fn loosening_a_standard_needs_a_reason_and_is_told() {
        let silent = after(&[change("UK-1M", 999_999, "  ")]);
        assert_eq!(silent, Err(ChangeFault::ReasonMissing("UK-1M".to_owned())));
        let said = after(&[change("UK-1M", 999_999, "agreed with the fire officer")]).expect("with a reason");
        assert_eq!(said.loosened.len(), 1);
        assert_eq!((said.loosened[0].from.micro, said.loosened[0].to.micro), (1_000_000, 999_999));
        // The same figure again is no loosening.
        assert_eq!(after(&[change("UK-1M", 1_000_000, "")]).map(|set| set.loosened.len()), Ok(0));
    }

    #[test]
    fn a_house_figure_may_go_either_way() {
        let wider = after(&[change("UK-DC-DROP", 2_000_000, "")]).expect("ours");
        assert_eq!(wider.loosened, []);
    }

    #[test]
    fn a_proof_of_dead_may_hold_for_less_or_with_a_reason_for_more() {
        let minutes = |minutes: i64, reason: &str| after(&[change("PROOF-SPAN", minutes * 60_000_000, reason)]);
        assert_eq!(minutes(15, "").map(|set| set.loosened), Ok(vec![]));
        assert_eq!(minutes(90, "").map(|_| ()), Err(ChangeFault::ReasonMissing("PROOF-SPAN".to_owned())));
        assert_eq!(minutes(120, "boards in a locked room").map(|set| set.loosened.len()), Ok(1));
        for far in [14, 121] {
            let implausible = Err(ChangeFault::Implausible("PROOF-SPAN".to_owned()));
            assert_eq!(minutes(far, "said").map(|_| ()), implausible, "{far} min");
        }
    }

    #[test]
    fn the_edges_of_what_is_believed() {
        let metre = |micro| after(&[change("UK-1M", micro, "said")]).map(|_| ());
        let implausible = Err(ChangeFault::Implausible("UK-1M".to_owned()));
        assert_eq!((metre(100_000), metre(10_000_000)), (Ok(()), Ok(())));
        assert_eq!((metre(99_999), metre(10_000_001)), (implausible.clone(), implausible.clone()));
        assert_eq!((metre(0), metre(i64::MIN)), (implausible.clone(), implausible));
        let days = |micro| after(&[change("UK-G98-B", micro, "")]).is_ok();
        assert!(days(0) && days(14_000_000) && !days(14_500_000) && !days(-1_000_000));
    }

    #[test]
    fn a_reason_has_an_end_and_a_rule_is_named_once() {
        let long = |chars: usize| after(&[change("UK-1M", 900_000, &"\u{fc}".repeat(chars))]).map(|_| ());
        assert_eq!(long(300), Ok(()));
        assert_eq!(long(301), Err(ChangeFault::ReasonTooLong("UK-1M".to_owned())));
        // Tightened first, so that the second one would seem to loosen from there only.
        let twice = [change("UK-1M", 2_000_000, ""), change("UK-1M", 900_000, "")];
        assert_eq!(after(&twice), Err(ChangeFault::Twice("UK-1M".to_owned())));
    }

    #[test]
    fn prohibitions_and_unknown_rules_stay() {
        assert_eq!(after(&[change("UK-LOFT", 1, "x")]), Err(ChangeFault::NoFigure("UK-LOFT".to_owned())));
        // No check of the sheet uses these.
        for unused in ["UK-DROP", "UK-DROP-LIGHT", "UK-TN-DIST", "UK-RCD-1", "UK-BOND", "UK-BAND-LOW"] {
            assert_eq!(after(&[change(unused, 1, "x")]), Err(ChangeFault::NoFigure(unused.to_owned())));
        }
        assert_eq!(after(&[change("UK-9M", 1, "x")]), Err(ChangeFault::NoSuchRule("UK-9M".to_owned())));
    }
}
