//! What a device can say of a file before anybody judges it.
//!
//! [`image_header`] tells type and size from the first bytes. [`grey`] is a picture made small and grey; [`measure`] says how
//! sharp and how bright it is, [`likeness`] whether two show the same, and [`warning`] puts that into what a person is
//! told. **Never enters:** decoding, a verdict: a warning never shuts a gate, and a person may keep the picture.

pub mod bare;
pub mod grey;
pub mod image_header;
pub mod likeness;
pub mod measure;
pub mod warning;
pub mod whole;
