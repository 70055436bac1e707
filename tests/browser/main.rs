//! Real Chromium on the real server and a real Postgres, two browser tests at a time; the network is really cut.

#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

#[path = "../../domain/tests/built_in/mod.rs"]
mod built_in;
#[path = "../../domain/tests/rehearsal/mod.rs"]
mod domain_rehearsal;

mod access;
mod all_of_a_job;
mod answers;
mod at_risk;
mod countersign;
mod design_sheet;
mod doubtful_photo;
mod downloads;
mod drafts;
mod forms;
mod hold_point;
mod job_list;
mod kill_behind_camera;
mod kills;
mod lead;
mod leaving;
mod ledger;
mod live;
mod looks;
mod new_firm;
mod odd_devices;
mod old_store;
mod parts;
mod people;
mod photos;
mod pictures;
mod previews;
mod rehearsal;
mod reproof;
mod rescue;
mod rig;
mod rule_sets;
mod scan;
mod seal;
mod sealed;
mod sign_in;
mod signed;
mod small_job;
mod step;
mod stored;
mod test_sheet;
mod tray;
mod two_leads;
mod two_methods;
mod update;
mod voice;

mod wifi;
