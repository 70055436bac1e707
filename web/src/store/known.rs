//! Job files as they were read last. An entry never changes; so what was read and checked once needs only to be compared with
//! the row, byte by byte, and a tap on a long job does not read hundreds of entries twice.

use domain::ids::{EntryId, JobId};
use domain::job_file::{Entry, JobFile};
use domain::tray::EntryRow;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// What is known of each job.
#[derive(Default)]
pub(super) struct KnownFiles(RefCell<BTreeMap<JobId, Rc<JobFile>>>);

/// What stands in the rows of a job.
#[derive(Default)]
pub(super) struct ReadFile {
    /// Every entry that this app can read.
    pub(super) file: Rc<JobFile>,
    /// The others.
    pub(super) unreadable: Vec<EntryId>,
}

impl KnownFiles {
    /// Exactly what these rows hold, whatever was known before.
    pub(super) fn read(&self, job: JobId, rows: &[(EntryId, EntryRow)]) -> ReadFile {
        let known = self.0.borrow_mut().remove(&job).unwrap_or_default();
        let read = read(known, rows).unwrap_or_else(|| read_anew(rows));
        self.0.borrow_mut().insert(job, Rc::clone(&read.file));
        read
    }
}

/// `None`: something that is known does not stand there, or otherwise.
fn read(file: Rc<JobFile>, rows: &[(EntryId, EntryRow)]) -> Option<ReadFile> {
    let mut read = ReadFile { file, unreadable: Vec::new() };
    for (id, row) in rows {
        match read.file.get(*id) {
            Some(held) if held.entry.bytes() != row.envelope.as_slice() => return None,
            Some(held) if held.stamp == row.stamp => {}
            Some(held) if held.stamp.is_some() => return None,
            Some(_) | None => read.take_in(*id, row),
        }
    }
    (read.file.len() + read.unreadable.len() == rows.len()).then_some(read)
}

fn read_anew(rows: &[(EntryId, EntryRow)]) -> ReadFile {
    let mut read = ReadFile::default();
    rows.iter().for_each(|(id, row)| read.take_in(*id, row));
    read
}

impl ReadFile {
    fn take_in(&mut self, id: EntryId, row: &EntryRow) {
        match Entry::read(&row.envelope) {
            Ok(entry) => {
                Rc::make_mut(&mut self.file).absorb(entry, row.stamp);
            }
            Err(_) => self.unreadable.push(id),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use domain::ids::{DeviceId, FirmId, PersonId};
    use domain::job_file::body::Remark;
    use domain::job_file::{Body, ChainHead, Draft, Stamp};
    use domain::tray::Delivery;
    use uuid::Uuid;

    fn job() -> JobId {
        JobId::of(Uuid::from_u128(7))
    }

    fn row(n: u128, text: &str, stamp: Option<u64>) -> (EntryId, EntryRow) {
        let id = EntryId::of(Uuid::from_u128(n));
        let body = Body::Remark(Remark { at: None, text: text.into() });
        let (firm, author, device) =
            (FirmId::of(Uuid::from_u128(1)), PersonId::of(Uuid::from_u128(2)), DeviceId::of(Uuid::from_u128(n)));
        let draft = Draft { id, firm, job: job(), author, device, salt: [3; 16], body };
        let entry = Entry::write(draft, ChainHead::START, 0, 1_000, 0);
        let stamp = stamp.map(|position| Stamp { time_us: 5_000, position });
        (id, EntryRow { envelope: entry.bytes().to_vec().into(), stamp, delivery: Delivery::FRESH })
    }

    /// What is known gives what reading anew gives.
    fn same(known: &KnownFiles, rows: &[(EntryId, EntryRow)]) {
        let (read, anew) = (known.read(job(), rows), read_anew(rows));
        assert_eq!(read.file, anew.file);
        assert_eq!(read.unreadable, anew.unreadable);
    }

    #[test]
    fn what_is_known_never_differs_from_the_rows() {
        let known = KnownFiles::default();
        let damaged = (EntryId::of(Uuid::from_u128(9)), EntryRow { envelope: vec![1, 2].into(), ..row(9, "", None).1 });
        same(&known, &[]);
        same(&known, &[row(1, "a", None)]);
        same(&known, &[row(1, "a", None), row(2, "b", None), damaged.clone()]);
        // Stamped.
        same(&known, &[row(1, "a", Some(1)), row(2, "b", None), damaged.clone()]);
        // Another stamp, as after a restored server.
        same(&known, &[row(1, "a", Some(4)), row(2, "b", None), damaged.clone()]);
        same(&known, &[row(1, "a", None), row(2, "b", None)]);
        // Gone, and another in its place.
        same(&known, &[row(2, "b", None)]);
        same(&known, &[row(3, "c", None)]);
        // Other bytes under the same id.
        same(&known, &[row(3, "d", None), damaged]);
        same(&known, &[]);
    }

    #[test]
    fn what_did_not_change_is_not_read_again() {
        let known = KnownFiles::default();
        let rows = [row(1, "a", Some(1)), row(2, "b", None)];
        let first = known.read(job(), &rows).file;
        assert!(Rc::ptr_eq(&first, &known.read(job(), &rows).file));
    }
}
