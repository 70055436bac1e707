//! What the suites share: a fresh database and server for each test, and people who use it.
//!
//! Start with [`app::TestApp`]. Nothing here ships.

pub mod app;
pub mod browser;
pub mod client;
pub mod db;
pub mod phone;
pub mod pictures;
pub mod proxy;
pub mod server_process;
