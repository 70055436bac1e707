//! The answers of the server, and which of them a filter shows. Pure.

use domain::identification::dates::Milestone;
use domain::ids::{EntryId, Hash32, JobId, PersonId};
use domain::job_file::body::UnitKind;
use serde::Deserialize;

/// Rows of one answer of the server: as many as it gives at once.
pub const PAGE_ROWS: usize = 50;

/// A registration as the server tells it.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct RegistrationRow {
    /// Which job.
    pub job: JobId,
    /// Six characters to say aloud.
    pub short: String,
    /// Where the job stands, by the API's word.
    pub state: String,
    /// The firm.
    pub installer: String,
    /// Householder.
    pub householder: String,
    /// Street.
    pub street: String,
    /// Town.
    pub town: String,
    /// Telephone.
    pub phone: String,
    /// E-mail.
    pub email: String,
    /// Connection point.
    pub grid_point: String,
    /// New units by slot.
    pub units: Vec<Unit>,
    /// `YYYY-MM-DD`.
    pub installed_on: Option<String>,
    /// `YYYY-MM-DD`.
    pub commissioned_on: Option<String>,
    /// Grid profile.
    pub grid_profile: Option<String>,
    /// Firmware versions.
    pub firmware: Option<String>,
    /// Until when.
    pub deadline: Option<Deadline>,
    /// Days that contradict each other.
    #[serde(default)]
    pub out_of_order: Vec<(Milestone, Milestone)>,
    /// What is missing.
    pub missing: Vec<Missing>,
    /// Nothing is.
    pub complete: bool,
}

/// A unit of a registration.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct Unit {
    /// Its place.
    pub slot: u16,
    /// What it is.
    pub kind: UnitKind,
    /// Maker.
    pub maker: String,
    /// Model.
    pub model: String,
    /// GTIN.
    pub gtin: Option<String>,
    /// Serial.
    pub serial: Option<String>,
    /// Lot.
    pub lot: Option<String>,
    /// Photos of its label.
    #[serde(default)]
    pub labels: Vec<Hash32>,
    /// Brought by the job, or there before.
    pub new: bool,
}

/// Until when.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct Deadline {
    /// Last day in time.
    pub due: String,
    /// Days to it; negative when it has passed.
    pub days_left: i64,
}

/// What is missing; the code is the server's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[allow(missing_docs, reason = "the same names as in domain::registration::Missing, where they are explained")]
pub enum Missing {
    Installer,
    Householder,
    SiteAddress,
    Equipment,
    Serial {
        slot: u16,
    },
    SerialUnreadable {
        slot: u16,
    },
    SerialTwice {
        slot: u16,
        other: u16,
    },
    LabelPhoto {
        slot: u16,
    },
    InstalledOn,
    CommissionedOn,
    GridProfile,
    Firmware,
    Photos {
        count: u32,
    },
    Review,
    /// Something that a newer server knows.
    #[serde(other)]
    Unknown,
}

/// An entry that the server holds.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct HeldRow {
    /// Its id.
    pub entry: EntryId,
    /// The job that it names.
    pub job: JobId,
    /// Name of its kind, where the server knows it.
    pub kind_name: Option<String>,
    /// Who it says wrote it.
    pub author: PersonId,
    /// Why it is held, by the API's word.
    pub why: String,
    /// Who sent it.
    pub by_person: PersonId,
    /// When it was sent.
    pub held_us: u64,
    /// Bytes.
    pub bytes: u64,
}

/// What the desk shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Show {
    /// Registrations that lack something.
    #[default]
    Missing,
    /// Complete ones.
    Complete,
    /// All.
    All,
    /// Entries that are held.
    Held,
}

impl Show {
    /// In the order of the tabs.
    pub const ALL: [Self; 4] = [Self::Missing, Self::Complete, Self::All, Self::Held];

    /// Its word in the address.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Missing => "missing",
            Self::Complete => "complete",
            Self::All => "all",
            Self::Held => "held",
        }
    }

    /// Reads a word of the address.
    pub fn of_word(word: Option<&str>) -> Self {
        Self::ALL.into_iter().find(|show| Some(show.word()) == word).unwrap_or_default()
    }
}

/// Does the desk show this row?
pub fn shows(show: Show, search: &str, row: &RegistrationRow) -> bool {
    let by_state = match show {
        Show::Missing => !row.complete,
        Show::Complete => row.complete,
        Show::All => true,
        Show::Held => false,
    };
    by_state && is_found(search, row)
}

/// All words that were typed stand somewhere in the row.
fn is_found(search: &str, row: &RegistrationRow) -> bool {
    let serials = row.units.iter().filter_map(|unit| unit.serial.as_deref()).collect::<Vec<_>>().join(" ");
    let all = [&row.short, &row.householder, &row.street, &row.town, &row.grid_point, &serials]
        .map(|text| text.to_lowercase());
    search.split_whitespace().all(|word| {
        let word = word.to_lowercase();
        all.iter().any(|text| text.contains(&word))
    })
}

/// The soonest deadline first, then by name; what has none comes last.
pub fn sorted(mut rows: Vec<RegistrationRow>) -> Vec<RegistrationRow> {
    rows.sort_by(|a, b| {
        let key = |row: &RegistrationRow| {
            (
                row.deadline.as_ref().map_or(i64::MAX, |deadline| deadline.days_left),
                row.householder.to_lowercase(),
                row.job,
            )
        };
        key(a).cmp(&key(b))
    });
    rows
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]
    use super::*;
    use domain::registration as server;

    fn row(name: &str, complete: bool, days_left: Option<i64>) -> RegistrationRow {
        let deadline =
            days_left.map(|days| format!(r#"{{"due":"2026-12-01","days_left":{days}}}"#)).unwrap_or("null".into());
        let text = format!(
            r#"{{"job":"0198c2a0-0000-7000-8000-000000000001","short":"000001","state":"passed","installer":"F","householder":"{name}",
            "street":"Quay 3","town":"Meridian","phone":"","email":"","grid_point":"GP-9","units":[{{"slot":1,"kind":"module","maker":"B",
            "model":"M","gtin":null,"serial":"AB12","lot":null,"entry":null,"labels":[],"new":true}}],"installed_on":null,"commissioned_on":null,
            "grid_profile":null,"firmware":null,"deadline":{deadline},"out_of_order":[["installation","commissioning"]],
            "missing":[{{"code":"serial","slot":3}},{{"code":"something_new","x":1}}],"complete":{complete}}}"#
        );
        serde_json::from_str(&text).unwrap()
    }

    #[test]
    fn what_the_server_says_is_read_and_what_is_new_is_not_lost() {
        let row = row("Ada", false, Some(3));
        assert_eq!(row.missing, [Missing::Serial { slot: 3 }, Missing::Unknown]);
        assert_eq!(row.out_of_order, [(Milestone::Installation, Milestone::Commissioning)]);
    }

    #[test]
    fn every_word_of_the_domain_is_known_here() {
        let all = [
            server::Missing::Installer,
            server::Missing::Householder,
            server::Missing::SiteAddress,
            server::Missing::Equipment,
            server::Missing::Serial { slot: 1 },
            server::Missing::SerialUnreadable { slot: 1 },
            server::Missing::SerialTwice { slot: 1, other: 2 },
            server::Missing::LabelPhoto { slot: 1 },
            server::Missing::InstalledOn,
            server::Missing::CommissionedOn,
            server::Missing::GridProfile,
            server::Missing::Firmware,
            server::Missing::Photos { count: 2 },
            server::Missing::Review,
        ];
        for missing in all {
            let text = serde_json::to_string(&missing).unwrap();
            assert_ne!(serde_json::from_str::<Missing>(&text).unwrap(), Missing::Unknown, "{text}");
        }
    }

    #[test]
    fn filters_and_words_narrow() {
        let row = row("Ada Winter", false, None);
        for (show, search, shown) in [
            (Show::Missing, "", true),
            (Show::Complete, "", false),
            (Show::All, "winter MERIDIAN", true),
            (Show::All, "ab12", true),
            (Show::All, "winter summer", false),
            (Show::Held, "", false),
        ] {
            assert_eq!(shows(show, search, &row), shown, "{show:?} {search}");
        }
    }

    #[test]
    fn what_is_due_first_stands_first() {
        let rows = sorted(vec![row("C", true, None), row("B", true, Some(9)), row("A", true, Some(-2))]);
        assert_eq!(rows.iter().map(|row| row.householder.as_str()).collect::<Vec<_>>(), ["A", "B", "C"]);
    }
}
