//! The data of one job that a maker or a network operator asks for, as JSON and CSV.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::sync::Arc;

use domain::identification::csv;
use domain::identification::dates::{Date, Milestone};
use domain::ids::{Hash32, JobId};
use domain::job_file::{JobFile, fold};
use domain::method::gate::Plan;
use domain::registration::{Around, Missing, RegisteredUnit, Registration, registration};
use jiff::tz::TimeZone;
use serde::Serialize;

use super::arrived;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::firms;
use crate::job_files::cut;
use crate::job_files::load::load;
use crate::job_files::project::method_of;
use crate::methods::Published;
use crate::state::AppState;

/// Byte order mark: without it spreadsheets read umlauts wrongly.
const BOM: &str = "\u{feff}";
const COLUMNS: [&str; 24] = [
    "job",
    "installer",
    "householder",
    "street",
    "town",
    "phone",
    "email",
    "grid_point",
    "installed_on",
    "commissioned_on",
    "grid_profile",
    "firmware",
    "due",
    "slot",
    "kind",
    "maker",
    "model",
    "gtin",
    "serial",
    "lot",
    "label_photos",
    "new",
    "complete",
    "missing",
];

/// Until when.
#[derive(Serialize)]
pub struct DeadlineJson {
    due: String,
    days_left: i64,
}

/// A registration as the API gives it.
#[derive(Serialize)]
pub struct RegistrationJson {
    /// Which job.
    pub job: JobId,
    short: String,
    state: String,
    installer: String,
    householder: String,
    street: String,
    town: String,
    phone: String,
    email: String,
    grid_point: String,
    units: Vec<RegisteredUnit>,
    installed_on: Option<String>,
    commissioned_on: Option<String>,
    grid_profile: Option<String>,
    firmware: Option<String>,
    deadline: Option<DeadlineJson>,
    /// Pairs that contradict each other, the one that should be earlier first.
    out_of_order: Vec<(Milestone, Milestone)>,
    missing: Vec<Missing>,
    complete: bool,
}

/// `None` where this server lacks the job's method: what it asks for is not known then.
///
/// # Errors
/// The database.
pub async fn of_job(
    state: &AppState,
    tx: &mut FirmTx,
    job: JobId,
    phase: String,
) -> Result<Option<RegistrationJson>, ApiError> {
    let Some(loaded) = load(tx, job).await? else { return Ok(None) };
    let Some(method) = method_of(state, &loaded.file).await? else { return Ok(None) };
    of_file(state, tx, job, phase, loaded.file, method).await.map(Some)
}

/// The same of a file that is loaded already.
///
/// # Errors
/// The database.
pub async fn of_file(
    state: &AppState,
    tx: &mut FirmTx,
    job: JobId,
    phase: String,
    file: JobFile,
    method: Arc<Published>,
) -> Result<RegistrationJson, ApiError> {
    let installer = firms::load_firm(tx).await?.name;
    let arrived: BTreeSet<Hash32> = arrived(tx, job).await?.into_keys().collect();
    let now_us = state.clock.now_wire_us();
    let found = tokio::task::spawn_blocking(move || compute(&file, &method.method, &installer, &arrived, now_us))
        .await
        .map_err(ApiError::internal)?;
    Ok(RegistrationJson::of(job, phase, found))
}

fn compute(
    file: &JobFile,
    method: &domain::method::Method,
    installer: &str,
    arrived: &BTreeSet<Hash32>,
    now_us: u64,
) -> Registration {
    let plan = Plan::of(method);
    let state = fold(file, &plan);
    let zone = state.gate.record().site.as_ref().map(|latest| latest.value.zone.as_str()).unwrap_or_default();
    // Without a zone the day may be one off at night; the address is missing then too.
    let zone = TimeZone::get(zone).unwrap_or(TimeZone::UTC);
    let day_of = |us: u64| day_in(&zone, us);
    let today = day_of(now_us).unwrap_or_else(|| Date::from_unix_days(0).expect("1970-01-01 is a day"));
    registration(&state, Around { today, installer, arrived, day_of: &day_of })
}

fn day_in(zone: &TimeZone, us: u64) -> Option<Date> {
    let day = jiff::Timestamp::from_microsecond(cut(us)).ok()?.to_zoned(zone.clone()).date();
    let (year, month, day) =
        (u16::try_from(day.year()).ok()?, u8::try_from(day.month()).ok()?, u8::try_from(day.day()).ok()?);
    Date::new(year, month, day).ok()
}

impl RegistrationJson {
    fn of(job: JobId, state: String, found: Registration) -> Self {
        Self {
            job,
            short: job.short(),
            state,
            installer: found.installer,
            householder: found.householder,
            street: found.street,
            town: found.town,
            phone: found.phone,
            email: found.email,
            grid_point: found.grid_point,
            units: found.units,
            installed_on: found.installed_on.map(|day| day.to_string()),
            commissioned_on: found.commissioned_on.map(|day| day.to_string()),
            grid_profile: found.grid_profile,
            firmware: found.firmware,
            deadline: found
                .deadline
                .map(|deadline| DeadlineJson { due: deadline.due.to_string(), days_left: deadline.days_left }),
            out_of_order: found.out_of_order,
            missing: found.missing,
            complete: found.complete,
        }
    }
}

/// The codes of what is missing, as the JSON has them, with the slot where there is one.
fn missing_codes(missing: &[Missing]) -> String {
    let mut codes = String::new();
    for one in missing {
        let value = serde_json::to_value(one).unwrap_or_default();
        let between = if codes.is_empty() { "" } else { " " };
        let code = value["code"].as_str().unwrap_or_default();
        let slot = value["slot"].as_u64().map(|slot| format!(":{slot}")).unwrap_or_default();
        write!(codes, "{between}{code}{slot}").expect("writing to a String");
    }
    codes
}

/// UTF-8 with a byte order mark, commas, one line a unit.
pub fn csv_of(found: &RegistrationJson) -> String {
    let job = found.job.to_string();
    let missing = missing_codes(&found.missing);
    let due = found.deadline.as_ref().map(|deadline| deadline.due.clone()).unwrap_or_default();
    let optional = |text: &Option<String>| text.clone().unwrap_or_default();
    let (installed, commissioned) = (optional(&found.installed_on), optional(&found.commissioned_on));
    let (profile, firmware) = (optional(&found.grid_profile), optional(&found.firmware));
    let complete = if found.complete { "yes" } else { "no" };
    let line = |unit: Option<&RegisteredUnit>| {
        let of_unit = |get: &dyn Fn(&RegisteredUnit) -> String| unit.map(get).unwrap_or_default();
        let kind = |unit: &RegisteredUnit| {
            serde_json::to_value(unit.kind).ok().and_then(|kind| kind.as_str().map(str::to_owned)).unwrap_or_default()
        };
        let cells = [
            of_unit(&|unit| unit.slot.to_string()),
            of_unit(&kind),
            of_unit(&|unit| unit.maker.clone()),
            of_unit(&|unit| unit.model.clone()),
            of_unit(&|unit| optional(&unit.gtin)),
            of_unit(&|unit| optional(&unit.serial)),
            of_unit(&|unit| optional(&unit.lot)),
            of_unit(&|unit| unit.labels.iter().map(Hash32::hex).collect::<Vec<_>>().join(" ")),
            of_unit(&|unit| if unit.new { "yes" } else { "no" }.to_owned()),
        ];
        let before = [
            &job,
            &found.installer,
            &found.householder,
            &found.street,
            &found.town,
            &found.phone,
            &found.email,
            &found.grid_point,
            &installed,
            &commissioned,
            &profile,
            &firmware,
            &due,
        ];
        let all = before.into_iter().chain(cells.iter()).map(String::as_str).chain([complete, missing.as_str()]);
        csv::line(all)
    };
    let mut out = String::from(BOM);
    out += &csv::line(COLUMNS);
    if found.units.is_empty() {
        out += &line(None);
    }
    for unit in &found.units {
        out += &line(Some(unit));
    }
    out
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;
    use domain::job_file::body::UnitKind;

    #[test]
    fn a_hostile_name_stays_text_and_each_line_has_every_column() {
        let unit = RegisteredUnit {
            slot: 1,
            kind: UnitKind::ControlUnit,
            maker: "@Maker".into(),
            model: "M, 5".into(),
            gtin: None,
            serial: Some("=1+2".into()),
            lot: None,
            entry: None,
            labels: vec![Hash32::NONE],
            new: false,
        };
        let found = RegistrationJson {
            job: JobId::of(uuid::Uuid::nil()),
            short: String::new(),
            state: String::new(),
            installer: "Crew".into(),
            householder: "+O\"Neill".into(),
            street: String::new(),
            town: String::new(),
            phone: "+49 1".into(),
            email: String::new(),
            grid_point: String::new(),
            units: vec![unit],
            installed_on: None,
            commissioned_on: Some("2026-01-31".into()),
            grid_profile: None,
            firmware: None,
            deadline: None,
            out_of_order: Vec::new(),
            missing: vec![Missing::SiteAddress, Missing::LabelPhoto { slot: 1 }],
            complete: false,
        };
        let text = csv_of(&found);
        let mut lines = text.strip_prefix(BOM).unwrap().split_terminator("\r\n");
        assert_eq!(lines.next().unwrap().split(',').count(), COLUMNS.len());
        let line = lines.next().unwrap();
        assert!(line.contains("\"'+O\"\"Neill\"") && line.contains("'=1+2") && line.contains("'@Maker"), "{line}");
        assert!(line.contains("control_unit") && line.ends_with(",no,no,site_address label_photo:1"), "{line}");
        // The model's own comma is quoted, so it is one more than there are columns.
        assert_eq!(line.split(',').count(), COLUMNS.len() + 1);
    }

    #[test]
    fn a_day_is_the_site_s() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        // 2026-01-01 23:30 UTC is half past midnight there.
        let us = 1_767_225_600_000_000 + 23 * 3_600_000_000 + 30 * 60_000_000;
        assert_eq!(day_in(&zone, us).unwrap().to_string(), "2026-01-02");
        assert_eq!(day_in(&TimeZone::UTC, us).unwrap().to_string(), "2026-01-01");
    }
}
