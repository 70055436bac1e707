//! What the desk sees: jobs, the serial ledger, what is held, what registrations lack. Read only.
//!
//! Lists come from the projections, which are brought up to the log before each answer; a registration is computed from
//! the job file by `domain::registration`. **Never enters:** anything that changes a job: that is an entry, by sync.

mod held;
mod jobs;
mod queries;
mod registration;
mod units;

pub use held::list_held;
pub use jobs::{get_job, list_jobs};
pub use registration::{get_registration_csv, get_registration_json, list_registrations};
pub use units::list_units;
