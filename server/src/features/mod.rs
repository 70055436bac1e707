//! One folder a thing that a person does. Slices do not import each other; what two need stands in `db`, `firms`,
//! `auth`, `http` or in `domain`.

pub mod devices;
pub mod health;
pub mod links;
pub mod people;
pub mod reference;
pub mod session;
// sync, photos, desks and report each add their line here.
