//! The two calls: what to send now, and what an answer means.

use super::line::PhotoRule;
use super::link::Link;
use super::on_device::{Counts, JobHere, OnDevice, TrayEntry, is_due};
use super::plan::{Plan, Write};
use super::request::{Answer, Failure, Request};
use super::row::Delivery;
use super::status::{Class, class_of, is_of_the_whole};
use super::{Stop, word::Word};
use crate::ids::{Hash32, JobId};
use crate::wire::limits::{PUSH_BYTES_MAX, PUSH_ENTRIES_MAX};
use std::collections::BTreeMap;

/// Bytes that CBOR adds around an envelope in a push, rounded up.
const FRAME_BYTES: usize = 8;
/// How soon an idle driver should look again.
const IDLE_MS: u64 = 1_000;

/// What is on the device, and what a running app knows of the connection.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tray {
    pub(super) here: OnDevice,
    pub(super) link: Link,
    pub(super) rule: PhotoRule,
}

impl Tray {
    /// At the start of an app.
    pub fn new(here: OnDevice) -> Self {
        Self { here, link: Link::default(), rule: PhotoRule::default() }
    }

    /// The store describes itself anew: after local writes, after a plan was applied, and after applying one failed.
    pub fn refill(&mut self, here: OnDevice) {
        self.here = here;
        self.link.methods_of_jobs.retain(|method| !self.here.methods.contains(method));
        self.link.other_methods.retain(|method| !self.here.methods.contains(method));
    }

    /// Whether what looks empty is empty and what is here can be worked without a network: the server was asked for everything
    /// since the app started, has given it, and no job waits for its method.
    pub fn has_all(&self) -> bool {
        self.link.has_looked() && self.link.methods_of_jobs.is_empty()
    }

    /// What is on the device.
    pub const fn here(&self) -> &OnDevice {
        &self.here
    }

    /// What is known of the connection.
    pub const fn link(&self) -> &Link {
        &self.link
    }

    /// How much is in the tray.
    pub fn counts(&self) -> Counts {
        self.here.counts()
    }

    /// The one word about the state of sync.
    pub fn word(&self) -> Word {
        Word::of(&self.counts(), &self.link)
    }

    /// Something happened that makes an attempt worth while: the network came, the page woke. It brings the next attempt
    /// forward by a bounded amount, so that a flapping link does not turn into a storm.
    pub fn wake(&mut self, now_ms: u64) {
        self.link.wake(now_ms, false);
    }

    /// Somebody touches the device, or our server has answered something else: what rests after failures is tried within seconds.
    /// `true`: something rests.
    pub fn sign_of_life(&mut self, now_ms: u64) -> bool {
        let rests = self.link.rests(now_ms);
        self.link.sign_of_life(now_ms);
        rests
    }

    /// A person asks for an attempt now, even where the server wanted a sign-in: it may have changed its mind.
    pub fn poke(&mut self, now_ms: u64) {
        self.signed_in();
        self.link.wake(now_ms, true);
    }

    /// The person has signed in: the same tray goes on.
    pub fn signed_in(&mut self) {
        if self.link.stop == Some(Stop::SignIn) {
            self.link.stop = None;
        }
    }

    /// Another window of this browser has just had an answer: this one need not ask for a while.
    pub fn heard_elsewhere(&mut self, now_ms: u64) {
        self.link.heard_elsewhere(now_ms);
    }

    /// A job was opened beyond the usual ones: ask for it at once.
    pub fn ask_now(&mut self) {
        self.link.next_pull_ms = 0;
    }

    /// A stream of the server's news has begun (there may be some already: ask) or ended. `jitter` is any random number.
    pub fn live(&mut self, is_live: bool, now_ms: u64, jitter: u32) {
        self.link.live(is_live, now_ms, jitter);
    }

    /// What may go over the line that there is now.
    pub const fn photos_go_by(&mut self, rule: PhotoRule) {
        self.rule = rule;
    }

    /// What to send now: entries, then what is new, then reference data, then previews, then originals.
    ///
    /// `None`: nothing now. Look again after a local write, an event, or a second.
    pub fn next_request(&self, now_ms: u64) -> Option<Request> {
        if self.link.stop.is_some() || !self.link.all.is_due(now_ms) {
            return None;
        }
        let pull_due = self.link.pull.is_due(now_ms) && (self.link.more || is_due(self.link.next_pull_ms, now_ms));
        if self.link.pull_first && pull_due {
            return Some(self.pull());
        }
        if self.link.push.is_due(now_ms)
            && let Some(push) = self.push(now_ms)
        {
            return Some(push);
        }
        if pull_due {
            return Some(self.pull());
        }
        if self.link.reference.is_due(now_ms)
            && let Some(fetch) = self.fetch()
        {
            return Some(fetch);
        }
        if self.link.photos.is_due(now_ms)
            && let Some(step) = self.photo_step(now_ms)
        {
            return Some(step);
        }
        (self.link.pull.is_due(now_ms) && self.owes_a_report()).then(|| self.pull())
    }

    /// How long a driver may sleep when [`Tray::next_request`] had nothing.
    pub const fn sleep_ms(&self) -> u64 {
        IDLE_MS
    }

    /// The request is on its way.
    pub fn begin(&mut self, request: &Request, now_ms: u64) {
        self.link.begin(request, now_ms);
    }

    fn push(&self, now_ms: u64) -> Option<Request> {
        let mut ready: Vec<&TrayEntry> = self
            .here
            .entries
            .iter()
            .filter(|entry| match entry.delivery {
                Delivery::Waiting { not_before_ms, .. } => is_due(not_before_ms, now_ms),
                Delivery::Confirmed | Delivery::Held(_) | Delivery::Aside(_) => false,
            })
            .collect();
        // New facts before those that a restored server may have lost; within a job, each chain in its order.
        ready.sort_by_key(|entry| (entry.again, entry.job, entry.device, entry.seq, entry.id));
        let mut bytes = 0;
        let mut batch = Vec::new();
        for entry in ready.into_iter().take(self.link.batch_entries.min(PUSH_ENTRIES_MAX)) {
            bytes += entry.bytes + FRAME_BYTES;
            if !batch.is_empty() && bytes > self.link.batch_bytes.min(PUSH_BYTES_MAX) {
                break;
            }
            batch.push(entry.id);
        }
        (!batch.is_empty()).then_some(Request::Push(batch))
    }

    fn pull(&self) -> Request {
        let jobs = &self.here.jobs;
        Request::Pull {
            epoch: self.here.epoch.clone(),
            have: jobs.iter().map(|(job, here)| (*job, here.position)).collect(),
            also: jobs.iter().filter(|(_, JobHere { asked, .. })| *asked).map(|(job, _)| *job).collect(),
            waiting: self.waiting(),
            written: self.written(),
        }
    }

    fn written(&self) -> Vec<(JobId, u64)> {
        let mut last: BTreeMap<JobId, u64> = BTreeMap::new();
        for entry in &self.here.entries {
            let seq = last.entry(entry.job).or_default();
            *seq = entry.seq.max(*seq);
        }
        last.into_iter().collect()
    }

    /// Nothing moves, and the server believes that more or less waits here than does. A browser may throw a device's data away at any
    /// time, and the last report is then all that is known of it.
    fn owes_a_report(&self) -> bool {
        self.link.reported_waiting.is_some_and(|reported| reported != self.waiting())
    }

    fn waiting(&self) -> u32 {
        let counts = self.here.counts();
        counts.waiting() + counts.aside
    }

    fn fetch(&self) -> Option<Request> {
        if let Some(method) = self.link.methods_of_jobs.first() {
            return Some(Request::Method(method.clone()));
        }
        if self.link.wanted_reference != 0 && self.link.wanted_reference != self.here.reference_version {
            return Some(Request::Reference);
        }
        self.link.other_methods.first().cloned().map(Request::Method)
    }

    /// What an answer means. The link changes here and now; what is kept changes when the store applies the plan.
    ///
    /// `jitter` is any random number; the same inputs always give the same plan.
    pub fn take_reply(&mut self, request: &Request, answer: Answer, now_ms: u64, jitter: u32) -> Plan {
        self.link.in_flight = None;
        let mut plan = Plan::default();
        match (request, answer) {
            (Request::Push(asked), Answer::Push(reply)) if reply.verdicts.len() == asked.len() => {
                self.link.contact(now_ms);
                self.link.learn_clock(reply.server_us, now_ms);
                self.take_push(asked, &reply, now_ms, &mut plan);
            }
            (Request::Pull { have, waiting, .. }, Answer::Pull(reply)) if super::facts::is_consistent(&reply) => {
                self.link.contact(now_ms);
                self.link.reported_waiting = Some(*waiting);
                self.link.learn_clock(reply.server_us, now_ms);
                self.take_pull(have, reply, now_ms, &mut plan);
            }
            (Request::Reference, Answer::Reference { version, bytes, methods }) => {
                self.link.contact(now_ms);
                self.link.reference.went_well();
                self.link.wanted_reference = 0;
                self.link.other_methods.extend(self.here.without(methods));
                plan.push(Write::Reference { version, bytes });
            }
            (Request::Method(method), Answer::Method(bytes)) if Hash32::sha256(&bytes) == method.hash => {
                self.link.contact(now_ms);
                self.link.reference.went_well();
                self.link.ends_wanting(method);
                plan.push(Write::Method(method.clone(), bytes));
            }
            (Request::Photo(key, step), Answer::Photo(answer)) => {
                self.link.contact(now_ms);
                self.take_photo(*key, step, answer, now_ms, jitter, &mut plan);
            }
            (_, Answer::Failed(failure)) => self.take_failure(request, failure, now_ms, jitter, &mut plan),
            (
                _,
                Answer::Push(_) | Answer::Pull(_) | Answer::Reference { .. } | Answer::Method(_) | Answer::Photo(_),
            ) => {
                self.take_failure(request, Failure::Unreadable, now_ms, jitter, &mut plan);
            }
        }
        plan
    }

    fn take_failure(&mut self, request: &Request, failure: Failure, now_ms: u64, jitter: u32, plan: &mut Plan) {
        match failure {
            Failure::NoConnection => {
                self.link.no_connection = true;
                self.link.all.failed(now_ms, jitter);
                self.narrow(request, now_ms, jitter, plan);
            }
            Failure::NotOurServer => {
                self.link.not_ours = true;
                self.link.all.failed(now_ms, jitter);
            }
            Failure::Unreadable => self.narrow(request, now_ms, jitter, plan),
            Failure::Status { status, retry_after_ms } => {
                // Whatever it says, our server said it: the way there is open.
                self.link.not_ours = false;
                self.link.no_connection = false;
                self.take_status(request, status, retry_after_ms, now_ms, jitter, plan);
            }
        }
        if matches!(request, Request::Push(_)) {
            self.link.pull_first = true;
            self.link.next_pull_ms = self.link.next_pull_ms.min(now_ms);
        } else if matches!(request, Request::Pull { .. }) {
            self.link.pull_first = false;
        }
    }

    fn take_status(
        &mut self,
        request: &Request,
        status: u16,
        retry_after_ms: Option<u64>,
        now_ms: u64,
        jitter: u32,
        plan: &mut Plan,
    ) {
        match class_of(status) {
            Class::SignIn => self.link.stop = Some(Stop::SignIn),
            Class::Update => self.link.stop = Some(Stop::Update),
            Class::NotOurs => {
                self.link.not_ours = true;
                self.link.all.failed(now_ms, jitter);
            }
            Class::Retry => match retry_after_ms {
                Some(wait) => self.link.all.told(now_ms, wait, jitter),
                None if is_of_the_whole(status) => match request {
                    Request::Photo(key, _) => self.photos_away(key, now_ms, jitter),
                    _ => self.link.all.failed(now_ms, jitter),
                },
                None => self.narrow(request, now_ms, jitter, plan),
            },
            class @ (Class::TooLarge
            | Class::SetAside
            | Class::Gone
            | Class::AskAgain
            | Class::WrongBytes
            | Class::PhotosWait) => match request {
                Request::Push(asked) => self.push_refused(asked, class, status, now_ms, jitter, plan),
                Request::Photo(key, step) => {
                    self.photo_refused(*key, step, (class, status), retry_after_ms, (now_ms, jitter), plan);
                }
                Request::Pull { .. } => self.link.pull.failed(now_ms, jitter),
                Request::Reference | Request::Method(_) => self.fetch_failed(request, now_ms, jitter),
            },
        }
    }

    /// The same thing fails while others succeed: the fault may be in what was sent. Half the batch; a single item counts
    /// its tries and, after some, rests.
    fn narrow(&mut self, request: &Request, now_ms: u64, jitter: u32, plan: &mut Plan) {
        match request {
            Request::Push(asked) => self.push_failed(asked, now_ms, jitter, plan),
            Request::Photo(key, step) => self.photo_failed(*key, step, now_ms, jitter, plan),
            Request::Pull { .. } => self.link.pull.failed(now_ms, jitter),
            Request::Reference | Request::Method(_) => self.fetch_failed(request, now_ms, jitter),
        }
    }

    /// One method that cannot be had must not keep the others away: it goes to the end by being asked for anew with the
    /// next pull.
    fn fetch_failed(&mut self, request: &Request, now_ms: u64, jitter: u32) {
        self.link.reference.failed(now_ms, jitter);
        if let Request::Method(method) = request {
            self.link.ends_wanting(method);
        }
    }
}
