//! The server's number on this device: kept until the next one comes, for most of a day is without a network.

use super::JobStore;
use crate::ports::local_store::Space;
use domain::ids::{Hash32, JobId};
use domain::job_file::body::DrawnNumber;
use domain::job_file::{Body, Draft};

const NAME: &str = "drawn-number";

impl JobStore {
    /// Keeps what the server drew. Nothing depends on it: where it cannot be kept it holds until the page ends.
    pub(crate) async fn keep_drawn_number(&self, number: Hash32) {
        if self.0.drawn_number.replace(Some(number)) != Some(number) {
            let _ = self.0.local.put_text(Space::App, NAME.to_owned(), number.bytes().to_vec()).await;
        }
    }

    /// Reads what was kept.
    pub(crate) async fn read_drawn_number(&self) {
        let kept = self.0.local.text(Space::App, NAME.to_owned()).await.ok().flatten();
        if let Some(number) = kept.and_then(|bytes| bytes.try_into().ok()).map(Hash32::of)
            && self.0.drawn_number.get().is_none()
        {
            self.0.drawn_number.set(Some(number));
        }
    }

    /// The entry that carries it, if there is one to be written.
    pub(super) fn number_draft(&self, job: JobId, now_ms: u64) -> Option<(Hash32, Draft)> {
        let (number, who) = (self.0.drawn_number.get()?, self.0.who);
        let draft = Draft {
            id: self.0.ids.entry(now_ms),
            firm: who.firm,
            job,
            author: who.person,
            device: who.device,
            salt: self.0.ids.salt(),
            body: Body::DrawnNumber(DrawnNumber { number }),
        };
        Some((number, draft))
    }
}
