//! One folder a thing that a person does. Slices do not import each other; what two need stands in `db`, `job_files`,
//! `firms`, `auth`, `http` or in `domain`.

pub mod desks;
pub mod devices;
pub mod health;
pub mod links;
pub mod live;
pub mod people;
pub mod photos;
pub mod reference;
pub mod report;
pub mod rule_sets;
pub mod seals;
pub mod session;
pub mod sync;
pub mod voice;
// report adds its line here.
