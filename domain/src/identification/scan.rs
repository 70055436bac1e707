//! From the text of a scanner, a keyboard or a file to a serial, with everything that was in doubt on the way.
//!
//! The raw text is kept beside the reading. Nothing is corrected: where a reading would be a guess there is a
//! [`Problem`] and no serial.

use super::ai::{self, DateMeaning};
use super::check_digit::{gtin14, is_digits, luhn_valid};
use super::dates::Date;
use super::digital_link::{self, Link};
use super::element_string::{self, Element, Fields, SEPARATOR, SERIAL_CODES, Scheme};
use super::envelope;
use super::keys::Serial;
use super::label_dates::ScanDate;
use super::problem::Problem;

/// Longest text that is read, in bytes: the largest QR code holds 7089 digits.
pub const SCAN_BYTES_MAX: usize = 7_168;

/// How the text came in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ScanSource {
    /// Read by a camera.
    Camera,
    /// A scanner that types.
    Wedge,
    /// By hand.
    Typed,
    /// A file of somebody else.
    Import,
}

/// What kind of text it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ScanKind {
    /// GS1 fields, as data or as print.
    ElementString,
    /// A web address that names one item.
    DigitalLink,
    /// ISO/IEC 15434.
    Envelope,
    /// A text.
    Plain,
    /// Any other web address. Kept byte for byte, never opened without a question that shows [`ScanReading::host`].
    PlainUrl,
}

/// A date that the carrier names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct NamedDate {
    /// What it says.
    pub meaning: DateMeaning,
    /// The date, its century still open.
    pub date: ScanDate,
}

/// What was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScanReading {
    /// The text as it came in.
    pub raw: String,
    /// How it came in.
    pub source: ScanSource,
    /// Control characters that the scanner typed behind it (carriage return, line feed, tab); stripped.
    pub suffix: String,
    /// Symbology identifier by ISO/IEC 15424 without its bracket, for example `C1`; stripped.
    pub symbology: Option<String>,
    /// A word like "S/N:" stood before a typed serial; stripped.
    pub label_stripped: bool,
    /// A separator came in another spelling than ASCII 29.
    pub respelled: bool,
    /// The carrier itself said what it is (symbology, separators, brackets, envelope, link), not its look.
    pub certain: bool,
    /// What kind of text it is.
    pub kind: ScanKind,
    /// Its fields, in their order.
    pub elements: Vec<Element>,
    /// Product code of the item, 14 digits, check digit good.
    pub gtin: Option<String>,
    /// Text of the serial. Only [`serial_from`] says whether it is one.
    pub serial: Option<String>,
    /// Lot.
    pub lot: Option<String>,
    /// The maker's part number.
    pub part: Option<String>,
    /// Which piece of how many this box is.
    pub piece: Option<(u8, u8)>,
    /// Production date; [`ScanDate::resolve`] gives it its century.
    pub production: Option<ScanDate>,
    /// All dates.
    pub dates: Vec<NamedDate>,
    /// Host of a web address.
    pub host: Option<String>,
    /// The serial is the last field, no separator was seen, and it could hide another field: compare with the label.
    pub doubtful_end: bool,
    /// Why this is not a serial as it is.
    pub problem: Option<Problem>,
}

impl ScanReading {
    fn blank(raw: &str, source: ScanSource) -> Self {
        Self {
            raw: raw.to_owned(),
            source,
            suffix: String::new(),
            symbology: None,
            label_stripped: false,
            respelled: false,
            certain: false,
            kind: ScanKind::Plain,
            elements: Vec::new(),
            gtin: None,
            serial: None,
            lot: None,
            part: None,
            piece: None,
            production: None,
            dates: Vec::new(),
            host: None,
            doubtful_end: false,
            problem: None,
        }
    }
}

/// Reads a text. Always answers; what is wrong stands in [`ScanReading::problem`].
///
/// ```
/// use domain::identification::{ScanSource, read_scan, serial_from};
/// let reading = read_scan("]C10109521234543213211234ABC\r", ScanSource::Wedge);
/// assert_eq!(reading.gtin.as_deref(), Some("09521234543213"));
/// assert_eq!(serial_from(&reading).unwrap().stored, "1234ABC");
/// ```
#[must_use]
pub fn read_scan(raw: &str, source: ScanSource) -> ScanReading {
    let mut reading = ScanReading::blank(raw, source);
    if raw.len() > SCAN_BYTES_MAX {
        reading.problem = Some(Problem::TooLong);
        return reading;
    }
    let (text, suffix) = strip_suffix(raw);
    reading.suffix = suffix;
    let (symbology, text) = strip_symbology(text);
    reading.symbology = symbology.map(str::to_owned);
    let labelled = text;
    let text = match source {
        ScanSource::Typed | ScanSource::Import => strip_label(text),
        ScanSource::Camera | ScanSource::Wedge => text,
    };
    reading.label_stripped = text.len() < labelled.len();
    if text.is_empty() {
        reading.problem = Some(Problem::Empty);
    } else if envelope::opens(text) {
        reading.kind = ScanKind::Envelope;
        reading.certain = true;
        let (fields, spelled) = envelope::read(text);
        reading.respelled = spelled;
        take_fields(&mut reading, fields);
    } else {
        match symbology {
            Some("C1" | "d2" | "Q3" | "e0" | "J1") => read_declared(&mut reading, text),
            Some("E0" | "E4") => read_product_code(&mut reading, text),
            Some(_) | None => read_undeclared(&mut reading, text),
        }
    }
    reading
}

/// The serial that a reading stands for.
///
/// # Errors
/// The reading's own problem, or what [`Serial::of`] finds.
pub fn serial_from(reading: &ScanReading) -> Result<Serial, Problem> {
    match (reading.problem, &reading.serial) {
        (Some(problem), _) => Err(problem),
        (None, Some(text)) => Serial::of(text),
        (None, None) => Err(Problem::NoSerial),
    }
}

/// The serial of a reading that only *looks like* something else, once a person has looked at the label and said that
/// it is the serial.
///
/// # Errors
/// The reading's problem where nobody may decide against it: [`Problem::may_be_confirmed`] is false, or the carrier
/// itself says that this is something else.
pub fn serial_as_confirmed(reading: &ScanReading) -> Result<Serial, Problem> {
    match (reading.problem, &reading.serial) {
        (Some(problem), Some(text)) if problem.may_be_confirmed() && !reading.certain => Serial::of(text),
        _ => serial_from(reading),
    }
}

/// Spaces around a scan mean nothing; line ends and tabs behind it are the scanner's own, and which ones is recorded.
fn strip_suffix(raw: &str) -> (&str, String) {
    let text = raw.trim_end_matches([' ', '\r', '\n', '\t']);
    let suffix = raw[text.len()..].chars().filter(|c| *c != ' ').collect();
    (text.trim(), suffix)
}

/// `]`, a letter and a digit or letter, which some scanners put in front.
fn strip_symbology(text: &str) -> (Option<&str>, &str) {
    let bytes = text.as_bytes();
    match bytes {
        [b']', letter, modifier, ..] if letter.is_ascii_alphabetic() && modifier.is_ascii_alphanumeric() => {
            (Some(&text[1..3]), text[3..].trim_start_matches(' '))
        }
        _ => (None, text),
    }
}

/// Words before a serial on labels, longest first, in the languages of the crews.
const LABELS: [&str; 16] = [
    "serial number",
    "número de serie",
    "n.º de serie",
    "nº de serie",
    "seriennummer",
    "serien-nr.",
    "serial no.",
    "serial no",
    "serien-nr",
    "serial nr",
    "ser. no.",
    "ser.nr.",
    "serial",
    "s.n.",
    "s/n",
    "sn",
];

/// Takes a word like "S/N:" off. A colon or number sign must follow, because a serial may begin with SN; only "S/N"
/// itself may be followed by a space.
fn strip_label(text: &str) -> &str {
    for label in LABELS {
        let Some(start) = text.get(..label.len()) else {
            continue;
        };
        if start.to_lowercase() != label {
            continue;
        }
        let behind = &text[label.len()..];
        let value = behind.trim_start();
        if let Some(value) = value.strip_prefix([':', '#', '：']) {
            return value.trim_start();
        }
        if label == "s/n" && value.len() < behind.len() {
            return value;
        }
    }
    text
}

/// A scanner said: this is GS1.
fn read_declared(reading: &mut ScanReading, text: &str) {
    reading.certain = true;
    reading.kind = ScanKind::ElementString;
    if let Some(fields) = element_string::parse_bracketed(text) {
        take_fields(reading, fields);
        return;
    }
    let (text, spelled) = element_string::respell(text);
    let (text, weakly) = element_string::respell_weak(&text);
    reading.respelled = spelled || weakly;
    take_fields(reading, element_string::parse(&text));
}

/// A scanner said: this is EAN or UPC.
fn read_product_code(reading: &mut ScanReading, text: &str) {
    reading.certain = true;
    reading.gtin = gtin14(text);
    reading.problem = Some(match (&reading.gtin, is_digits(text)) {
        (Some(_), _) => Problem::ProductNotItem,
        (None, true) => Problem::CheckDigitWrong,
        (None, false) => Problem::FieldFormat,
    });
}

/// Nobody said what this is.
fn read_undeclared(reading: &mut ScanReading, text: &str) {
    if digital_link::is_url(text) {
        read_link(reading, text);
        return;
    }
    if let Some(fields) = element_string::parse_bracketed(text) {
        reading.certain = true;
        reading.kind = ScanKind::ElementString;
        take_fields(reading, fields);
        return;
    }
    let (strong, spelled) = element_string::respell(text);
    let inner = strong.trim_matches(SEPARATOR);
    let separated = inner.len() < strong.len() || inner.contains(SEPARATOR);
    let known_start = ai::code_len(inner).is_some_and(|length| ai::is_described(&inner[..length]));
    if element_string::looks_like(inner) || (separated && known_start) {
        let (weak, weakly) = element_string::respell_weak(&strong);
        reading.kind = ScanKind::ElementString;
        reading.certain = separated;
        reading.respelled = spelled || weakly;
        take_fields(reading, element_string::parse(&weak));
        if reading.problem == Some(Problem::ProductNotItem) && !separated {
            // A serial of sixteen digits has this form by chance; a person may say so.
            reading.serial = Some(text.to_owned());
        }
        return;
    }
    if separated {
        reading.problem = Some(Problem::ControlCharacters);
        return;
    }
    read_plain(reading, text);
}

fn read_link(reading: &mut ScanReading, text: &str) {
    reading.host = digital_link::host(text).map(str::to_owned);
    match digital_link::read(text) {
        Link::Item(fields) => {
            reading.kind = ScanKind::DigitalLink;
            reading.certain = true;
            take_fields(reading, fields);
        }
        Link::Plain(problem) => {
            reading.kind = ScanKind::PlainUrl;
            reading.problem = Some(problem.unwrap_or(Problem::LinkNotSerial));
        }
    }
}

fn read_plain(reading: &mut ScanReading, text: &str) {
    match Serial::of(text) {
        Ok(serial) => {
            reading.problem = looks_like_something_else(&serial.stored);
            if reading.problem == Some(Problem::ProductNotItem) {
                reading.gtin = gtin14(&serial.stored);
            }
            reading.serial = Some(serial.stored);
        }
        Err(problem) => reading.problem = Some(problem),
    }
}

/// What a text is by its pattern, where that is not a battery's serial.
fn looks_like_something_else(text: &str) -> Option<Problem> {
    // Eight digits are left out: one in ten of such serials would pass for a GTIN-8, which is for very small goods.
    if text.len() > 8 && gtin14(text).is_some() {
        return Some(Problem::ProductNotItem);
    }
    if is_mac(text) {
        return Some(Problem::LooksLikeMac);
    }
    let digits: String = text.chars().filter(|c| !matches!(c, ' ' | '-')).collect();
    if digits.len() == 15 && luhn_valid(&digits) {
        return Some(Problem::LooksLikeImei);
    }
    if matches!(digits.len(), 19 | 20) && is_digits(&digits) && digits.starts_with("89") {
        return Some(Problem::LooksLikeIccid);
    }
    None
}

/// Six pairs or three fours of hexadecimal digits with the separators that network gear prints.
fn is_mac(text: &str) -> bool {
    let groups = |separator: char, count: usize, size: usize| {
        let parts: Vec<&str> = text.split(separator).collect();
        parts.len() == count
            && parts.iter().all(|part| part.len() == size && part.bytes().all(|byte| byte.is_ascii_hexdigit()))
    };
    groups(':', 6, 2) || groups('-', 6, 2) || groups('.', 3, 4)
}

/// Sorts the fields of a carrier into the reading.
fn take_fields(reading: &mut ScanReading, fields: Fields) {
    let value = |scheme: Scheme, ids: &[&str]| {
        ids.iter()
            .find_map(|id| fields.elements.iter().find(|e| e.scheme == scheme && e.id == *id).map(|e| e.value.clone()))
    };
    let checked_gtin = |text: String| text.get(..14).and_then(gtin14);
    reading.gtin = value(Scheme::Ai, &["01", "03", "8006"]).and_then(checked_gtin);
    reading.piece = value(Scheme::Ai, &["8006"]).as_deref().and_then(ai::piece);
    reading.lot = value(Scheme::Ai, &["10"]).or_else(|| value(Scheme::Di, &["1T"]));
    reading.part = value(Scheme::Di, &["1P"]).or_else(|| value(Scheme::Ai, &["240", "8013"]));
    reading.serial = SERIAL_CODES
        .iter()
        .find_map(|code| {
            let text = value(Scheme::Ai, &[code])?;
            // A returnable asset may come without the part that names one of its kind.
            if *code == "8003" { text.get(14..).filter(|rest| !rest.is_empty()).map(str::to_owned) } else { Some(text) }
        })
        .or_else(|| value(Scheme::Di, &["S", "25S"]));
    reading.doubtful_end = fields.doubtful_end;
    reading.problem = fields.problem;
    for element in &fields.elements {
        let named = match element.scheme {
            Scheme::Ai => ai::date(&element.id, &element.value),
            Scheme::Di => match di_date(element) {
                Ok(named) => named,
                Err(problem) => {
                    reading.problem.get_or_insert(problem);
                    None
                }
            },
        };
        reading.dates.extend(named.map(|(meaning, date)| NamedDate { meaning, date }));
    }
    reading.production = reading.dates.iter().find(|d| d.meaning == DateMeaning::Production).map(|d| d.date);
    if reading.problem.is_some() {
        // A scan that is partly wrong is wrong: its serial could be cut short or belong to another field.
        reading.serial = None;
    } else if reading.serial.is_none() {
        let product = reading.gtin.is_some() || reading.part.is_some();
        reading.problem = Some(if product { Problem::ProductNotItem } else { Problem::NoSerial });
    }
    reading.elements = fields.elements;
}

/// Dates of data identifiers: 16D is the production date; 10D is a week and does not say of what.
fn di_date(element: &Element) -> Result<Option<(DateMeaning, ScanDate)>, Problem> {
    let read = match element.id.as_str() {
        "16D" => Date::parse_compact(&element.value).map(|date| (DateMeaning::Production, ScanDate::Full(date))),
        "10D" => ScanDate::parse_week(&element.value).map(|week| (DateMeaning::Unstated, week)),
        _ => return Ok(None),
    };
    read.map(Some).map_err(|_| Problem::NotADate)
}

#[cfg(test)]
#[path = "scan_tests.rs"]
mod tests;
