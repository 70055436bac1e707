//! How large anything may get. Each limit is published by the server, so that a client can cut its batches.

/// Bytes of one entry's envelope (header, salt, body and signature).
pub const ENTRY_BYTES_MAX: usize = 64 * 1024;
/// Entries in one push.
pub const PUSH_ENTRIES_MAX: usize = 500;
/// Bytes of one push, so that a batch passes ordinary proxies and finishes on a slow link.
pub const PUSH_BYTES_MAX: usize = 512 * 1024;
/// Entries in one pull answer; `more` says that there are others.
pub const PULL_ENTRIES_MAX: usize = 2_000;
/// Bytes of one photo: a 200-megapixel JPEG fits.
pub const PHOTO_BYTES_MAX: u64 = 64 * 1024 * 1024;
/// Bytes of one PATCH of an upload.
pub const PART_BYTES_MAX: u64 = 8 * 1024 * 1024;
/// Pixels that the server decodes to make its own derivative; larger originals are kept and shown as a file.
pub const DECODE_PIXELS_MAX: u64 = 120_000_000;
/// How deep CBOR may nest.
pub const DEPTH_MAX: usize = 16;
/// Characters of one remark.
pub const REMARK_CHARS_MAX: usize = 4_000;
