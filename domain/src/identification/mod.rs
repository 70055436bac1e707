//! Which physical item is this: serial numbers, what a scanner sends, and the lists that name items.
//!
//! A scan is kept as it came, read by the open standards (GS1 element strings and Digital Link, ISO/IEC 15434), and
//! turned into a [`Serial`] only when nothing about it is a guess. **Never enters:** sentences (reasons are
//! [`Problem`]s), a network, corrections of what was scanned or typed, anything that knows about jobs or firms.
//!
//! Start with [`scan::read_scan`] and [`scan::serial_from`], then [`keys`] (how two serials are compared) and
//! [`recall`]. [`dates`] and [`csv`] are small tools that the deadlines and exports of other rooms use as well.

mod ai;
pub mod check_digit;
pub mod csv;
pub mod dates;
mod digital_link;
mod element_string;
mod envelope;
pub mod keys;
pub mod label_dates;
pub mod problem;
pub mod recall;
pub mod scan;

pub use ai::DateMeaning;
pub use dates::{Date, NotADate};
pub use element_string::{Element, Scheme};
pub use keys::{Likeness, PatternVerdict, SERIAL_CHARS_MAX, Serial, SerialPattern, compare};
pub use label_dates::{LabelDate, ScanDate, full_year};
pub use problem::Problem;
pub use recall::{RecallAnswer, judge_recall};
pub use scan::{ScanKind, ScanReading, ScanSource, read_scan, serial_as_confirmed, serial_from};
