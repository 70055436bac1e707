//! Whether a proof of dead still held when somebody worked on it, worked out a second time from the bare entries: leaving, a lock that
//! changed hands and switching on end it. The gates may ask for more (an hour of silence ends it too), never for less.

use crate::planted::Planted;
use crate::world::World;
use domain::ids::{DeviceId, EntryId, JobId, PersonId};
use domain::job_file::{Body, Held, JobFile, JobState, fold};

/// The records of a proof, in the simulation's method.
const PROOFS: [&str; 2] = ["dead", "after"];
/// Work inside the board.
const INSIDE: [&str; 2] = ["floor", "shim"];
/// Power can reach it.
const ENDS: &str = "end";

impl World<'_> {
    /// A file as gates see it that forget what a planted fault makes them forget.
    pub(crate) fn as_gates_see(&self, file: JobFile) -> JobFile {
        let forgotten = |body: Option<&Body>| match body {
            Some(Body::WentAway(_) | Body::CameBack(_)) => self.is(Planted::LeavingForgotten),
            Some(Body::LockHandedOver(_)) => self.is(Planted::HandoverForgotten),
            _ => false,
        };
        if !file.iter().any(|held| forgotten(held.entry.body())) {
            return file;
        }
        let mut seen = JobFile::default();
        for held in file.iter().filter(|held| !forgotten(held.entry.body())) {
            seen.absorb(held.entry.clone(), held.stamp);
        }
        seen
    }

    /// Nothing counts that was recorded inside on a proof that had ended.
    pub(crate) fn check_proofs(&mut self) {
        let jobs: Vec<JobId> = self.db.tables.jobs.keys().copied().collect();
        for job in jobs {
            let whole = self.db.tables.file(job);
            let seen = self.as_gates_see(self.db.tables.file(job));
            let state = fold(&seen, self.plan);
            if let Some(id) = worked_on_an_ended_proof(&whole, &state) {
                return self.violated(format!("{id} counts, and no proof of dead held for its author"));
            }
        }
    }
}

/// Evidence inside that counts, without a reading of each proof after what ended proofs for its author.
fn worked_on_an_ended_proof(file: &JobFile, state: &JobState<'_, '_>) -> Option<EntryId> {
    let counts = |held: &&Held| !state.breaches.contains_key(&held.entry.header.id);
    let work = file.iter().filter(counts).filter(|held| {
        let body = held.entry.body();
        body.is_some_and(|body| body.corrects().is_none()) && is_at(held, |step| INSIDE.contains(&step))
    });
    let keys = file.order_keys();
    let key_of = |held: &Held| keys[&held.entry.header.id];
    for held in work {
        let header = &held.entry.header;
        let view = View {
            author: header.author,
            device: header.device,
            seq: header.seq,
            seen: held.stamp.map_or(header.seen, |stamp| header.seen.min(stamp.position - 1)),
        };
        let known: Vec<&Held> = file.iter().filter(|other| view.holds(other)).filter(counts).collect();
        let end = known.iter().filter(|other| view.is_ended_by(other, &known)).map(|other| key_of(other)).max();
        let is_proved = |step: &&str| {
            let mut readings = known.iter().filter(|other| is_at(other, |own| own == *step));
            readings.any(|other| Some(key_of(other)) > end)
        };
        if !PROOFS.iter().all(is_proved) {
            return Some(header.id);
        }
    }
    None
}

/// What the device of an entry held when it was made, and for whom.
struct View {
    author: PersonId,
    device: DeviceId,
    seq: u64,
    seen: u64,
}

impl View {
    fn holds(&self, other: &Held) -> bool {
        let header = &other.entry.header;
        if header.device == self.device {
            return header.seq < self.seq;
        }
        other.stamp.is_some_and(|stamp| stamp.position <= self.seen)
    }

    fn is_ended_by(&self, other: &Held, known: &[&Held]) -> bool {
        let is_own = other.entry.header.author == self.author;
        match other.entry.body() {
            Some(Body::Paused(_) | Body::LockHandedOver(_)) => true,
            Some(Body::WentAway(_)) => is_own,
            // Coming back ends it for whoever had left.
            Some(Body::CameBack(_)) => {
                let has_left = |one: &&Held| {
                    one.entry.header.author == self.author && matches!(one.entry.body(), Some(Body::WentAway(_)))
                };
                is_own && known.iter().any(has_left)
            }
            _ => is_at(other, |step| step == ENDS),
        }
    }
}

fn is_at(held: &Held, which: impl Fn(&str) -> bool) -> bool {
    held.entry.body().and_then(Body::evidence_place).is_some_and(|place| which(&place.step))
}
