//! The tray in words, worked out from what the store says of itself. Pure.

use std::collections::BTreeMap;

use domain::ids::{EntryId, Hash32, JobId};
use domain::job_file::Body;
use domain::tray::{Delivery, OnDevice, PhotoDelivery, PhotoRole, PhotoRow, STUCK_TRIES};

use crate::features::job::load::JobView;
use crate::features::job::page::place_line;
use crate::features::words;
use crate::i18n::Words;
use crate::{t, tn};

/// Something that a person must look at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refused {
    /// What it is.
    pub what: String,
    /// Why it is held or set aside.
    pub why: String,
}

/// A photo on its way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhotoLine {
    /// Its file.
    pub hash: Hash32,
    /// What it shows.
    pub what: String,
    /// How far it is, in words.
    pub how_far: String,
    /// Thousandths that the server had when it last said so.
    pub thousandths: u32,
}

/// The tray of one job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TrayJob {
    /// Which.
    pub job: JobId,
    /// Street and town.
    pub place: String,
    /// What is only on this device, one line a kind.
    pub only_here: Vec<String>,
    /// What rests after failing again and again.
    pub stuck: Option<String>,
    /// Held by the server, or set aside.
    pub refused: Vec<Refused>,
    /// Photos on their way.
    pub photos: Vec<PhotoLine>,
    /// What the server has confirmed.
    pub confirmed: String,
}

/// The tray of every job of which something is or was on this device; those with something to send first.
pub fn tray(w: Words, here: &OnDevice, jobs: &[(JobId, Option<&JobView>, &[PhotoRow])]) -> Vec<TrayJob> {
    let mut all: Vec<TrayJob> = jobs.iter().map(|(job, view, photos)| tray_job(w, here, *job, *view, photos)).collect();
    all.sort_by_key(|job| (job.refused.is_empty(), job.only_here.is_empty(), job.place.clone()));
    all
}

fn tray_job(w: Words, here: &OnDevice, job: JobId, view: Option<&JobView>, photos: &[PhotoRow]) -> TrayJob {
    let counts = here.counts_by_job().get(&job).copied().unwrap_or_default();
    let mut only_here = Vec::new();
    if counts.entries > 0 {
        only_here.push(tn!(w, "tray.entries", counts.entries));
    }
    let pictures = counts.previews + counts.originals;
    if pictures > 0 {
        only_here.push(tn!(w, "tray.photo_files", pictures, size = w.bytes(counts.photo_bytes)));
    }
    let entries = here.entries.iter().filter(|entry| entry.job == job);
    let refused_entries = entries.filter_map(|entry| {
        let why = match entry.delivery {
            Delivery::Held(why) => t!(w, "tray.held", why = w.say(words::held(why))),
            Delivery::Aside(why) => t!(w, "tray.aside", why = words::aside(w, why)),
            Delivery::Waiting { .. } | Delivery::Confirmed => return None,
        };
        Some(Refused { what: entry_name(w, view, entry.id), why })
    });
    let of_job = here.photos.iter().filter(|photo| photo.key.job == job);
    let names = photo_names(w, view);
    let name = |hash: Hash32| names.get(&hash).cloned().unwrap_or_else(|| t!(w, "job.entry.photo").to_owned());
    let refused_photos = of_job.clone().filter_map(|photo| match &photo.delivery {
        PhotoDelivery::Aside(why) => {
            Some(Refused { what: name(photo.key.hash), why: t!(w, "tray.aside", why = words::aside(w, *why)) })
        }
        PhotoDelivery::Waiting { .. } | PhotoDelivery::Confirmed { .. } => None,
    });
    let lines = of_job.filter_map(|photo| match &photo.delivery {
        PhotoDelivery::Waiting { offset, tries, .. } => Some(PhotoLine {
            hash: photo.key.hash,
            what: match photo.role {
                PhotoRole::Preview => t!(w, "tray.preview_of", what = name(photo.key.hash)),
                PhotoRole::Original => name(photo.key.hash),
            },
            how_far: if *tries >= STUCK_TRIES {
                t!(w, "tray.rests", size = w.bytes(photo.bytes))
            } else {
                t!(w, "tray.how_far", sent = w.bytes(*offset), size = w.bytes(photo.bytes))
            },
            thousandths: u32::try_from(offset * 1_000 / photo.bytes.max(1)).unwrap_or(1_000),
        }),
        PhotoDelivery::Aside(_) | PhotoDelivery::Confirmed { .. } => None,
    });
    TrayJob {
        job,
        place: view.map_or_else(|| t!(w, "job.no_site").to_owned(), |view| place_line(w, view)),
        only_here,
        stuck: (counts.stuck > 0).then(|| tn!(w, "tray.stuck", counts.stuck)),
        refused: refused_entries.chain(refused_photos).collect(),
        photos: lines.collect(),
        confirmed: confirmed(w, view, photos),
    }
}

fn confirmed(w: Words, view: Option<&JobView>, photos: &[PhotoRow]) -> String {
    let entries = view.map_or(0, |view| view.entries - view.unstamped);
    let photos = photos.iter().filter(|row| matches!(row.delivery, PhotoDelivery::Confirmed { .. })).count();
    t!(w, "tray.confirmed", entries = entries, photos = photos)
}

/// What an entry is, and at which step.
fn entry_name(w: Words, view: Option<&JobView>, id: EntryId) -> String {
    let Some(view) = view else { return t!(w, "job.entry.other").to_owned() };
    for step in &view.steps {
        for card in &step.requirements {
            if let Some(item) = card.evidence.iter().find(|item| item.id == id) {
                let kind = w.say(words::entry_kind(&item.body));
                return t!(w, "tray.entry_at", kind = kind, step = words::step_title(w, step));
            }
        }
    }
    let key = if view.remarks.iter().any(|remark| remark.id == id) {
        crate::key!("job.entry.remark")
    } else if view.stops.iter().any(|stop| stop.id == id) {
        crate::key!("job.entry.stop")
    } else if view.deviations.iter().any(|deviation| deviation.asked == id) {
        crate::key!("job.entry.deviation")
    } else {
        crate::key!("job.entry.other")
    };
    w.say(key).to_owned()
}

/// What each photo file of a job shows.
fn photo_names(w: Words, view: Option<&JobView>) -> BTreeMap<Hash32, String> {
    let mut names = BTreeMap::new();
    let Some(view) = view else { return names };
    for step in &view.steps {
        for card in &step.requirements {
            for item in &card.evidence {
                if let Body::Photo(photo) = &item.body {
                    let name = t!(w, "tray.entry_at", kind = card.label, step = words::step_title(w, step));
                    let files = core::iter::once(&photo.original).chain(photo.preview.as_ref());
                    names.extend(files.map(|file| (file.hash, name.clone())));
                }
            }
        }
    }
    for deviation in &view.deviations {
        let files = core::iter::once(&deviation.photo).chain(deviation.preview.as_ref());
        names.extend(files.map(|file| (file.hash, t!(w, "job.entry.deviation").to_owned())));
    }
    names
}

#[cfg(test)]
mod tests {
    use super::*;
    use domain::ids::DeviceId;
    use domain::tray::{AsideWhy, PhotoKey, TrayEntry, TrayPhoto};
    use domain::wire::sync::{HeldWhy, RefusedWhy};

    fn job(n: u128) -> JobId {
        JobId::of(uuid::Uuid::from_u128(n))
    }

    fn entry(n: u128, of: JobId, delivery: Delivery) -> TrayEntry {
        let id = uuid::Uuid::from_u128(n);
        let device = DeviceId::of(id);
        TrayEntry { id: EntryId::of(id), job: of, device, seq: 1, made_ms: None, bytes: 10, again: false, delivery }
    }

    #[test]
    fn refusals_come_first_and_say_why() {
        let mut here = OnDevice::default();
        here.entries.push(entry(1, job(1), Delivery::FRESH));
        here.entries.push(entry(2, job(2), Delivery::Held(HeldWhy::DeviceRevoked)));
        here.entries.push(entry(3, job(2), Delivery::Aside(AsideWhy::Refused(RefusedWhy::TooLarge))));
        let w = Words::default();
        let jobs: [(JobId, Option<&JobView>, &[PhotoRow]); 3] =
            [(job(1), None, &[]), (job(2), None, &[]), (job(3), None, &[])];
        let tray = tray(w, &here, &jobs);
        assert_eq!(tray.iter().map(|own| own.job).collect::<Vec<_>>(), [job(2), job(1), job(3)]);
        assert_eq!(tray[0].refused.len(), 2);
        assert!(tray[0].refused[0].why.contains(w.say(words::held(HeldWhy::DeviceRevoked))));
        assert_eq!((tray[1].only_here.len(), tray[2].only_here.len()), (1, 0));
    }

    #[test]
    fn a_photo_says_how_far_it_is() {
        let key = PhotoKey { job: job(1), hash: Hash32::sha256(b"photo") };
        let delivery =
            PhotoDelivery::Waiting { tries: 0, not_before_ms: 0, upload: None, offset: 250_000, restarted: false };
        let photo = TrayPhoto { key, role: PhotoRole::Original, bytes: 1_000_000, added_ms: 0, delivery };
        let here = OnDevice { photos: vec![photo], ..OnDevice::default() };
        let tray = tray(Words::default(), &here, &[(job(1), None, &[])]);
        assert_eq!(tray[0].photos[0].thousandths, 250);
        assert_eq!(tray[0].only_here.len(), 1);
    }
}
