//! Photos at the server: one step of an upload, as `server/src/features/photos` does it.

use crate::Bytes;
use crate::db::{DbWrite, Upload};
use crate::net::Outgoing;
use crate::planted::Planted;
use crate::world::World;
use domain::ids::Hash32;
use domain::tray::{Answer, Failure, PhotoAnswer, PhotoKey, PhotoStep};

impl World<'_> {
    pub(crate) fn photo_step(&mut self, id: u64) {
        let Some(call) = self.calls.remove(&id) else { return };
        let Outgoing::Photo { key, step, content, corrupt } = &call.what else { return };
        let (answer, writes) = match step {
            PhotoStep::Create { bytes } => self.create_upload(*key, *bytes, call.person),
            PhotoStep::Ask { upload } => (self.ask_upload(upload, call.person), Vec::new()),
            PhotoStep::Send { upload, from, to } => {
                self.take_slice(upload, (*from, *to), (content, *corrupt), call.person)
            }
        };
        let fails = !self.healed && self.rng.chance(self.opt.commit_fails);
        if fails {
            return self.reply_to(&call, failed(500));
        }
        self.check_commit(&writes);
        self.db.tables.apply(&writes);
        self.reply_to(&call, answer);
    }

    fn create_upload(&mut self, key: PhotoKey, length: u64, person: usize) -> (Answer, Vec<DbWrite>) {
        let tables = &self.db.tables;
        if tables.arrived.contains(&key) {
            return (have(), Vec::new());
        }
        if self.is(Planted::ArrivalNotNoted) && tables.photos.contains_key(&key.hash) {
            return (have(), Vec::new());
        }
        if self.is(Planted::HaveTooSoon)
            && tables.uploads.values().any(|upload| upload.key == key && upload.received > 0)
        {
            return (have(), Vec::new());
        }
        let person = self.people[person].id;
        let begun = tables.uploads.iter().find(|(_, upload)| upload.key == key && upload.person == person);
        if let Some((id, _)) = begun {
            return (Answer::Photo(PhotoAnswer::Created { upload: id.to_string() }), Vec::new());
        }
        self.db.next_upload += 1;
        let id = self.db.next_upload;
        let upload = Upload { key, person, length, received: 0, content: Bytes::from([]) };
        (Answer::Photo(PhotoAnswer::Created { upload: id.to_string() }), vec![DbWrite::Upload(id, upload)])
    }

    fn upload(&self, upload: &str, person: usize) -> Option<(u64, &Upload)> {
        let id: u64 = upload.parse().ok()?;
        let found = self.db.tables.uploads.get(&id)?;
        (found.person == self.people[person].id).then_some((id, found))
    }

    fn ask_upload(&self, upload: &str, person: usize) -> Answer {
        match self.upload(upload, person) {
            Some((_, found)) => Answer::Photo(PhotoAnswer::At { offset: found.received, elapsed_ms: 0 }),
            None => failed(404),
        }
    }

    fn take_slice(
        &mut self,
        upload: &str,
        (from, to): (u64, u64),
        (content, corrupt): (&Bytes, bool),
        person: usize,
    ) -> (Answer, Vec<DbWrite>) {
        let Some((id, found)) = self.upload(upload, person) else { return (failed(404), Vec::new()) };
        let mut upload = found.clone();
        if from != upload.received {
            return (failed(409), Vec::new());
        }
        // A connection that dies in the middle leaves what had arrived.
        let cut = !self.healed && self.rng.chance(self.opt.lost_answer);
        let reached = if cut { from + self.rng.below(to - from + 1) } else { to };
        upload.received = reached.min(upload.length);
        let whole: Bytes = if corrupt { content.iter().copied().chain([1]).collect() } else { content.clone() };
        if upload.content.len() <= whole.len() {
            upload.content = whole;
        }
        let elapsed_ms = self.rng.between(200, 20_000);
        if upload.received < upload.length {
            let at = Answer::Photo(PhotoAnswer::At { offset: upload.received, elapsed_ms });
            return (if cut { failed(408) } else { at }, vec![DbWrite::Upload(id, upload)]);
        }
        let key = upload.key;
        if Hash32::sha256(&upload.content) != key.hash && !self.is(Planted::PhotoNotHashed) {
            return (failed(460), vec![DbWrite::EndUpload(id)]);
        }
        (have(), vec![DbWrite::Photo(key.hash, upload.content), DbWrite::Arrived(key), DbWrite::EndUpload(id)])
    }
}

const fn have() -> Answer {
    Answer::Photo(PhotoAnswer::Have)
}

const fn failed(status: u16) -> Answer {
    Answer::Failed(Failure::Status { status, retry_after_ms: None })
}
