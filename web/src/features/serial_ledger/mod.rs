//! Every unit: where it is and where it has been, found by serial, lot or GTIN.
//!
//! **Never enters:** judging serials; the server compares, `domain::identification` knows how.

pub mod page;
