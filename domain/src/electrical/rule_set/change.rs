//! A firm's changes to a rule set.

use super::{Rule, RuleSet, Stricter};
use crate::electrical::units::Quantity;

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
    /// A prohibition, a demand or a choice between tables has no figure to change.
    NoFigure(String),
    /// Looser than a standard says, and nobody said why.
    ReasonMissing(String),
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
    /// These rules with a firm's changes on top, under the firm's own version.
    ///
    /// # Errors
    /// The first change that cannot be made; then none is.
    pub fn adapted(&self, firm_version: u32, changes: &[Change]) -> Result<RuleSet, ChangeFault> {
        let mut set = RuleSet { firm_version: Some(firm_version), ..self.clone() };
        for change in changes {
            let rule = set.rules.iter_mut().find(|rule| rule.id == change.rule);
            let rule = rule.ok_or_else(|| ChangeFault::NoSuchRule(change.rule.clone()))?;
            if let Some(loosened) = apply(rule, change)? {
                set.loosened.push(loosened);
            }
        }
        Ok(set)
    }
}

fn apply(rule: &mut Rule, change: &Change) -> Result<Option<Loosened>, ChangeFault> {
    let Some(from) = rule.value else { return Err(ChangeFault::NoFigure(change.rule.clone())) };
    let looser = match rule.topic.stricter() {
        Stricter::Smaller => change.micro > from.micro,
        Stricter::Larger => change.micro < from.micro,
        Stricter::Neither => return Err(ChangeFault::NoFigure(change.rule.clone())),
    };
    let to = Quantity::of(from.unit, change.micro);
    rule.value = Some(to);
    // A house figure of ours is nobody's standard.
    if !looser || rule.source.standard.is_empty() {
        return Ok(None);
    }
    let reason = change.reason.trim();
    if reason.is_empty() {
        return Err(ChangeFault::ReasonMissing(change.rule.clone()));
    }
    Ok(Some(Loosened { rule: rule.id, from, to, reason: reason.to_owned() }))
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
    fn prohibitions_and_unknown_rules_stay() {
        assert_eq!(after(&[change("UK-LOFT", 1, "x")]), Err(ChangeFault::NoFigure("UK-LOFT".to_owned())));
        assert_eq!(after(&[change("UK-9M", 1, "x")]), Err(ChangeFault::NoSuchRule("UK-9M".to_owned())));
    }
}
