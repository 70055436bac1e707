//! Rule sets: the figures and demands that depend on where a job is and which edition holds there, as data.
//!
//! Five sets lie in `data/*.toml`, each value with standard, edition, clause and mark. They are compiled in and read by a
//! small reader of our own ([`table`]), because the browser needs them without a network and a whole TOML library would
//! cost it more than all rules together; a test reads the same files with that library. **Never enters:** a published
//! current-capacity table, a maker's figure, a sentence for people (rules are named by their id and about-key).
//!
//! A firm's set is a built-in one with [`Change`]s on top ([`RuleSet::adapted`]): it may tighten freely; loosening what a
//! standard says needs a reason and is kept for the report. Its versions are [`FirmRules`]; [`RulesName`] is how a job names
//! one of them. A set is named by id and version for ever ([`RuleSet::label`]);
//! a changed figure is a new version, never an edit.
//!
//! Start with [`RuleSet::of`], then [`Topic`].

mod change;
mod edition;
mod firm;
mod notice;
mod table;

pub use change::{Change, ChangeFault, Compared, Loosened, PROOF_SPAN, PROOF_SPAN_KEY};
pub use edition::{Edition, Lapse};
pub use firm::{FirmRules, RulesName, newest};
pub use notice::{Basis, due};

use super::check::{Mark, Source};
use super::units::{Quantity, Unit};

/// Where a job is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Place {
    Us,
    Uk,
    Au,
    Nz,
    De,
    /// Nowhere in particular: IEC alone.
    Neutral,
}

impl Place {
    pub const ALL: [Place; 6] = [Place::Us, Place::Uk, Place::Au, Place::Nz, Place::De, Place::Neutral];

    /// The number for fire and ambulance. 112 and 911 lead there from any mobile phone (3GPP TS 22.101, 10.1): what is given where the
    /// place is none in particular.
    pub const fn emergency_number(self) -> &'static str {
        match self {
            Place::Us => "911",
            Place::Uk => "999",
            Place::Au => "000",
            Place::Nz => "111",
            Place::De | Place::Neutral => "112",
        }
    }

    /// The number that stands for it among design figures.
    pub fn code(self) -> i64 {
        match self {
            Place::Us => 1,
            Place::Uk => 2,
            Place::Au => 3,
            Place::Nz => 4,
            Place::De => 5,
            Place::Neutral => 9,
        }
    }

    pub fn from_code(code: i64) -> Option<Place> {
        Place::ALL.into_iter().find(|place| place.code() == code)
    }

    pub fn from_word(word: &str) -> Option<Place> {
        Place::ALL.into_iter().find(|place| place.word() == word)
    }

    /// The word in rule files, and the first one of a rule set's label.
    pub fn word(self) -> &'static str {
        match self {
            Place::Us => "us",
            Place::Uk => "uk",
            Place::Au => "au",
            Place::Nz => "nz",
            Place::De => "de",
            Place::Neutral => "neutral",
        }
    }
}

/// What a rule is about; each topic is used by one check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Topic {
    /// Greatest energy of one unit (F14).
    EnergyUnit,
    /// Greatest energy of a location (F14).
    EnergyLocation,
    /// Above it the authority asks for more (F14).
    EnergyDemand,
    /// The rules are made for systems from this energy on (F14).
    ScopeFrom,
    /// And up to this one (F14).
    ScopeTo,
    /// Each listed location is limited by itself (F14).
    LocationsApart,
    /// Least distance (F16).
    Distance,
    /// Not in such a place (F16).
    Prohibit,
    /// Something must be there (F16).
    Demand,
    /// Greatest voltage drop or rise (F02).
    Drop,
    /// Greatest disconnection time (F03, F10).
    Disconnection,
    /// C_min of the loop impedance (F10).
    VoltageFactor,
    /// Share of the limit that a cold measurement may reach (F10).
    ColdShare,
    /// Which trip multiples hold (F10).
    TripTable,
    /// Which row of the trip times holds (F11).
    RcdKind,
    /// Greatest trip time at a multiple of the rated current, for whoever reads the rules (F11).
    RcdTime,
    /// Which standard sizes and factors hold (F08).
    SizeSeries,
    /// Which busbar rule holds (F12).
    BusbarRule,
    /// Greatest resistance of a protective path (F04).
    EarthCap,
    /// Greatest current per phase for notice after connection (F17).
    NotifyThreshold,
    /// Greatest power drawn that need not be controllable (F17).
    DrawThreshold,
    /// Greatest power of single-phase units on a line conductor (F17-UNBALANCE).
    Unbalance,
    /// A notice or application with its deadline.
    Notice,
    /// A setting of the network protection.
    Protection,
    /// Band of the supply voltage, in per cent of nominal.
    VoltageBand,
    /// Nominal voltage of a dwelling's supply: to neutral, and between two lines.
    NominalVoltage,
    /// Band of the supply's frequency.
    FrequencyBand,
    /// Greatest mass of batteries in a vehicle under the small-load rule, for whoever reads the rules (F20).
    TransportMass,
    /// How long a proof of dead holds while nobody records anything at the boards.
    ProofSpan,
}

/// Which way a figure gets stricter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stricter {
    Smaller,
    Larger,
    /// A choice or a setting: any other value is another rule.
    Neither,
}

impl Topic {
    fn from_word(word: &str) -> Option<Topic> {
        Some(match word {
            "energy_unit" => Topic::EnergyUnit,
            "energy_location" => Topic::EnergyLocation,
            "energy_demand" => Topic::EnergyDemand,
            "scope_from" => Topic::ScopeFrom,
            "scope_to" => Topic::ScopeTo,
            "locations_apart" => Topic::LocationsApart,
            "distance" => Topic::Distance,
            "prohibit" => Topic::Prohibit,
            "demand" => Topic::Demand,
            "drop" => Topic::Drop,
            "disconnection" => Topic::Disconnection,
            "voltage_factor" => Topic::VoltageFactor,
            "cold_share" => Topic::ColdShare,
            "trip_table" => Topic::TripTable,
            "rcd_kind" => Topic::RcdKind,
            "rcd_time" => Topic::RcdTime,
            "size_series" => Topic::SizeSeries,
            "busbar_rule" => Topic::BusbarRule,
            "earth_cap" => Topic::EarthCap,
            "notify_threshold" => Topic::NotifyThreshold,
            "draw_threshold" => Topic::DrawThreshold,
            "unbalance" => Topic::Unbalance,
            "notice" => Topic::Notice,
            "protection" => Topic::Protection,
            "voltage_band" => Topic::VoltageBand,
            "nominal_voltage" => Topic::NominalVoltage,
            "frequency_band" => Topic::FrequencyBand,
            "transport_mass" => Topic::TransportMass,
            "proof_span" => Topic::ProofSpan,
            _ => return None,
        })
    }

    /// Which way its figure gets stricter.
    pub fn stricter(self) -> Stricter {
        match self {
            Topic::EnergyUnit
            | Topic::EnergyLocation
            | Topic::EnergyDemand
            | Topic::Drop
            | Topic::Disconnection
            | Topic::VoltageFactor
            | Topic::ColdShare
            | Topic::RcdTime
            | Topic::EarthCap
            | Topic::NotifyThreshold
            | Topic::DrawThreshold
            | Topic::Unbalance
            | Topic::Notice
            | Topic::ProofSpan => Stricter::Smaller,
            Topic::Distance => Stricter::Larger,
            Topic::ScopeFrom
            | Topic::ScopeTo
            | Topic::LocationsApart
            | Topic::Prohibit
            | Topic::Demand
            | Topic::TripTable
            | Topic::RcdKind
            | Topic::SizeSeries
            | Topic::BusbarRule
            | Topic::Protection
            | Topic::VoltageBand
            | Topic::NominalVoltage
            | Topic::FrequencyBand
            | Topic::TransportMass => Stricter::Neither,
        }
    }
}

/// One rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    pub id: &'static str,
    pub topic: Topic,
    /// What is measured, forbidden, demanded or filed: the key of a design figure, or the name of a form. For the energy of a location the
    /// condition on which it is allowed, if there is one.
    pub about: &'static str,
    /// The kinds of location for which it holds, with commas; empty for all. For a notice the route, `notify` or `consent`.
    pub at: &'static str,
    /// The cases in which it holds, with commas, where that is not always; the sheet knows what to ask for them.
    pub case: &'static str,
    pub value: Option<Quantity>,
    /// For a notice: how its days are counted.
    pub basis: Option<Basis>,
    pub source: Source,
    /// Since when and until when the edition of its source holds; absent for a house figure.
    pub days: Option<Edition>,
}

/// The rules of a place, possibly adapted by a firm.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RuleSet {
    pub id: &'static str,
    /// Of the built-in data; a changed figure is a new version.
    pub version: u32,
    /// Of the firm's changes on top.
    pub firm_version: Option<u32>,
    pub place: Place,
    pub rules: Vec<Rule>,
    /// Limits of a standard that the firm loosened, for the report.
    pub loosened: Vec<Loosened>,
}

const NEUTRAL: &str = include_str!("data/neutral.toml");
const UK: &str = include_str!("data/uk.toml");
const US: &str = include_str!("data/us.toml");
const AU_NZ: &str = include_str!("data/au-nz.toml");
const DE: &str = include_str!("data/de.toml");

/// The file of a place.
fn data(place: Place) -> &'static str {
    match place {
        Place::Us => US,
        Place::Uk => UK,
        Place::Au | Place::Nz => AU_NZ,
        Place::De => DE,
        Place::Neutral => NEUTRAL,
    }
}

impl RuleSet {
    /// The built-in rules of a place.
    pub fn of(place: Place) -> RuleSet {
        let read = table::read(data(place), place);
        let (id, version, rules) = read.expect("the tests read every file that is compiled in");
        RuleSet { id, version, firm_version: None, place, rules, loosened: Vec::new() }
    }

    /// The built-in rules of a place in one version; a released one stays here when a newer one comes.
    pub fn of_version(place: Place, version: u32) -> Option<RuleSet> {
        Some(RuleSet::of(place)).filter(|set| set.version == version)
    }

    /// How every verdict and every job names these rules: `uk 1`, `uk 1 firm 3`.
    pub fn label(&self) -> String {
        match self.firm_version {
            None => format!("{} {}", self.id, self.version),
            // By the place: two places that share a file have firm's versions of their own.
            Some(_) => RulesName { place: self.place, version: self.version, firm_version: self.firm_version }.label(),
        }
    }

    /// The rules of a topic, in file order.
    pub fn about(&self, topic: Topic) -> impl Iterator<Item = &Rule> {
        self.rules.iter().filter(move |rule| rule.topic == topic)
    }

    /// The first rule of a topic whose about-key fits.
    pub fn find(&self, topic: Topic, about: &str) -> Option<&Rule> {
        self.about(topic).find(|rule| rule.about == about)
    }

    /// A figure of a topic that has only one.
    pub fn figure(&self, topic: Topic) -> Option<i64> {
        self.about(topic).next().and_then(|rule| rule.value).map(|value| value.micro)
    }

    /// The rule with that id.
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules.iter().find(|rule| rule.id == id)
    }
}

impl Rule {
    /// Whether it holds for a kind of location.
    pub fn holds_at(&self, location: &str) -> bool {
        self.at.is_empty() || self.at.split(',').any(|one| one.trim() == location)
    }

    /// Whether this is one of the cases that it names.
    pub fn holds_in(&self, case: &str) -> bool {
        self.case.split(',').any(|one| one.trim() == case)
    }
}

fn mark(word: &str) -> Option<Mark> {
    Some(match word {
        "sure" => Mark::Sure,
        "check" => Mark::Check,
        "house" => Mark::House,
        _ => return None,
    })
}

fn quantity(unit: &str, value: &str) -> Option<Quantity> {
    Quantity::parse(Unit::from_name(unit)?, value, '.').ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_can_be_read_and_names_its_sources() {
        for place in Place::ALL {
            let set = RuleSet::of(place);
            assert!(set.rules.len() >= 15, "{}: {}", set.id, set.rules.len());
            for (index, rule) in set.rules.iter().enumerate() {
                assert!(set.rules[index + 1..].iter().all(|other| other.id != rule.id), "{} twice", rule.id);
                let named = !rule.source.standard.is_empty() && !rule.source.edition.is_empty();
                assert!(named || rule.source.mark == Mark::House, "{} has no source", rule.id);
                let needs_value = !matches!(rule.topic, Topic::Prohibit | Topic::Demand | Topic::Notice);
                assert!(rule.value.is_some() || !needs_value, "{} has no value", rule.id);
                assert_eq!(rule.basis.is_some(), rule.topic == Topic::Notice, "{}", rule.id);
            }
            assert_eq!(Place::from_code(place.code()), Some(place));
        }
        assert_eq!(RuleSet::of(Place::Neutral).label(), "neutral 1");
    }

    #[test]
    fn figures_of_the_facts() {
        let metres = |place, id: &str| RuleSet::of(place).rule(id).and_then(|rule| rule.value).map(Quantity::plain);
        for (place, id, value) in [
            (Place::Us, "US-3FT-O", "0.914"),
            (Place::Us, "US-CLOSET", "40000"),
            (Place::Us, "US-DET", "80000"),
            (Place::Uk, "UK-1M", "1"),
            (Place::Uk, "UK-2M", "2"),
            (Place::Uk, "UK-OTHER", "40000"),
            (Place::Uk, "UK-G98", "16"),
            (Place::Uk, "UK-CMIN", "0.95"),
            (Place::Au, "AU-600-WIN", "0.6"),
            (Place::Au, "AU-900-UP", "0.9"),
            (Place::De, "DE-ELT", "20000"),
            (Place::De, "DE-14A", "4200"),
            (Place::Neutral, "IEC-TN-FINAL", "0.4"),
            (Place::Neutral, "IEC-TT-FINAL", "0.2"),
        ] {
            assert_eq!(metres(place, id).as_deref(), Some(value), "{id}");
        }
    }

    #[test]
    fn australia_and_new_zealand_share_a_file_and_differ() {
        let (au, nz) = (RuleSet::of(Place::Au), RuleSet::of(Place::Nz));
        assert_eq!((au.id, nz.id), ("au-nz", "au-nz"));
        assert_eq!(au.figure(Topic::RcdKind), Some(4_000_000));
        assert_eq!(nz.figure(Topic::RcdKind), Some(5_000_000));
    }

    #[test]
    fn trip_times_of_the_rules_are_those_of_the_formula() {
        use crate::electrical::{Inputs, compute};
        for place in Place::ALL {
            let set = RuleSet::of(place);
            let Some(kind) = set.figure(Topic::RcdKind) else { continue };
            for rule in set.about(Topic::RcdTime) {
                let multiple = quantity("count", rule.about).expect("the about-key is the multiple").micro;
                let inputs: Inputs = [("rcd_kind", kind), ("test_multiple", multiple)].into_iter().collect();
                let check = compute("F11", &inputs).expect("the row exists");
                let most = check.limit.and_then(|limit| limit.limit.at_most);
                assert_eq!(most, rule.value.map(|value| value.micro), "{}", rule.id);
            }
        }
    }

    #[test]
    fn the_mass_on_the_road_is_that_of_the_formula_where_it_is_law() {
        use crate::electrical::{Inputs, compute};
        let inputs: Inputs = [("article_mass", 1)].into_iter().collect();
        let most = compute("F20", &inputs).expect("complete").limit.and_then(|limit| limit.limit.at_most);
        for place in Place::ALL {
            let expected = matches!(place, Place::Uk | Place::De).then_some(most).flatten();
            assert_eq!(RuleSet::of(place).figure(Topic::TransportMass), expected, "{place:?}");
        }
    }

    #[test]
    fn a_rule_for_some_locations() {
        let uk = RuleSet::of(Place::Uk);
        let rule = uk.rule("UK-1M").expect("it is there");
        assert!(rule.holds_at("outdoor_wall") && !rule.holds_at("indoor"));
        assert!(uk.rule("UK-LOFT").expect("it is there").holds_at("indoor"));
    }
}
