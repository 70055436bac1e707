//! Uploads, one step at a time, so that facts always come between two slices.

use super::line::HeldBack;
use super::link::rest_until;
use super::machine::Tray;
use super::on_device::{TrayPhoto, is_due};
use super::plan::{PhotoWrite, Plan};
use super::request::{PhotoAnswer, PhotoStep, Request};
use super::row::{AsideWhy, PhotoDelivery, PhotoKey};
use super::status::Class;

impl Tray {
    fn photo(&self, key: PhotoKey) -> Option<&TrayPhoto> {
        self.here.photos.iter().find(|photo| photo.key == key)
    }

    /// Previews first, then what failed least, then the oldest.
    pub(super) fn photo_step(&self, now_ms: u64) -> Option<Request> {
        let next = self
            .here
            .photos
            .iter()
            .filter(|photo| self.rule.lets_go(photo.role, photo.added_ms))
            .filter_map(|photo| match &photo.delivery {
                PhotoDelivery::Waiting { tries, not_before_ms, upload, .. } => is_due(*not_before_ms, now_ms)
                    .then_some(((photo.role, *tries, photo.added_ms, photo.key), photo, upload)),
                PhotoDelivery::Confirmed { .. } | PhotoDelivery::Aside(_) => None,
            })
            .min_by_key(|(order, _, _)| *order);
        let (_, photo, upload) = next?;
        let step = match (upload, self.link.offsets.get(&photo.key)) {
            (None, _) => PhotoStep::Create { bytes: photo.bytes },
            (Some(upload), Some(&from)) if from < photo.bytes => {
                PhotoStep::Send { upload: upload.clone(), from, to: photo.bytes.min(from + self.link.slice()) }
            }
            (Some(upload), _) => PhotoStep::Ask { upload: upload.clone() },
        };
        Some(Request::Photo(photo.key, step))
    }

    /// Photos that would go now if the person did not keep them until there is Wi-Fi.
    pub fn held_back(&self) -> HeldBack {
        let mut held = HeldBack { line: self.rule.line, ..HeldBack::default() };
        for photo in self.here.photos.iter().filter(|photo| !self.rule.lets_go(photo.role, photo.added_ms)) {
            if let PhotoDelivery::Waiting { offset, .. } = &photo.delivery {
                held.photos += 1;
                held.bytes += photo.bytes.saturating_sub(*offset);
            }
        }
        held
    }

    pub(super) fn take_photo(
        &mut self,
        key: PhotoKey,
        step: &PhotoStep,
        answer: PhotoAnswer,
        now_ms: u64,
        jitter: u32,
        plan: &mut Plan,
    ) {
        self.link.photos.went_well();
        match answer {
            PhotoAnswer::Have => {
                self.link.offsets.remove(&key);
                plan.photo(key, PhotoWrite::Confirm { at_ms: now_ms });
            }
            PhotoAnswer::Created { upload } => {
                self.link.offsets.insert(key, 0);
                plan.photo(key, PhotoWrite::Upload { upload: Some(upload), offset: 0 });
            }
            PhotoAnswer::At { offset, elapsed_ms } => {
                self.take_offset(key, step, offset, elapsed_ms, (now_ms, jitter), plan)
            }
            PhotoAnswer::BytesLost => plan.photo(key, PhotoWrite::SetAside(AsideWhy::BytesLost)),
        }
    }

    fn take_offset(
        &mut self,
        key: PhotoKey,
        step: &PhotoStep,
        offset: u64,
        elapsed_ms: u64,
        (now_ms, jitter): (u64, u32),
        plan: &mut Plan,
    ) {
        let Some(bytes) = self.photo(key).map(|photo| photo.bytes) else { return };
        let upload = match step {
            PhotoStep::Ask { upload } | PhotoStep::Send { upload, .. } => upload.clone(),
            PhotoStep::Create { .. } => return self.photo_failed(key, step, now_ms, jitter, plan),
        };
        if let PhotoStep::Send { from, .. } = step {
            if offset <= *from {
                return self.photo_failed(key, step, now_ms, jitter, plan);
            }
            self.link.measure(offset - from, elapsed_ms);
        }
        if offset < bytes {
            // The server's count is the one that counts, forward or backward.
            self.link.offsets.insert(key, offset);
            plan.photo(key, PhotoWrite::Upload { upload: Some(upload), offset });
        } else {
            // All of it arrived and nobody confirmed a hash. Making it anew asks the question: "have", or once more.
            self.link.offsets.remove(&key);
            plan.photo(key, PhotoWrite::Upload { upload: None, offset: 0 });
            self.photo_failed_alone(key, now_ms, plan);
        }
    }

    /// A step came to nothing, and it is not known why. The next step of this photo asks for its offset.
    pub(super) fn photo_failed(&mut self, key: PhotoKey, step: &PhotoStep, now_ms: u64, jitter: u32, plan: &mut Plan) {
        self.link.photos.failed(now_ms, jitter);
        self.link.offsets.remove(&key);
        if matches!(step, PhotoStep::Send { .. }) {
            self.link.shorten_slice();
        }
        if self.link.contact_since_photo_failure {
            self.photo_failed_alone(key, now_ms, plan);
        }
        self.link.contact_since_photo_failure = false;
    }

    /// The server, or only its store of photos, is away: no photo is to blame, and facts go on. If it is the whole server, the
    /// next push or pull finds out.
    pub(super) fn photos_away(&mut self, key: &PhotoKey, now_ms: u64, jitter: u32) {
        self.link.photos.failed(now_ms, jitter);
        self.link.offsets.remove(key);
    }

    fn photo_failed_alone(&self, key: PhotoKey, now_ms: u64, plan: &mut Plan) {
        let tries = match self.photo(key).map(|photo| &photo.delivery) {
            Some(PhotoDelivery::Waiting { tries, .. }) => tries.saturating_add(1),
            Some(PhotoDelivery::Confirmed { .. } | PhotoDelivery::Aside(_)) | None => return,
        };
        plan.photo(key, PhotoWrite::Rest { tries, not_before_ms: rest_until(now_ms, tries) });
    }

    /// A step was refused by its status.
    pub(super) fn photo_refused(
        &mut self,
        key: PhotoKey,
        step: &PhotoStep,
        (class, status): (Class, u16),
        retry_after_ms: Option<u64>,
        (now_ms, jitter): (u64, u32),
        plan: &mut Plan,
    ) {
        let making = matches!(step, PhotoStep::Create { .. });
        self.link.offsets.remove(&key);
        match class {
            Class::PhotosWait => self.link.photos_wait(now_ms, retry_after_ms, jitter),
            Class::AskAgain => self.photo_failed(key, step, now_ms, jitter, plan),
            Class::Gone if !making => {
                plan.photo(key, PhotoWrite::Upload { upload: None, offset: 0 });
                self.photo_failed_alone(key, now_ms, plan);
            }
            Class::WrongBytes => match self.photo(key).map(|photo| &photo.delivery) {
                Some(PhotoDelivery::Waiting { restarted: false, .. }) => plan.photo(key, PhotoWrite::StartOver),
                Some(_) | None => plan.photo(key, PhotoWrite::SetAside(AsideWhy::WrongBytes)),
            },
            Class::TooLarge if !making && !self.link.slice_is_least() => self.link.shorten_slice(),
            Class::TooLarge => plan.photo(key, PhotoWrite::SetAside(AsideWhy::TooLarge)),
            Class::Gone | Class::SetAside | Class::Retry | Class::SignIn | Class::NotOurs | Class::Update => {
                plan.photo(key, PhotoWrite::SetAside(AsideWhy::Status(status)));
            }
        }
    }
}
