//! A firm's own rule sets, and how a job names the rules that judge it.

use super::{Change, ChangeFault, Place, RuleSet};

/// One version of a firm's rules for a place: a built-in set with changes on top. It never changes; a change is the next
/// version, and all versions stay, because jobs name them.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct FirmRules {
    /// The place's word. A text, so that a place of a newer server does not make all reference data unreadable.
    pub place: String,
    /// From 1; each place counts by itself.
    pub version: u32,
    /// Version of the built-in set beneath.
    pub base: u32,
    /// All of them; none when it is a plain copy.
    pub changes: Vec<Change>,
}

impl FirmRules {
    /// The rules themselves; `None` for a place or a built-in version that is not compiled in.
    ///
    /// # Errors
    /// The first change that cannot be made.
    pub fn rules(&self) -> Result<Option<RuleSet>, ChangeFault> {
        let place = Place::from_word(&self.place);
        let Some(base) = place.and_then(|place| RuleSet::of_version(place, self.base)) else { return Ok(None) };
        base.adapted(self.version, &self.changes).map(Some)
    }

    /// How a job names it.
    pub fn named(&self) -> Option<RulesName> {
        let place = Place::from_word(&self.place)?;
        Some(RulesName { place, version: self.base, firm_version: Some(self.version) })
    }
}

/// The newest version for each place, in the order of [`Place::ALL`].
pub fn newest(own: &[FirmRules]) -> Vec<&FirmRules> {
    let of = |place: Place| own.iter().filter(|one| one.place == place.word()).max_by_key(|one| one.version);
    Place::ALL.into_iter().filter_map(of).collect()
}

/// Which rules a job is judged by: `uk 1`, `uk 1 firm 3`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RulesName {
    pub place: Place,
    /// Of the built-in set.
    pub version: u32,
    /// Of the firm's own on top.
    pub firm_version: Option<u32>,
}

impl RulesName {
    /// The built-in rules of a place as they are now.
    pub fn built_in(place: Place) -> Self {
        Self { place, version: RuleSet::of(place).version, firm_version: None }
    }

    /// Reads [`Self::label`].
    pub fn parse(label: &str) -> Option<Self> {
        let mut words = label.split(' ');
        let place = Place::from_word(words.next()?)?;
        let version = words.next()?.parse().ok()?;
        let firm_version = match (words.next(), words.next(), words.next()) {
            (None, ..) => None,
            (Some("firm"), Some(number), None) => Some(number.parse().ok()?),
            _ => return None,
        };
        Some(Self { place, version, firm_version })
    }

    /// As a job file has it.
    pub fn label(self) -> String {
        let own = self.firm_version.map_or_else(String::new, |version| format!(" firm {version}"));
        format!("{} {}{own}", self.place.word(), self.version)
    }

    /// The rules themselves. Of the built-in ones the present version, which a sheet tells; of a firm's exactly the one named,
    /// or `None`: another one would judge by figures that nobody agreed to.
    pub fn find(self, own: &[FirmRules]) -> Option<RuleSet> {
        match self.firm_version {
            None => Some(RuleSet::of(self.place)),
            Some(_) => own.iter().find(|one| one.named() == Some(self))?.rules().ok().flatten(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn own(version: u32, micro: i64) -> FirmRules {
        let change = Change { rule: "UK-1M".to_owned(), micro, reason: String::new() };
        FirmRules { place: "uk".to_owned(), version, base: 1, changes: vec![change] }
    }

    #[test]
    fn a_label_leads_back_to_its_name() {
        for place in Place::ALL {
            for firm_version in [None, Some(7)] {
                let name = RulesName { place, version: 1, firm_version };
                assert_eq!(RulesName::parse(&name.label()), Some(name));
            }
        }
        for wrong in ["", "uk", "uk x", "atlantis 1", "uk 1 firm", "uk 1 house 2", "uk 1 firm 2 3", "uk 1 firm -1"] {
            assert_eq!(RulesName::parse(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn an_old_job_keeps_its_version() {
        let all = [own(1, 1_200_000), own(2, 1_500_000)];
        let metres = |label: &str| {
            let set = RulesName::parse(label)?.find(&all)?;
            set.rule("UK-1M")?.value.map(|value| value.micro)
        };
        assert_eq!(metres("uk 1"), Some(1_000_000));
        assert_eq!(metres("uk 1 firm 1"), Some(1_200_000));
        assert_eq!(metres("uk 1 firm 2"), Some(1_500_000));
        // Never another one in its place.
        assert_eq!(metres("uk 1 firm 3"), None);
        assert_eq!(metres("uk 2 firm 2"), None);
        assert_eq!(metres("de 1 firm 2"), None);
        assert_eq!(newest(&all), [&all[1]]);
    }

    #[test]
    fn a_set_of_a_newer_server_is_passed_over() {
        let place = FirmRules { place: "atlantis".to_owned(), ..own(1, 1_200_000) };
        assert_eq!(place.rules(), Ok(None));
        assert_eq!(FirmRules { base: 2, ..own(1, 1_200_000) }.rules(), Ok(None));
        assert!(newest(&[place]).is_empty());
    }
}
