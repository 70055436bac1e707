//! What a device keeps under a key of its own: the form of sealed bytes. Sealing and opening are the browser's business.
//!
//! Sealed bytes begin with the format byte 1 and a mark, which nothing that is kept plain begins with (an envelope is a CBOR
//! map, reference data is JSON behind its version, a photo is a picture). An envelope keeps its header in the clear beside its
//! sealed whole, for the tray sends in the order of chains and must be able to count what waits also where the key is gone; a
//! header names no person in words and holds no free text.

use crate::job_file::Envelope;
use crate::job_file::header::Header;
use crate::wire::{from_bytes, to_bytes};
use minicbor::bytes::ByteVec;
use minicbor::{Decode, Encode};

/// What sealed bytes begin with: format byte 1, then a mark.
pub const SEALED_MARK: [u8; 8] = *b"\x01wmseal\0";

#[derive(Encode, Decode)]
#[cbor(map)]
struct SealedEnvelope {
    #[n(0)]
    header: ByteVec,
    #[n(1)]
    sealed: ByteVec,
}

/// Are these bytes sealed?
pub fn is_sealed(bytes: &[u8]) -> bool {
    bytes.starts_with(&SEALED_MARK)
}

/// An envelope as it is kept, from what it is in the clear and what it is sealed. `None` for bytes that are no envelope: there
/// is no header to keep in the clear.
pub fn with_header(envelope: &[u8], sealed: &[u8]) -> Option<Vec<u8>> {
    let Envelope { header, .. } = from_bytes(envelope).ok()?;
    let kept = SealedEnvelope { header, sealed: sealed.to_vec().into() };
    Some([SEALED_MARK.as_slice(), &to_bytes(&kept)].concat())
}

/// The sealed whole of an envelope that is kept so.
pub fn sealed_of(kept: &[u8]) -> Option<Vec<u8>> {
    read(kept).map(|kept| kept.sealed.into())
}

/// The header of an envelope that is kept so.
pub fn header_of(kept: &[u8]) -> Option<Header> {
    from_bytes(&read(kept)?.header).ok()
}

fn read(kept: &[u8]) -> Option<SealedEnvelope> {
    from_bytes(kept.strip_prefix(&SEALED_MARK)?).ok()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests may")]

    use super::*;
    use crate::ids::{DeviceId, EntryId, FirmId, JobId, PersonId};
    use crate::job_file::body::Remark;
    use crate::job_file::{Body, ChainHead, Draft, Entry, NotAnEntry};
    use crate::tray::{Delivery, EntryRow, TrayEntry};
    use uuid::Uuid;

    fn entry() -> Entry {
        let id = Uuid::from_u128;
        let draft = Draft {
            id: EntryId::of(id(1)),
            firm: FirmId::of(id(2)),
            job: JobId::of(id(3)),
            author: PersonId::of(id(4)),
            device: DeviceId::of(id(5)),
            salt: [6; 16],
            body: Body::Remark(Remark { at: None, text: "at the back door".into() }),
        };
        Entry::write(draft, ChainHead { seq: 6, ..ChainHead::START }, 0, 1, 0)
    }

    #[test]
    fn a_sealed_envelope_is_no_entry_and_the_tray_still_knows_its_place() {
        let entry = entry();
        let kept = with_header(entry.bytes(), b"sealed").unwrap();
        assert!(is_sealed(&kept) && !is_sealed(entry.bytes()));
        assert_eq!(sealed_of(&kept).unwrap(), b"sealed");
        assert_eq!(header_of(&kept).unwrap(), entry.header);
        assert_eq!(Entry::read(&kept), Err(NotAnEntry::Malformed), "nobody ever takes it for the entry");
        assert!(!kept.windows(9).any(|part| part == b"back door"));

        let row = EntryRow { envelope: kept.into(), stamp: None, delivery: Delivery::FRESH };
        let waiting = TrayEntry::of(entry.header.id, entry.header.job, &row).unwrap();
        assert_eq!((waiting.device, waiting.seq), (entry.header.device, 7));
    }

    #[test]
    fn what_is_not_sealed_opens_as_nothing() {
        assert_eq!(sealed_of(entry().bytes()), None);
        assert_eq!(header_of(&SEALED_MARK), None);
        assert_eq!(with_header(b"no envelope", b"sealed"), None);
        for plain in [b"{}".as_slice(), b"\xff\xd8\xff", b"\x01", b""] {
            assert!(!is_sealed(plain));
        }
    }
}
