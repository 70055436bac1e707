//! What people do here, one folder each.
//!
//! **Never enters:** `web_sys`, rules; one feature does not reach into another.

pub mod bounds;
pub mod catalogue;
pub mod crew;
pub mod crew_plan;
pub mod day_sheet;
pub mod design_sheet;
pub mod desk;
pub mod job;
pub mod job_desk;
pub mod job_list;
pub mod plan_job;
pub mod registration_desk;
pub mod serial_ledger;
pub mod session;
pub mod step;
pub mod tray;
pub mod words;
