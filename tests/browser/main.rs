//! Real Chromium on the real server and a real Postgres, one browser test at a time; the network is really cut.

#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

mod rig;
mod sign_in;
