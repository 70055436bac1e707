//! What a running app knows of the connection. None of it survives a restart, and nothing is lost with it.

use super::on_device::is_due;
use super::request::Request;
use super::row::PhotoKey;
use super::{PULL_EVERY_LIVE_MS, PULL_EVERY_MS, REST_MAX_MS};
use crate::job_file::body::MethodRef;
use crate::wire::limits::{PUSH_BYTES_MAX, PUSH_ENTRIES_MAX};
use std::collections::{BTreeMap, BTreeSet};

/// First step of the backoff.
const BACKOFF_BASE_MS: u64 = 2_000;
/// Its last step. Two hundred phones that come back in the same second spread over it.
const BACKOFF_MAX_MS: u64 = 60_000;
/// A sign of life may bring the next attempt forward, but no closer to the last one than this; and it comes no later.
const WAKE_GAP_MS: u64 = 5_000;
/// The same for a person's tap.
const POKE_GAP_MS: u64 = 1_000;
/// Without a figure from the server, photos wait so long when its store is full.
const FULL_WAIT_MS: u64 = 5 * 60 * 1_000;
/// First slice of an upload.
const SLICE_START: u64 = 256 * 1024;
/// Smallest slice: at 50 kbit/s it takes ten seconds.
const SLICE_MIN: u64 = 64 * 1024;
/// Largest slice, well under what the server takes in one PATCH.
const SLICE_MAX: u64 = 4 * 1024 * 1024;
/// A slice should take about so long: short enough to lose little, long enough to be worth its round trip.
const SLICE_TARGET_MS: u64 = 8_000;

/// Sending has stopped until something outside happens; working has not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stop {
    /// The person must sign in.
    SignIn,
    /// The app must be updated.
    Update,
}

/// One kind of traffic and its patience.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Lane {
    failures: u32,
    not_before_ms: u64,
    /// The server named the time: no event brings it forward.
    told: bool,
}

impl Lane {
    pub(super) const fn is_due(&self, now_ms: u64) -> bool {
        is_due(self.not_before_ms, now_ms)
    }

    pub(super) fn went_well(&mut self) {
        *self = Self::default();
    }

    /// Exponential backoff with full jitter.
    pub(super) fn failed(&mut self, now_ms: u64, jitter: u32) {
        let ceiling = BACKOFF_MAX_MS.min(BACKOFF_BASE_MS << self.failures.min(5));
        self.failures = self.failures.saturating_add(1);
        self.not_before_ms = now_ms + part_of(ceiling, jitter);
        self.told = false;
    }

    /// The server said when. A tenth of jitter on top keeps devices from coming back in step, and never early.
    pub(super) fn told(&mut self, now_ms: u64, wait_ms: u64, jitter: u32) {
        let wait = wait_ms.min(REST_MAX_MS / 2);
        self.failures = self.failures.saturating_add(1);
        self.not_before_ms = now_ms + wait + part_of((wait / 10).max(1_000), jitter);
        self.told = true;
    }

    fn bring_forward(&mut self, to_ms: u64) {
        if !self.told {
            self.not_before_ms = self.not_before_ms.min(to_ms);
        }
    }
}

/// `whole` times a random part below 1.
const fn part_of(whole: u64, jitter: u32) -> u64 {
    (whole * jitter as u64) >> 32
}

/// The state of the connection.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    pub(super) all: Lane,
    pub(super) push: Lane,
    pub(super) pull: Lane,
    pub(super) reference: Lane,
    pub(super) photos: Lane,
    pub(super) stop: Option<Stop>,
    /// What the last exchange was, when it failed.
    pub(super) not_ours: bool,
    pub(super) no_connection: bool,
    pub(super) in_flight: Option<Request>,
    last_attempt_ms: u64,
    last_contact_ms: Option<u64>,
    /// All that there is to fetch was fetched once, here or in another window.
    has_looked: bool,
    pub(super) next_pull_ms: u64,
    /// How many items the last pull said were waiting here.
    pub(super) reported_waiting: Option<u32>,
    /// The server says when there is something to ask for.
    is_live: bool,
    pub(super) more: bool,
    /// A push failed: see first whether anything goes, since only then the fault is in what was sent.
    pub(super) pull_first: bool,
    pub(super) contact_since_push_failure: bool,
    pub(super) contact_since_photo_failure: bool,
    pub(super) batch_entries: usize,
    pub(super) batch_bytes: usize,
    slice: u64,
    /// Offsets that the server named in this run of the app.
    pub(super) offsets: BTreeMap<PhotoKey, u64>,
    pub(super) wanted_reference: u64,
    /// Without these a job on the device cannot be worked.
    pub(super) methods_of_jobs: BTreeSet<MethodRef>,
    /// The firm's others: a job may be planned with them.
    pub(super) other_methods: BTreeSet<MethodRef>,
    clock_ahead_ms: Option<i64>,
}

impl Default for Link {
    fn default() -> Self {
        Self {
            all: Lane::default(),
            push: Lane::default(),
            pull: Lane::default(),
            reference: Lane::default(),
            photos: Lane::default(),
            stop: None,
            not_ours: false,
            no_connection: false,
            in_flight: None,
            last_attempt_ms: 0,
            last_contact_ms: None,
            has_looked: false,
            next_pull_ms: 0,
            reported_waiting: None,
            is_live: false,
            more: false,
            pull_first: false,
            contact_since_push_failure: false,
            contact_since_photo_failure: false,
            batch_entries: PUSH_ENTRIES_MAX,
            batch_bytes: PUSH_BYTES_MAX,
            slice: SLICE_START,
            offsets: BTreeMap::new(),
            wanted_reference: 0,
            methods_of_jobs: BTreeSet::new(),
            other_methods: BTreeSet::new(),
            clock_ahead_ms: None,
        }
    }
}

impl Link {
    /// Why nothing is sent, if so.
    pub const fn stop(&self) -> Option<Stop> {
        self.stop
    }

    /// When our server last answered, device clock.
    pub const fn last_contact_ms(&self) -> Option<u64> {
        self.last_contact_ms
    }

    /// How far the device's clock is ahead of the server's; negative when it is behind. Shown to the person, used for
    /// nothing else.
    pub const fn clock_ahead_ms(&self) -> Option<i64> {
        self.clock_ahead_ms
    }

    /// The request under way.
    pub const fn in_flight(&self) -> Option<&Request> {
        self.in_flight.as_ref()
    }

    pub(super) fn begin(&mut self, request: &Request, now_ms: u64) {
        self.in_flight = Some(request.clone());
        self.last_attempt_ms = now_ms;
    }

    /// Our server answered with something to use.
    pub(super) fn contact(&mut self, now_ms: u64) {
        self.is_open_again(now_ms);
        self.last_contact_ms = Some(now_ms);
        self.not_ours = false;
        self.no_connection = false;
        self.all.went_well();
        self.contact_since_push_failure = true;
        self.contact_since_photo_failure = true;
    }

    /// Our server answered another window. It says nothing about what this one has tried.
    pub(super) fn heard_elsewhere(&mut self, now_ms: u64) {
        self.is_open_again(now_ms);
        self.last_contact_ms = Some(now_ms);
        self.not_ours = false;
        self.no_connection = false;
        self.has_looked = true;
        self.pull_soon(now_ms);
    }

    /// After a time without a way to the server: what failed for lack of it need not rest as long as it was going to. What fails while
    /// the server answers does.
    fn is_open_again(&mut self, now_ms: u64) {
        if self.no_connection || self.not_ours {
            self.sign_of_life(now_ms);
        }
    }

    /// It is here, or it cannot be had now and is named again by the next pull.
    pub(super) fn ends_wanting(&mut self, method: &MethodRef) {
        self.methods_of_jobs.remove(method);
        self.other_methods.remove(method);
    }

    /// Everything was asked for since the app started, and has come.
    pub(super) const fn has_looked(&self) -> bool {
        self.has_looked
    }

    pub(super) fn pulled(&mut self, more: bool, now_ms: u64) {
        self.more = more;
        self.has_looked |= !more;
        self.pull_soon(now_ms);
    }

    pub(super) fn learn_clock(&mut self, server_us: u64, now_ms: u64) {
        self.clock_ahead_ms = Some(i64::try_from(now_ms).unwrap_or(0) - i64::try_from(server_us / 1_000).unwrap_or(0));
    }

    pub(super) const fn pull_soon(&mut self, now_ms: u64) {
        self.next_pull_ms = now_ms + if self.is_live { PULL_EVERY_LIVE_MS } else { PULL_EVERY_MS };
    }

    /// A stream of news has begun or ended. After its end the server is asked soon, and not by all devices in one moment.
    pub(super) fn live(&mut self, is_live: bool, now_ms: u64, jitter: u32) {
        self.is_live = is_live;
        if !is_live {
            self.next_pull_ms = self.next_pull_ms.min(now_ms + part_of(PULL_EVERY_MS, jitter));
        }
    }

    pub(super) fn photos_wait(&mut self, now_ms: u64, asked_ms: Option<u64>, jitter: u32) {
        self.photos.told(now_ms, asked_ms.unwrap_or(FULL_WAIT_MS), jitter);
    }

    pub(super) fn wake(&mut self, now_ms: u64, by_hand: bool) {
        let soonest = self.soonest(now_ms, if by_hand { POKE_GAP_MS } else { WAKE_GAP_MS });
        self.bring_forward(soonest);
        self.next_pull_ms = self.next_pull_ms.min(soonest);
    }

    /// What rests after failures is tried soon; what goes well keeps its times.
    pub(super) fn sign_of_life(&mut self, now_ms: u64) {
        self.bring_forward(self.soonest(now_ms, WAKE_GAP_MS));
    }

    /// Does anything rest after a failure?
    pub(super) fn rests(&self, now_ms: u64) -> bool {
        [&self.all, &self.push, &self.pull, &self.reference, &self.photos].iter().any(|lane| !lane.is_due(now_ms))
    }

    fn soonest(&self, now_ms: u64, gap: u64) -> u64 {
        now_ms.max(self.last_attempt_ms + gap).min(now_ms + gap)
    }

    fn bring_forward(&mut self, to_ms: u64) {
        for lane in [&mut self.all, &mut self.push, &mut self.pull, &mut self.reference, &mut self.photos] {
            lane.bring_forward(to_ms);
        }
    }

    /// The batch that failed was too much in one way or another: half of it next time.
    pub(super) fn halve_batch(&mut self, entries: usize, bytes: usize) {
        self.batch_entries = (entries / 2).max(1);
        self.batch_bytes = (bytes / 2).max(1);
    }

    pub(super) fn grow_batch(&mut self) {
        self.batch_entries = (self.batch_entries * 2).min(PUSH_ENTRIES_MAX);
        self.batch_bytes = (self.batch_bytes * 2).min(PUSH_BYTES_MAX);
    }

    pub(super) const fn slice(&self) -> u64 {
        self.slice
    }

    /// Learns from a slice: towards the length that takes [`SLICE_TARGET_MS`], by a factor of two at most.
    pub(super) fn measure(&mut self, bytes: u64, elapsed_ms: u64) {
        if elapsed_ms == 0 || bytes == 0 {
            return;
        }
        let ideal = bytes.saturating_mul(SLICE_TARGET_MS) / elapsed_ms;
        self.slice = ideal.clamp(self.slice / 2, self.slice * 2).clamp(SLICE_MIN, SLICE_MAX);
    }

    pub(super) fn shorten_slice(&mut self) {
        self.slice = (self.slice / 2).max(SLICE_MIN);
    }

    pub(super) const fn slice_is_least(&self) -> bool {
        self.slice <= SLICE_MIN
    }
}

/// How long an item that failed alone rests: not at all for the first tries, then ten minutes and doubling.
pub(super) fn rest_until(now_ms: u64, tries: u16) -> u64 {
    const FIRST_REST_MS: u64 = 10 * 60 * 1_000;
    match tries.checked_sub(super::STUCK_TRIES) {
        None => now_ms,
        Some(beyond) => now_ms + (FIRST_REST_MS << beyond.min(8)).min(REST_MAX_MS / 2),
    }
}
