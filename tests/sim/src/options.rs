//! What a seed turns on. Each run has its own mix of faults and its own rates, so that rare pairs of them meet often enough.

use crate::rng::Rng;

/// Milliseconds.
pub(crate) const SECOND: u64 = 1_000;
pub(crate) const MINUTE: u64 = 60 * SECOND;
pub(crate) const HOUR: u64 = 60 * MINUTE;
pub(crate) const DAY: u64 = 24 * HOUR;

/// The mix of one run. Rates are per thousand requests unless they say otherwise.
#[derive(Clone, Debug)]
pub struct Options {
    /// How long people work.
    pub days: u64,
    /// Technicians.
    pub technicians: usize,
    /// Server processes.
    pub processes: usize,
    /// Requests that never arrive.
    pub lost_request: u64,
    /// Answers that never arrive.
    pub lost_answer: u64,
    /// Requests that arrive twice.
    pub repeated: u64,
    /// Answers whose bytes cannot be read.
    pub garbled: u64,
    /// Requests that a proxy answers by a status of its own.
    pub proxy_status: u64,
    /// Photo slices of which the network changes a byte.
    pub corrupt_slice: u64,
    /// Largest delay of one way, milliseconds.
    pub delay_max: u64,
    /// Mean pause between crashes of a process; 0: none.
    pub process_crash_every: u64,
    /// The same for the database.
    pub db_crash_every: u64,
    /// The same for an app.
    pub app_crash_every: u64,
    /// Commits whose answer is lost between database and process, per thousand.
    pub lost_commit_answer: u64,
    /// Commits that the database refuses at the last moment, per thousand.
    pub commit_fails: u64,
    /// Local writes that fail for want of space, per thousand.
    pub quota_fails: u64,
    /// The way to the server goes and comes.
    pub offline: bool,
    /// Login pages of networks.
    pub captive: bool,
    /// Sessions run out.
    pub sessions_expire: bool,
    /// Clocks of phones and servers are wrong, jump and drift.
    pub clocks_wrong: bool,
    /// A backup is restored once.
    pub restore: bool,
    /// Storage of a phone is thrown away by its browser, or a phone is lost.
    pub devices_lost: bool,
    /// A device is revoked.
    pub revoked: bool,
    /// A stranger with a good session sends what no app of ours would.
    pub hostile: bool,
    /// Entries that make a server process fail, per thousand.
    pub poison: u64,
    /// Kinds of a newer app, per thousand entries.
    pub unknown_kinds: u64,
    /// An app that is too old for the server for a while.
    pub app_too_old: bool,
    /// Jobs change hands, are moved and withdrawn.
    pub jobs_move: bool,
    /// Entries in one answer to a pull, so that many runs need several.
    pub pull_most: usize,
}

impl Options {
    /// Of a seed.
    pub(crate) fn of_seed(seed: u64) -> Self {
        Self::draw(&mut Rng::of(seed))
    }

    /// Drawn from the seed. About half of the faults are on in any run.
    pub(crate) fn draw(rng: &mut Rng) -> Self {
        let mut rate = |most: u64| if rng.chance(550) { rng.below(most + 1) } else { 0 };
        let (lost_request, lost_answer, repeated) = (rate(150), rate(150), rate(100));
        let (garbled, proxy_status, corrupt_slice) = (rate(30), rate(60), rate(80));
        let (lost_commit_answer, commit_fails, quota_fails) = (rate(60), rate(60), rate(60));
        let (poison, unknown_kinds) = (rate(15), rate(120));
        let mut every = |least: u64, most: u64| if rng.chance(550) { rng.between(least, most) } else { 0 };
        let process_crash_every = every(10 * MINUTE, 8 * HOUR);
        let db_crash_every = every(HOUR, 24 * HOUR);
        let app_crash_every = every(5 * MINUTE, 4 * HOUR);
        Self {
            days: rng.between(1, 3),
            technicians: usize::try_from(rng.between(2, 4)).unwrap_or(2),
            processes: usize::try_from(rng.between(2, 3)).unwrap_or(2),
            lost_request,
            lost_answer,
            repeated,
            garbled,
            proxy_status,
            corrupt_slice,
            delay_max: if rng.chance(500) { 400 } else { 45_000 },
            process_crash_every,
            db_crash_every,
            app_crash_every,
            lost_commit_answer,
            commit_fails,
            quota_fails,
            offline: rng.chance(650),
            captive: rng.chance(400),
            sessions_expire: rng.chance(500),
            clocks_wrong: rng.chance(600),
            restore: rng.chance(450),
            devices_lost: rng.chance(350),
            revoked: rng.chance(300),
            hostile: rng.chance(500),
            poison,
            unknown_kinds,
            app_too_old: rng.chance(300),
            jobs_move: rng.chance(700),
            pull_most: if rng.chance(500) { usize::try_from(rng.between(3, 20)).unwrap_or(20) } else { 2_000 },
        }
    }
}
