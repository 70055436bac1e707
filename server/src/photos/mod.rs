//! Photo bytes: where they lie, what they are, and the small upright view of them.
//!
//! [`store::PhotoStore`] keeps them under their hash, [`media`] tells a file type by its first bytes, [`upright`] makes
//! the server's own derivative and [`view`] keeps it, [`probe`] tries a store out. The bytes of an original are never altered.
//!
//! **Never enters:** who may see a photo, jobs, the database (see `features::photos`).

pub mod media;
pub mod probe;
pub mod store;
pub mod upright;
pub mod view;
