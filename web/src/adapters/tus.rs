//! The steps of an upload by the open tus protocol 1.0. Which step comes when is decided by [`domain::tray`].

use super::file_bytes::FileBytes;
use super::http::{Ask, Told};
use domain::ids::Hash32;
use domain::tray::{Answer, Failure, PhotoAnswer, PhotoKey};

const VERSION: (&str, &str) = ("tus-resumable", "1.0.0");
const HAVE: &str = "witnessmark-have";
const STORED: &str = "witnessmark-stored";
/// Where uploads live; an address elsewhere is not followed.
const UPLOADS: &str = "/api/photos/uploads/";
/// What our server answers when the bytes that arrived have another hash.
const CHECKSUM_MISMATCH: u16 = 460;

pub(super) fn create(key: &PhotoKey, bytes: u64) -> Ask<'static> {
    let metadata =
        format!("sha256 {},job {}", base64(key.hash.hex().as_bytes()), base64(key.job.to_string().as_bytes()));
    let headers = vec![own_version(), ("upload-length", bytes.to_string()), ("upload-metadata", metadata)];
    Ask { method: "POST", path: "/api/photos", headers, body: None }
}

pub(super) fn created(told: &Told) -> Answer {
    if told.header(HAVE).as_deref() == Some("1") {
        return Answer::Photo(PhotoAnswer::Have);
    }
    match (told.status, told.header("location").as_deref().and_then(upload_path)) {
        (201, Some(upload)) => Answer::Photo(PhotoAnswer::Created { upload }),
        (200..=299, _) => Answer::Failed(Failure::Unreadable),
        _ => Answer::Failed(told.refusal()),
    }
}

pub(super) fn ask(upload: &str) -> Ask<'_> {
    Ask { method: "HEAD", path: upload, headers: vec![own_version()], body: None }
}

pub(super) fn send(upload: &str, from: u64, slice: FileBytes) -> Ask<'_> {
    let headers = vec![
        own_version(),
        ("upload-offset", from.to_string()),
        ("content-type", "application/offset+octet-stream".into()),
    ];
    Ask { method: "PATCH", path: upload, headers, body: Some(slice) }
}

/// The answer to [`ask`] and [`send`].
pub(super) fn at(told: &Told, hash: Hash32, elapsed_ms: u64) -> Answer {
    if !(200..=299).contains(&told.status) {
        return Answer::Failed(told.refusal());
    }
    if let Some(stored) = told.header(STORED) {
        // The server names what it keeps: anything else than this photo's own hash is no confirmation.
        return match Hash32::from_hex(&stored) {
            Some(stored) if stored == hash => Answer::Photo(PhotoAnswer::Have),
            Some(_) | None => Answer::Failed(Failure::Status { status: CHECKSUM_MISMATCH, retry_after_ms: None }),
        };
    }
    match told.header("upload-offset").and_then(|offset| offset.parse().ok()) {
        Some(offset) => Answer::Photo(PhotoAnswer::At { offset, elapsed_ms }),
        None => Answer::Failed(Failure::Unreadable),
    }
}

fn own_version() -> (&'static str, String) {
    (VERSION.0, VERSION.1.into())
}

/// The path of an upload's address, whether the server gave it with or without its origin.
fn upload_path(location: &str) -> Option<String> {
    let path = &location[location.find(UPLOADS)?..];
    let is_plain = path[UPLOADS.len()..].chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
    (is_plain && path.len() > UPLOADS.len()).then(|| path.to_owned())
}

fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let three = group.iter().fold(0u32, |sum, byte| sum << 8 | u32::from(*byte)) << (8 * (3 - group.len()));
        for digit in 0..4 {
            let is_there = digit <= group.len();
            let six = usize::try_from(three >> (18 - 6 * digit) & 63).unwrap_or(0);
            out.push(if is_there { char::from(DIGITS[six]) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_pads_as_it_should() {
        for (plain, coded) in
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("foobar", "Zm9vYmFy")]
        {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn only_addresses_of_uploads_are_followed() {
        assert_eq!(upload_path("/api/photos/uploads/a-1"), Some("/api/photos/uploads/a-1".into()));
        assert_eq!(upload_path("https://example.org/api/photos/uploads/a-1"), Some("/api/photos/uploads/a-1".into()));
        for other in ["/api/photos/uploads/", "/api/session", "/api/photos/uploads/../../session", ""] {
            assert_eq!(upload_path(other), None, "{other}");
        }
    }
}
