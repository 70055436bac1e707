//! Which forms go where, and until when.

use super::sheet::Line;
use crate::electrical::rule_set::{Basis, RuleSet, Topic};
use crate::electrical::{Source, Verdict, judge::Why, units::MICRO};

/// One notice or application.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoticeLine {
    /// The rule's id.
    pub rule: &'static str,
    /// The form by its own name.
    pub form: &'static str,
    /// Days or months after commissioning, by the basis; none before it.
    pub count: u16,
    pub basis: Basis,
    pub source: Source,
}

/// The notices of the route that the design takes; both routes while that is open.
pub(super) fn notices(rules: &RuleSet, lines: &[Line]) -> Vec<NoticeLine> {
    let route = lines.iter().find(|line| line.key == "grid_route");
    let consent_first = route.map(|line| match line.verdict() {
        Verdict::Pass => within(line).map(|within| !within),
        Verdict::Fail(_) | Verdict::NotDetermined(Why::ConsentNeeded) => Some(true),
        Verdict::NotDetermined(_) | Verdict::NotApplicable(_) => None,
    });
    let consent_first = consent_first.flatten();
    let wanted = |at: &str| match (at, consent_first) {
        ("notify", Some(first)) => !first,
        ("consent", Some(first)) => first,
        (_, _) => true,
    };
    let of_route = rules.about(Topic::Notice).filter(|rule| wanted(rule.at));
    of_route
        .filter_map(|rule| {
            Some(NoticeLine {
                rule: rule.id,
                form: rule.about,
                count: rule.value.and_then(|value| u16::try_from(value.micro / MICRO).ok()).unwrap_or(0),
                basis: rule.basis?,
                source: rule.source,
            })
        })
        .collect()
}

/// Whether the current is within the threshold; a granted consent alone does not say which route it was.
fn within(line: &Line) -> Option<bool> {
    let check = line.check()?;
    let most = check.limit?.limit.at_most?;
    check.result("phase_current").map(|current| current.micro <= most)
}
