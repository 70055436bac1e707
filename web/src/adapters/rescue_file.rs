//! The file that `rescue.html` saves: a ZIP without compression whose `manifest.json` names every part with its SHA-256.
//! Only the list of parts is read at once; a part's bytes are fetched when they are wanted, for photos are large.

use domain::ids::Hash32;
use js_sys::ArrayBuffer;
use serde::Deserialize;
use wasm_bindgen::JsCast;
use wasm_bindgen_futures::JsFuture;

use super::camera::ChosenFile;
use super::file_bytes::FileBytes;

const FORMAT: &str = "witnessmark-rescue";
const VERSION: u32 = 1;
const MANIFEST: &str = "manifest.json";
/// The end record without its comment, of which we write none.
const END_BYTES: u64 = 22;
const END_MARK: [u8; 4] = *b"PK\x05\x06";
const INDEX_MARK: [u8; 4] = *b"PK\x01\x02";
/// Fixed parts of an index entry and of a part's own head.
const INDEX_BYTES: usize = 46;
const HEAD_BYTES: u64 = 30;

/// Why a file is not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotARescueFile {
    /// It is something else, or cut short.
    Other,
    /// A newer app made it.
    Newer,
    /// A part is not the bytes that the manifest names.
    Damaged,
}

/// Where a part lies in the file.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Lies {
    name: String,
    from: u64,
    bytes: u64,
}

/// A part as the manifest names it.
#[derive(Clone, Debug, Deserialize)]
struct Named {
    name: String,
    sha256: String,
}

#[derive(Deserialize)]
struct Manifest {
    format: String,
    version: u32,
    files: Vec<Named>,
}

/// An opened file.
pub struct RescueFile {
    file: ChosenFile,
    lies: Vec<Lies>,
    named: Vec<Named>,
}

impl RescueFile {
    /// Reads the list of parts.
    ///
    /// # Errors
    /// [`NotARescueFile`].
    pub async fn open(file: ChosenFile) -> Result<Self, NotARescueFile> {
        let other = || NotARescueFile::Other;
        let size = file.size();
        let end = slice(&file, size.checked_sub(END_BYTES).ok_or_else(other)?, size).await.ok_or_else(other)?.to_vec();
        let (count, index_bytes, index_from) = end_of(&end).ok_or_else(other)?;
        let index = slice(&file, index_from, index_from + index_bytes).await.ok_or_else(other)?.to_vec();
        let lies = index_of(&index, count).ok_or_else(other)?;
        let at = lies.iter().find(|part| part.name == MANIFEST).ok_or_else(other)?;
        let text = slice(&file, at.from, at.from + at.bytes).await.ok_or_else(other)?.to_vec();
        let manifest: Manifest = serde_json::from_slice(&text).map_err(|_| NotARescueFile::Other)?;
        if manifest.format != FORMAT {
            return Err(NotARescueFile::Other);
        }
        if manifest.version != VERSION {
            return Err(NotARescueFile::Newer);
        }
        Ok(Self { file, lies, named: manifest.files })
    }

    /// Names of the parts in a folder, without it.
    pub fn names(&self, folder: &str) -> Vec<String> {
        self.named.iter().filter_map(|part| part.name.strip_prefix(folder)).map(str::to_owned).collect()
    }

    /// The bytes of a part; `None` where there is none of that name.
    ///
    /// # Errors
    /// [`NotARescueFile::Damaged`]: other bytes than the manifest names.
    pub async fn read(&self, name: &str) -> Result<Option<FileBytes>, NotARescueFile> {
        let named = self.named.iter().find(|part| part.name == name);
        let lies = self.lies.iter().find(|part| part.name == name);
        let Some((named, lies)) = named.zip(lies) else { return Ok(None) };
        let bytes = slice(&self.file, lies.from, lies.from + lies.bytes).await.ok_or(NotARescueFile::Damaged)?;
        let hash = match bytes.sha256().await {
            Some(hash) => hash,
            None => Hash32::sha256(&bytes.to_vec()),
        };
        if hash.hex() == named.sha256 { Ok(Some(bytes)) } else { Err(NotARescueFile::Damaged) }
    }
}

#[allow(clippy::cast_precision_loss, reason = "sizes far below 2^53")]
async fn slice(file: &ChosenFile, from: u64, to: u64) -> Option<FileBytes> {
    if to < from || to > file.size() {
        return None;
    }
    let part = file.0.slice_with_f64_and_f64(from as f64, to as f64).ok()?;
    let buffer = JsFuture::from(part.array_buffer()).await.ok()?.dyn_into::<ArrayBuffer>().ok()?;
    Some(FileBytes::of_buffer(buffer))
}

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(bytes.get(at..at + 2)?.try_into().ok()?))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_le_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

/// Number of parts, and size and place of the index.
fn end_of(end: &[u8]) -> Option<(usize, u64, u64)> {
    end.starts_with(&END_MARK)
        .then(|| Some((usize::from(u16_at(end, 10)?), u64::from(u32_at(end, 12)?), u64::from(u32_at(end, 16)?))))?
}

fn index_of(index: &[u8], count: usize) -> Option<Vec<Lies>> {
    let mut rest = index;
    let mut parts = Vec::new();
    for _ in 0..count {
        let is_plain = rest.starts_with(&INDEX_MARK) && u16_at(rest, 10)? == 0;
        if !is_plain {
            return None;
        }
        let bytes = u64::from(u32_at(rest, 24)?);
        let name_bytes = usize::from(u16_at(rest, 28)?);
        let skipped = usize::from(u16_at(rest, 30)?) + usize::from(u16_at(rest, 32)?);
        let head = u64::from(u32_at(rest, 42)?);
        let name = core::str::from_utf8(rest.get(INDEX_BYTES..INDEX_BYTES + name_bytes)?).ok()?.to_owned();
        parts.push(Lies { from: head + HEAD_BYTES + name_bytes as u64, name, bytes });
        rest = rest.get(INDEX_BYTES + name_bytes + skipped..)?;
    }
    Some(parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(name: &str, method: u16, bytes: u32, head: u32) -> Vec<u8> {
        let mut made = INDEX_MARK.to_vec();
        made.resize(INDEX_BYTES, 0);
        made[10..12].copy_from_slice(&method.to_le_bytes());
        made[24..28].copy_from_slice(&bytes.to_le_bytes());
        made[28..30].copy_from_slice(&u16::try_from(name.len()).expect("short").to_le_bytes());
        made[42..46].copy_from_slice(&head.to_le_bytes());
        made.extend_from_slice(name.as_bytes());
        made
    }

    #[test]
    fn parts_lie_behind_their_heads() {
        let index = [entry("a/entry/1", 0, 5, 0), entry("manifest.json", 0, 7, 44)].concat();
        let parts = index_of(&index, 2).expect("an index");
        assert_eq!((parts[0].from, parts[0].bytes), (39, 5));
        assert_eq!(parts[1], Lies { name: "manifest.json".into(), from: 87, bytes: 7 });
    }

    #[test]
    fn what_is_compressed_cut_or_something_else_is_refused() {
        assert_eq!(index_of(&entry("a", 8, 5, 0), 1), None);
        assert_eq!(index_of(&entry("a", 0, 5, 0), 2), None);
        assert_eq!(index_of(b"%PDF-1.7", 1), None);
        assert_eq!(end_of(b"%PDF-1.7 with some text"), None);
    }
}
