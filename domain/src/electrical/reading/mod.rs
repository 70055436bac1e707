//! Typed or displayed readings: from what a person put in the box to a value, a comparison sign and a quality.
//!
//! The text is judged as it stands: nothing is corrected silently. Where two readings are possible both are offered,
//! where a slip is likely the likely value is suggested, and a person chooses. **Never enters:** limits (see
//! [`judge`](mod@super::judge)) and words for people.
//!
//! Start with [`parse_reading`]; `number` reads digits, `suffix` units, `compound` what is more than one number and one
//! unit, `customary` gauges, inches and hours.

mod clean;
mod compound;
mod customary;
#[cfg(test)]
mod locale_tests;
mod number;
mod suffix;
#[cfg(test)]
mod tests;

use super::units::{Prefix, Quantity, Unit, possible_to_read};

/// What the number is about; some texts mean different things in different boxes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum QuantityKind {
    SupplyVoltage,
    Frequency,
    ProveDead,
    /// Sign is polarity.
    ModuleVoltage,
    /// Sign is polarity.
    StackVoltage,
    StateOfCharge,
    Temperature,
    TemperatureDifference,
    /// Protective conductors; over-range is an open circuit.
    Continuity,
    LeadNull,
    Insulation,
    LoopImpedance,
    ProspectiveCurrent,
    RcdTime,
    RcdCurrent,
    EarthElectrode,
    Torque,
    /// Between the data lines; over-range is an open circuit.
    BusResistance,
    Clearance,
    Level,
    Power,
    Energy,
    Duration,
    NeutralEarthVoltage,
    Leakage,
    ConductorSize,
    Other,
}

/// The box that the text was typed into.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FieldSpec {
    pub unit: Unit,
    pub kind: QuantityKind,
    /// The prefix printed beside the box: a bare number is in these (MΩ, ms, mm).
    pub entry: Prefix,
    /// Plausible range in millionths, inclusive: a net for typing errors, never a limit.
    pub sanity_min: i64,
    pub sanity_max: i64,
    /// Where the instrument's range ends, if it is known; gives over-range a lower bound.
    pub range_top: Option<i64>,
}

impl FieldSpec {
    /// A field of a method file, which states unit, prefix and range but no kind. The kind follows from them: ohms typed
    /// in MΩ are insulation, seconds typed in ms are a trip time, volts that may be negative carry a polarity.
    pub fn plain(unit: Unit, entry: Prefix, sanity_min: i64, sanity_max: i64) -> FieldSpec {
        let kind = match unit {
            Unit::Ohm if entry >= Prefix::Mega => QuantityKind::Insulation,
            Unit::Ohm => QuantityKind::Continuity,
            Unit::Second if entry == Prefix::Milli => QuantityKind::RcdTime,
            Unit::Second => QuantityKind::Duration,
            Unit::Volt if sanity_min < 0 => QuantityKind::ModuleVoltage,
            Unit::Percent if sanity_min == 0 && sanity_max == 100_000_000 => QuantityKind::StateOfCharge,
            Unit::Metre => QuantityKind::Clearance,
            Unit::NewtonMetre => QuantityKind::Torque,
            Unit::Celsius => QuantityKind::Temperature,
            Unit::SquareMillimetre => QuantityKind::ConductorSize,
            Unit::Count
            | Unit::Volt
            | Unit::Ampere
            | Unit::Watt
            | Unit::WattHour
            | Unit::Hertz
            | Unit::MetrePerMetre
            | Unit::Newton
            | Unit::Kelvin
            | Unit::Percent
            | Unit::Kilogram
            | Unit::Farad
            | Unit::Joule
            | Unit::AmpereSquaredSecond
            | Unit::Pascal
            | Unit::CaloriePerSquareCentimetre => QuantityKind::Other,
        };
        FieldSpec { unit, kind, entry, sanity_min, sanity_max, range_top: None }
    }

    /// What can be read here at all, in millionths, inclusive. Beyond it stands a slip of the hand that nobody can confirm.
    pub fn possible(&self) -> (i64, i64) {
        match self.kind {
            QuantityKind::StateOfCharge => (self.sanity_min, self.sanity_max),
            _ => possible_to_read(self.unit),
        }
    }
}

/// Which sign the person uses for decimals.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum NumberLocale {
    Point,
    Comma,
    /// Nobody said: `1.234` and `1,234` stay ambiguous.
    Unknown,
}

impl NumberLocale {
    pub fn from_decimal(decimal: char) -> NumberLocale {
        match decimal {
            '.' => NumberLocale::Point,
            ',' => NumberLocale::Comma,
            _ => NumberLocale::Unknown,
        }
    }

    pub fn decimal(self) -> Option<char> {
        match self {
            NumberLocale::Point => Some('.'),
            NumberLocale::Comma => Some(','),
            NumberLocale::Unknown => None,
        }
    }
}

/// The comparison sign of a reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Cmp {
    #[default]
    Equal,
    Less,
    Greater,
}

/// How the text was understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Quality {
    Ok,
    /// The display showed that the value is beyond the range.
    OverRange,
    /// More than one reading is possible; a person chooses.
    Ambiguous {
        candidates: Vec<Quantity>,
    },
    /// No reading; perhaps this one was meant.
    Invalid {
        suggestion: Option<Quantity>,
    },
    /// Said not to have been measured; needs a reason and is no pass.
    NotTested,
    /// A unit of something else; perhaps this was meant.
    UnitMismatch {
        found: Unit,
        suggestion: Option<Quantity>,
    },
    /// A value, implausible for the field: ask again, keep both.
    OutsideSanity,
}

/// A remark beside a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Note {
    /// No unit typed; the field's was taken.
    UnitAssumed,
    /// Typed in another unit of the same kind (inch, °F, lbf·in).
    Converted,
    /// American wire gauge turned into mm².
    Awg,
    /// The decimal sign is not the person's usual one.
    OtherDecimalSign,
    /// Finer than a millionth of the unit.
    Rounded,
    /// Written in capitals, so that the case of the prefix says nothing; the field decided.
    PrefixFromField,
    PolarityReversed,
    OpenCircuit,
    /// Zero ohms: were the leads nulled?
    AskLeadsNulled,
    /// A bound where the instrument shows an exact time.
    AskExact,
    /// The device did not trip while the instrument waited.
    DidNotTrip,
    /// The worst of two test angles was kept.
    WorstOfTwo,
    /// Several values in a box for one.
    SeveralValues,
    /// Physically impossible, such as 105 % charge.
    Impossible,
    Empty,
}

/// Direct or alternating, as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum CurrentKind {
    Direct,
    Alternating,
}

/// What else stood in the text.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Parts {
    pub test_voltage: Option<Quantity>,
    /// Half-width of `230±2`.
    pub tolerance: Option<Quantity>,
    pub current_kind: Option<CurrentKind>,
    pub at_0_degrees: Option<Quantity>,
    pub at_180_degrees: Option<Quantity>,
}

/// A text understood, as far as it can be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ParsedReading {
    /// Sign kept. Absent when there is no single value; for over-range the known range end.
    pub value: Option<Quantity>,
    pub cmp: Cmp,
    pub quality: Quality,
    pub notes: Vec<Note>,
    pub parts: Parts,
}

impl ParsedReading {
    /// A value that came from elsewhere than a text.
    pub fn exact(value: Quantity) -> ParsedReading {
        ParsedReading {
            value: Some(value),
            cmp: Cmp::Equal,
            quality: Quality::Ok,
            notes: Vec::new(),
            parts: Parts::default(),
        }
    }

    /// A stored reading again, with the remarks that follow from its field.
    pub fn recall(field: &FieldSpec, value: Option<Quantity>, cmp: Cmp, quality: Quality) -> ParsedReading {
        let mut reading = ParsedReading { value, cmp, quality, notes: Vec::new(), parts: Parts::default() };
        reading.remark(field);
        reading
    }

    pub fn has(&self, note: Note) -> bool {
        self.notes.contains(&note)
    }

    fn without_value(quality: Quality) -> ParsedReading {
        ParsedReading { value: None, cmp: Cmp::Equal, quality, notes: Vec::new(), parts: Parts::default() }
    }

    fn invalid() -> ParsedReading {
        ParsedReading::without_value(Quality::Invalid { suggestion: None })
    }

    fn note(mut self, note: Note) -> ParsedReading {
        if !self.has(note) {
            self.notes.push(note);
        }
        self
    }

    fn is_ok(&self) -> bool {
        self.quality == Quality::Ok
    }

    /// Adds the remarks that depend only on value, sign and field.
    fn remark(&mut self, field: &FieldSpec) {
        use QuantityKind as Kind;
        let mut notes = Vec::new();
        let micro = self.value.map(|value| value.micro);
        if self.quality == Quality::OverRange && matches!(field.kind, Kind::Continuity | Kind::BusResistance) {
            notes.push(Note::OpenCircuit);
        }
        if matches!(field.kind, Kind::ModuleVoltage | Kind::StackVoltage) && micro.is_some_and(|micro| micro < 0) {
            notes.push(Note::PolarityReversed);
        }
        if field.kind == Kind::Continuity && micro == Some(0) {
            notes.push(Note::AskLeadsNulled);
        }
        if field.kind == Kind::RcdTime && self.quality == Quality::Ok {
            match self.cmp {
                Cmp::Equal => {}
                Cmp::Less => notes.push(Note::AskExact),
                Cmp::Greater => notes.push(Note::DidNotTrip),
            }
        }
        for note in notes {
            if !self.has(note) {
                self.notes.push(note);
            }
        }
    }
}

/// Reads one box. Never fails: what cannot be read is a [`Quality`].
pub fn parse_reading(text: &str, field: &FieldSpec, locale: NumberLocale) -> ParsedReading {
    let Some(text) = clean::clean(text) else {
        return ParsedReading::invalid();
    };
    if text.is_empty() {
        return ParsedReading::invalid().note(Note::Empty);
    }
    let mut reading = compound::read(&text, field, locale);
    if reading.is_ok() {
        check_plausible(&mut reading, field);
    }
    reading.remark(field);
    reading
}

/// Several values, one a line or parted by semicolons, each kept: a spread needs every one.
pub fn parse_reading_list(text: &str, field: &FieldSpec, locale: NumberLocale) -> Vec<ParsedReading> {
    text.split(['\n', ';'])
        .filter(|piece| !piece.trim().is_empty())
        .map(|piece| parse_reading(piece, field, locale))
        .collect()
}

/// Greatest less smallest; `None` for no values or mixed units.
pub fn spread(values: &[Quantity]) -> Option<Quantity> {
    let unit = values.first()?.unit;
    if values.iter().any(|value| value.unit != unit) {
        return None;
    }
    let (low, high) = (values.iter().min()?, values.iter().max()?);
    Some(Quantity { unit, micro: high.micro.checked_sub(low.micro)? })
}

fn check_plausible(reading: &mut ParsedReading, field: &FieldSpec) {
    let Some(value) = reading.value else { return };
    if (field.sanity_min..=field.sanity_max).contains(&value.micro) {
        return;
    }
    let (least, most) = field.possible();
    if !(least..=most).contains(&value.micro) {
        *reading = ParsedReading::invalid().note(Note::Impossible);
    } else {
        reading.quality = Quality::OutsideSanity;
    }
}
