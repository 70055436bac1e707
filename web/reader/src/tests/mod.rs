//! Codes that are made here, turned, put into noise and read again.
#![allow(
    clippy::disallowed_methods,
    reason = "pictures made for these tests; no machine compares its own with those of another"
)]

mod chance;
mod codes;
mod light;
mod scene;
