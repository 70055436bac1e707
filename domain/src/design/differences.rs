//! Planned against as built: what changed, and which checks changed their verdict for it.

use super::inputs::Design;
use super::sheet::{Line, Sheet, sheet};
use crate::electrical::rule_set::RuleSet;
use crate::electrical::{CheckLimit, Verdict};

/// A figure that is not what was planned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Changed {
    pub key: String,
    pub planned: Option<i64>,
    pub built: Option<i64>,
}

/// A check that ends otherwise than it did; `None` where it is not on that sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChangedVerdict {
    pub key: &'static str,
    pub planned: Option<Verdict>,
    pub built: Option<Verdict>,
}

/// A limit for a measurement that is another one now; what was measured must be judged again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChangedLimit {
    pub key: &'static str,
    pub planned: Option<CheckLimit>,
    pub built: Option<CheckLimit>,
}

/// Everything that the visit changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Differences {
    /// By rule set and version: both sheets are computed by the same one.
    pub rules: String,
    pub figures: Vec<Changed>,
    pub verdicts: Vec<ChangedVerdict>,
    pub limits: Vec<ChangedLimit>,
    /// The sheet of what was built.
    pub built: Sheet,
}

/// Compares two designs by the rule set of the job.
pub fn differences(planned: &Design, built: &Design, rules: &RuleSet) -> Differences {
    let keys: std::collections::BTreeSet<&str> = planned.values().chain(built.values()).map(|(key, _)| key).collect();
    let figures = keys
        .into_iter()
        .filter(|key| planned.get(key) != built.get(key))
        .map(|key| Changed { key: key.to_owned(), planned: planned.get(key), built: built.get(key) })
        .collect();
    let (before, after) = (sheet(planned, rules), sheet(built, rules));
    let verdict = |lines: &[Line], key: &str| lines.iter().find(|line| line.key == key).map(Line::verdict);
    let verdicts = keys_of(&before.lines, &after.lines)
        .map(|key| ChangedVerdict { key, planned: verdict(&before.lines, key), built: verdict(&after.lines, key) })
        .filter(|changed| changed.planned != changed.built)
        .collect();
    let limit = |lines: &[Line], key: &str| lines.iter().find(|line| line.key == key)?.check()?.limit;
    let limits = keys_of(&before.limits, &after.limits)
        .map(|key| ChangedLimit { key, planned: limit(&before.limits, key), built: limit(&after.limits, key) })
        .filter(|changed| changed.planned != changed.built)
        .collect();
    Differences { rules: rules.label(), figures, verdicts, limits, built: after }
}

/// The keys of both sheets, those planned first.
fn keys_of<'a>(before: &'a [Line], after: &'a [Line]) -> impl Iterator<Item = &'static str> + 'a {
    let new = after.iter().filter(|line| before.iter().all(|known| known.key != line.key));
    before.iter().chain(new).map(|line| line.key)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::electrical::judge::Why;
    use crate::electrical::rule_set::Place;

    #[test]
    fn a_longer_cable_is_told_with_what_it_changes() {
        let planned = Design::parse(
            "phases = 1\nac_nominal_v = 230\ninverter_w = 3680\nac_cable_size_mm2 = 4\nac_cable_length_m = 12\nmodules = 5",
        );
        let planned = planned.expect("well formed");
        let mut built = planned.clone();
        built.set("ac_cable_length_m", 40_000_000).set("modules", 6_000_000).set("stacks", 1_000_000);
        let found = differences(&planned, &built, &RuleSet::of(Place::Neutral));
        let figures: Vec<_> = found.figures.iter().map(|changed| changed.key.as_str()).collect();
        assert_eq!(figures, ["ac_cable_length_m", "modules", "stacks"]);
        assert_eq!(found.figures[2].planned, None);
        let drop = found
            .verdicts
            .iter()
            .find(|changed| changed.key == "ac_drop")
            .map(|changed| (changed.planned, changed.built));
        assert_eq!(drop, None, "twelve and forty metres are both within 5 %");
        built.set("ac_cable_length_m", 80_000_000);
        let found = differences(&planned, &built, &RuleSet::of(Place::Neutral));
        let drop = found
            .verdicts
            .iter()
            .find(|changed| changed.key == "ac_drop")
            .map(|changed| (changed.planned, changed.built));
        assert_eq!(drop, Some((Some(Verdict::Pass), Some(Verdict::Fail(Why::DropTooHigh)))));
    }

    #[test]
    fn the_same_design_has_no_differences() {
        let design = Design::parse("modules = 5").expect("well formed");
        let found = differences(&design, &design, &RuleSet::of(Place::Uk));
        assert_eq!((found.figures.len(), found.verdicts.len()), (0, 0));
        assert_eq!(found.rules, "uk 1");
    }
}
