//! What a device can say of a file before anybody judges it.

pub mod image_header;
