//! What the server decides about entries at its door, as far as it is a rule and no query: who may bring what, which of a
//! batch is stored first, and how positions and stamps go on.
//!
//! The server asks it inside its transaction and under the firm's lock; the simulation asks the same functions over a
//! model of the database. **Never enters:** SQL, locks, a clock. Start with [`judge`], then [`Numbering`].

use crate::ids::{DeviceId, FirmId, JobId, PersonId};
use crate::job_file::{Body, Content, Entry, NotAnEntry, Stamp};
use crate::people::{Role, may_write};
use crate::wire::sync::{HeldWhy, RefusedWhy};
use std::collections::{BTreeMap, BTreeSet};

/// Who brings a batch, as the database knows them at this moment.
#[derive(Clone, Debug)]
pub struct Sender<'s> {
    /// The tenant.
    pub firm: FirmId,
    /// Who is signed in.
    pub person: PersonId,
    /// Their roles.
    pub roles: &'s [Role],
    /// Their enrolments: revoked or not.
    pub devices: &'s BTreeMap<DeviceId, bool>,
    /// The person or the sending device was shut out: their last work is kept for somebody to look at.
    pub shut_out: bool,
}

/// What is decided about an entry before the firm is locked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Judged {
    /// Nothing is kept.
    Refused(RefusedWhy),
    /// The bytes are kept and a person must look.
    Held(Box<Entry>, HeldWhy),
    /// It may go into the log.
    Good(Box<Entry>),
}

impl Judged {
    /// The entry that may go into the log.
    pub const fn good(&self) -> Option<&Entry> {
        match self {
            Self::Good(entry) => Some(entry),
            Self::Refused(_) | Self::Held(..) => None,
        }
    }

    /// It may go in and opens a job.
    pub fn opens_job(&self) -> bool {
        self.good().is_some_and(opens_job)
    }
}

/// An entry that a job's file begins with.
pub const fn opens_job(entry: &Entry) -> bool {
    matches!(entry.body(), Some(Body::JobPlanned(_)))
}

/// Judges the bytes of one entry. Only bytes that are no entry of this firm are refused; nothing that a person recorded is
/// refused because a rule dislikes it.
pub fn judge(sender: &Sender<'_>, bytes: &[u8]) -> Judged {
    let entry = match Entry::read(bytes) {
        Ok(entry) => entry,
        Err(NotAnEntry::TooLarge) => return Judged::Refused(RefusedWhy::TooLarge),
        Err(NotAnEntry::Version(_)) => return Judged::Refused(RefusedWhy::Version),
        Err(NotAnEntry::Malformed | NotAnEntry::BodyHash | NotAnEntry::Chain) => {
            return Judged::Refused(RefusedWhy::Malformed);
        }
    };
    if entry.header.firm != sender.firm {
        return Judged::Refused(RefusedWhy::OtherFirm);
    }
    match why_held(sender, &entry) {
        Some(why) => Judged::Held(Box::new(entry), why),
        None => Judged::Good(Box::new(entry)),
    }
}

/// Why a person must look first. Whether the job exists is asked last and elsewhere ([`hold_without_job`]): what waits for
/// its job only may be let in without anybody's doing once the job is there.
fn why_held(sender: &Sender<'_>, entry: &Entry) -> Option<HeldWhy> {
    if entry.header.author != sender.person {
        return Some(HeldWhy::AuthorNotYou);
    }
    match sender.devices.get(&entry.header.device) {
        None => return Some(HeldWhy::DeviceNotYours),
        Some(true) => return Some(HeldWhy::DeviceRevoked),
        Some(false) if sender.shut_out => return Some(HeldWhy::DeviceRevoked),
        Some(false) => {}
    }
    match &entry.content {
        Content::Body(body) if may_write(sender.roles, body) => None,
        Content::Body(_) => Some(HeldWhy::RoleMayNot),
        Content::Unreadable => Some(HeldWhy::BodyUnreadable),
        // A newer app's kind, or a body that was erased before it came here: kept as it is.
        Content::Unknown | Content::Erased => None,
    }
}

/// Holds what belongs to no job. `known` are the jobs that exist, read under the firm's lock: another push may be opening
/// one at this moment. A batch may bring the job with it.
pub fn hold_without_job(judged: Vec<Judged>, known: &BTreeSet<JobId>) -> Vec<Judged> {
    let opened: BTreeSet<JobId> =
        judged.iter().filter(|one| one.opens_job()).filter_map(Judged::good).map(|entry| entry.header.job).collect();
    let held = judged.into_iter().map(|one| match one {
        Judged::Good(entry) if !known.contains(&entry.header.job) && !opened.contains(&entry.header.job) => {
            Judged::Held(entry, HeldWhy::NoSuchJob)
        }
        other => other,
    });
    held.collect()
}

/// The places in a batch of what goes into the log, in the order of storing: a plan goes before whatever else came with
/// it, so that a job's first entry is what opens it.
pub fn storing_order(judged: &[Judged]) -> Vec<usize> {
    let mut good: Vec<usize> = (0..judged.len()).filter(|at| judged[*at].good().is_some()).collect();
    good.sort_by_key(|at| !judged[*at].opens_job());
    good
}

/// Positions and stamps as they go on under the firm's lock.
///
/// ```
/// use domain::ids::{JobId, uuid_v7};
/// use domain::intake::Numbering;
/// let job = JobId::of(uuid_v7(1_767_225_600_000, &[1; 10]));
/// let mut numbering = Numbering { last_stamp_us: 500, heads: [(job, 17)].into() };
/// // The machine's clock went back: the stamp does not.
/// let stamp = numbering.next(job, 400);
/// assert_eq!((stamp.time_us, stamp.position), (501, 18));
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Numbering {
    /// The newest stamp of the firm, microseconds since 1970 UTC.
    pub last_stamp_us: u64,
    /// The last position of each job; a job that is absent begins at 1.
    pub heads: BTreeMap<JobId, u64>,
}

impl Numbering {
    /// The stamp of the next entry of a job: one position on, and at least one microsecond after the last stamp of the
    /// firm whatever the machine's clock says.
    pub fn next(&mut self, job: JobId, now_us: u64) -> Stamp {
        self.last_stamp_us = now_us.max(self.last_stamp_us + 1);
        let head = self.heads.entry(job).or_insert(0);
        *head += 1;
        Stamp { time_us: self.last_stamp_us, position: *head }
    }
}

#[cfg(test)]
mod tests;
