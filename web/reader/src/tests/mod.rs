//! Codes that are made here, turned, put into noise and read again.

mod chance;
mod codes;
mod light;
mod scene;
