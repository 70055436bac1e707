//! Uploads by tus 1.0, and photos through the jobs that name them.

mod read;
mod upload;
