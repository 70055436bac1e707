//! What the suites share: a fresh database and server for each test, and people who use it.
//!
//! Start with [`app::TestApp`]. Nothing here ships.

pub mod app;
pub mod balancer;
pub mod browser;
pub mod chance;
pub mod client;
pub mod cluster;
pub mod db;
pub mod device;
pub mod dropping_link;
pub mod phone;
pub mod program;
pub mod proxy;
pub mod server_process;
