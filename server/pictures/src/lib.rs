//! Arithmetic over pixels, and nothing else: [`upright`] makes the server's own view of an original, [`drawn`] the demo's pictures.
//!
//! A package of its own, because a picture library of generic functions is compiled where it is used: here with optimisation
//! also while the server itself is built without, or every test with a photo would wait for seconds.
//!
//! **Never enters:** where a picture lies, who may see it, threads.

pub mod drawn;
pub mod upright;
