//! The API over HTTP on a real Postgres; the modules mirror `server/src/features`.

#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

mod desks;
mod devices;
mod faults;
mod links;
mod live;
mod people;
mod photos;
mod pins;
mod received;
mod reference;
mod rule_sets;
mod seal;
mod service;
mod session;
mod signed;
mod sync;
mod voice;
mod walls;
