//! Answers to push and pull.

use super::link::rest_until;
use super::machine::Tray;
use super::on_device::TrayEntry;
use super::plan::{Plan, Write};
use super::row::{AsideWhy, Delivery};
use super::status::Class;
use crate::ids::{EntryId, JobId};
use crate::job_file::Entry;
use crate::job_file::entry::NotAnEntry;
use crate::wire::sync::{HeldWhy, PullReply, PulledEntry, PushReply, PushVerdict};
use std::collections::{BTreeMap, BTreeSet};

/// An answer whose columns contradict its bytes is no answer. An envelope of a newer app passes: it is kept unread.
pub(super) fn is_consistent(reply: &PullReply) -> bool {
    reply.entries.iter().all(|pulled| match Entry::read(&pulled.envelope) {
        Ok(entry) => entry.header.id == pulled.id && entry.header.job == pulled.job,
        Err(NotAnEntry::Version(_)) => true,
        Err(NotAnEntry::TooLarge | NotAnEntry::Malformed | NotAnEntry::BodyHash | NotAnEntry::Chain) => false,
    })
}

/// How far a job goes without a gap from `base`, given stamps in any order.
fn reach(base: u64, positions: &mut [u64]) -> u64 {
    positions.sort_unstable();
    positions.iter().fold(base, |reached, position| if *position == reached + 1 { *position } else { reached })
}

impl Tray {
    fn entry(&self, id: EntryId) -> Option<&TrayEntry> {
        self.here.entries.iter().find(|entry| entry.id == id)
    }

    /// Says whether the server lives another life than the one that the positions belong to.
    fn take_epoch(&mut self, epoch: &[u8], plan: &mut Plan) -> bool {
        if self.here.epoch == epoch {
            return false;
        }
        let offer_again = !self.here.epoch.is_empty();
        plan.push(Write::Epoch { epoch: epoch.to_vec(), offer_again });
        if offer_again {
            self.link.offsets.clear();
            self.link.next_pull_ms = 0;
        }
        offer_again
    }

    pub(super) fn take_push(&mut self, asked: &[EntryId], reply: &PushReply, now_ms: u64, plan: &mut Plan) {
        self.link.push.went_well();
        self.link.pull_first = false;
        self.link.grow_batch();
        self.link.next_pull_ms = self.link.next_pull_ms.min(now_ms + super::PULL_EVERY_MS);
        let other_life = self.take_epoch(&reply.epoch, plan);
        let mut stamped: BTreeMap<JobId, Vec<u64>> = BTreeMap::new();
        for (id, verdict) in asked.iter().zip(&reply.verdicts) {
            match verdict {
                PushVerdict::Stored(stamp) | PushVerdict::Had(stamp) => {
                    plan.push(Write::Confirm(*id, *stamp));
                    if let Some(entry) = self.entry(*id) {
                        stamped.entry(entry.job).or_default().push(stamp.position);
                    }
                }
                PushVerdict::Held(why) => plan.push(Write::Hold(*id, *why)),
                PushVerdict::Refused(why) => plan.push(Write::SetAside(*id, AsideWhy::Refused(*why))),
            }
        }
        // Own entries that follow at once on what was pulled need not be pulled back.
        for (job, mut positions) in stamped {
            let base = if other_life { 0 } else { self.here.jobs.get(&job).map_or(0, |here| here.position) };
            let reached = reach(base, &mut positions);
            if reached > base {
                plan.push(Write::Position(job, reached));
            }
        }
    }

    pub(super) fn take_pull(&mut self, have: &[(JobId, u64)], reply: PullReply, now_ms: u64, plan: &mut Plan) {
        self.link.pull.went_well();
        self.link.pull_first = false;
        self.link.pulled(reply.more, now_ms);
        let other_life = self.take_epoch(&reply.epoch, plan);
        let asked_from: BTreeMap<JobId, u64> = have.iter().copied().collect();
        let mut by_job: BTreeMap<JobId, Vec<u64>> = BTreeMap::new();
        for PulledEntry { job, id, stamp, envelope } in reply.entries {
            by_job.entry(job).or_default().push(stamp.position);
            plan.push(Write::Store { job, id, stamp, envelope: envelope.into() });
        }
        for (job, mut positions) in by_job {
            let base = if other_life { 0 } else { asked_from.get(&job).copied().unwrap_or(0) };
            let reached = reach(base, &mut positions);
            if reached > base {
                plan.push(Write::Position(job, reached));
            }
        }
        let visible: BTreeSet<JobId> = reply.manifest.iter().map(|head| head.job).collect();
        if other_life {
            // The positions asked for were of another life, so this answer may be cut anywhere: ask again at once. And
            // nothing is dropped now, for a restored server may not know yet what it had known.
            self.link.next_pull_ms = 0;
        } else {
            for job in self.here.jobs.keys().filter(|job| !visible.contains(job) && self.here.is_clear(**job)) {
                plan.push(Write::Drop(*job));
            }
        }
        // Who opens the job lets in what waited for it, but knows only those whose own author had brought them. So what is
        // held here for want of its job goes once more when the job is there.
        let orphans = self.here.entries.iter().filter(|entry| entry.delivery == Delivery::Held(HeldWhy::NoSuchJob));
        for entry in orphans.filter(|entry| visible.contains(&entry.job)) {
            plan.push(Write::Rest { id: entry.id, tries: 0, not_before_ms: 0 });
        }
        if reply.reference_version != self.here.reference_version {
            self.link.wanted_reference = reply.reference_version;
        }
        self.link.methods_of_jobs.extend(self.here.without(reply.methods));
    }

    /// A push came to nothing, and it is not known why.
    pub(super) fn push_failed(&mut self, asked: &[EntryId], now_ms: u64, jitter: u32, plan: &mut Plan) {
        self.link.push.failed(now_ms, jitter);
        if self.link.contact_since_push_failure {
            // The way is open and this batch fails: looking for the guilty one must not take the night.
            self.link.push.went_well();
            self.link.push.failed(now_ms, jitter);
            self.halve_or(asked, plan, |tray, id, plan| tray.entry_failed_alone(id, now_ms, plan));
        }
        self.link.contact_since_push_failure = false;
    }

    /// A push was refused by its status.
    pub(super) fn push_refused(
        &mut self,
        asked: &[EntryId],
        class: Class,
        status: u16,
        now_ms: u64,
        jitter: u32,
        plan: &mut Plan,
    ) {
        match class {
            Class::AskAgain | Class::PhotosWait => self.push_failed(asked, now_ms, jitter, plan),
            Class::TooLarge => {
                self.halve_or(asked, plan, |_, id, plan| plan.push(Write::SetAside(id, AsideWhy::TooLarge)));
            }
            Class::SetAside
            | Class::Gone
            | Class::WrongBytes
            | Class::Retry
            | Class::SignIn
            | Class::NotOurs
            | Class::Update => {
                self.halve_or(asked, plan, |_, id, plan| plan.push(Write::SetAside(id, AsideWhy::Status(status))));
            }
        }
    }

    fn halve_or(&mut self, asked: &[EntryId], plan: &mut Plan, alone: impl FnOnce(&Self, EntryId, &mut Plan)) {
        if let [only] = asked {
            alone(self, *only, plan);
        } else {
            let bytes = asked.iter().filter_map(|id| self.entry(*id)).map(|entry| entry.bytes).sum();
            self.link.halve_batch(asked.len(), bytes);
        }
    }

    fn entry_failed_alone(&self, id: EntryId, now_ms: u64, plan: &mut Plan) {
        let tries = match self.entry(id).map(|entry| entry.delivery) {
            Some(Delivery::Waiting { tries, .. }) => tries.saturating_add(1),
            Some(Delivery::Confirmed | Delivery::Held(_) | Delivery::Aside(_)) | None => return,
        };
        plan.push(Write::Rest { id, tries, not_before_ms: rest_until(now_ms, tries) });
    }
}
