//! The tray against a model of the server and a network that misbehaves.

#![allow(clippy::unwrap_used, reason = "tests may")]

use super::*;
use crate::ids::{CaptureId, DeviceId, EntryId, FirmId, Hash32, JobId, PersonId, uuid_v7};
use crate::job_file::body::{MediaType, MethodRef, PhotoFile, Plain};
use crate::job_file::{Body, Draft, Entry, Stamp};
use crate::wire::sync::{HeldWhy, JobHead, PullReply, PulledEntry, PushReply, PushVerdict, RefusedWhy, SYNC_VERSION};
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

const NOW: u64 = 1_767_225_600_000;
/// Idle devices are asked this often; a divisor of the pull interval.
const IDLE_STEP_MS: u64 = 2_500;

fn job(n: u8) -> JobId {
    JobId::of(uuid_v7(NOW, &[n; 10]))
}

fn device() -> DeviceId {
    DeviceId::of(uuid_v7(NOW, &[200; 10]))
}

#[test]
fn a_device_that_hears_of_news_asks_seldom_and_often_again_after_the_stream() {
    let mut tray = Tray::new(OnDevice::default());
    let pulls = |tray: &mut Tray, now_ms: u64| {
        let due = matches!(tray.next_request(now_ms), Some(Request::Pull { .. }));
        if due {
            let request = tray.next_request(now_ms).unwrap();
            tray.begin(&request, now_ms);
            tray.take_reply(&request, Answer::Pull(nothing_new()), now_ms, 0);
        }
        due
    };
    assert!(pulls(&mut tray, NOW));
    assert!(!pulls(&mut tray, NOW + PULL_EVERY_MS - 1) && pulls(&mut tray, NOW + PULL_EVERY_MS));
    let mut now = NOW + PULL_EVERY_MS;
    tray.live(true, now, 0);
    tray.ask_now();
    assert!(pulls(&mut tray, now), "there may be news already");
    assert!(!pulls(&mut tray, now + PULL_EVERY_LIVE_MS - 1));
    tray.ask_now();
    assert!(pulls(&mut tray, now + 7), "an event is answered at once");
    now += 7;
    assert!(!pulls(&mut tray, now + PULL_EVERY_LIVE_MS - 1) && pulls(&mut tray, now + PULL_EVERY_LIVE_MS));
    now += PULL_EVERY_LIVE_MS;
    tray.live(false, now, u32::MAX);
    assert!(!pulls(&mut tray, now) && pulls(&mut tray, now + PULL_EVERY_MS), "a cut stream is not waited for");
}

fn nothing_new() -> PullReply {
    PullReply {
        version: SYNC_VERSION,
        epoch: Vec::new().into(),
        server_us: NOW * 1_000,
        manifest: Vec::new(),
        entries: Vec::new(),
        more: false,
        methods: Vec::new(),
        reference_version: 0,
        drawn_number: None,
        firm: FirmId::of(uuid_v7(NOW, &[1; 10])),
    }
}

fn write_entry(shelf: &mut Shelf, job: JobId, n: u16) -> EntryId {
    let mut random = [0; 10];
    random[..2].copy_from_slice(&n.to_be_bytes());
    let id = EntryId::of(uuid_v7(NOW + u64::from(n), &random));
    let file = shelf.job_file(job);
    let draft = Draft {
        id,
        firm: FirmId::of(uuid_v7(NOW, &[1; 10])),
        job,
        author: PersonId::of(uuid_v7(NOW, &[2; 10])),
        device: device(),
        salt: [0; 16],
        body: Body::Resumed(Plain {}),
    };
    let entry = Entry::write(draft, file.chain_head(device()), 0, NOW * 1_000, file.latest_at());
    shelf.keep(&[entry], &[]);
    id
}

fn add_photo(shelf: &mut Shelf, job: JobId, n: u16, role: PhotoRole, bytes: u64) -> PhotoKey {
    let content = n.to_be_bytes();
    let file = PhotoFile { hash: Hash32::sha256(&content), bytes, width: 4, height: 3, media: MediaType::Jpeg };
    let row = PhotoRow {
        job,
        file,
        role,
        capture: CaptureId::of(uuid_v7(NOW, &[9; 10])),
        added_ms: NOW + u64::from(n),
        bytes_here: true,
        delivery: PhotoDelivery::fresh(),
    };
    let key = row.key();
    shelf.keep(&[], &[(row, content.to_vec())]);
    key
}

/// How one item behaves on its way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fate {
    Good,
    Refused,
    Held,
    /// Any request that carries it breaks the connection.
    Breaks,
    /// Any request that carries it gets this status.
    Status(u16),
}

#[derive(Default)]
struct Server {
    epoch: Vec<u8>,
    stored: BTreeMap<EntryId, (JobId, Stamp, Vec<u8>)>,
    held: BTreeSet<EntryId>,
    photos: BTreeSet<PhotoKey>,
    uploads: BTreeMap<String, (PhotoKey, u64, u64)>,
    fates: BTreeMap<EntryId, Fate>,
    photo_fates: BTreeMap<PhotoKey, Fate>,
    entries_max: usize,
    requests: usize,
}

impl Server {
    fn new() -> Self {
        Self { epoch: vec![1], entries_max: 1_000, ..Self::default() }
    }

    fn positions(&self, job: JobId) -> u64 {
        u64::try_from(self.stored.values().filter(|(of, _, _)| *of == job).count()).unwrap()
    }

    fn answer(&mut self, request: &Request, shelf: &Shelf) -> Answer {
        self.requests += 1;
        match request {
            Request::Push(ids) => self.push(ids, shelf),
            Request::Pull { epoch, have, .. } => self.pull(epoch, have),
            Request::Reference => Answer::Reference { version: 7, bytes: vec![1], methods: Vec::new() },
            Request::Method(_) => status(404),
            Request::Photo(key, step) => self.photo(*key, step),
        }
    }

    fn push(&mut self, ids: &[EntryId], shelf: &Shelf) -> Answer {
        if ids.len() > self.entries_max {
            return status(413);
        }
        for id in ids {
            match self.fates.get(id) {
                Some(Fate::Breaks) => return Answer::Failed(Failure::NoConnection),
                Some(Fate::Status(code)) => return status(*code),
                Some(Fate::Good | Fate::Refused | Fate::Held) | None => {}
            }
        }
        let verdicts = ids
            .iter()
            .map(|id| match self.fates.get(id) {
                Some(Fate::Refused) => PushVerdict::Refused(RefusedWhy::Malformed),
                Some(Fate::Held) => {
                    self.held.insert(*id);
                    PushVerdict::Held(HeldWhy::RoleMayNot)
                }
                Some(Fate::Good | Fate::Breaks | Fate::Status(_)) | None => {
                    if let Some((_, stamp, _)) = self.stored.get(id) {
                        return PushVerdict::Had(*stamp);
                    }
                    let (job, row) = &shelf.entries[id];
                    let stamp = Stamp { time_us: NOW * 1_000, position: self.positions(*job) + 1 };
                    self.stored.insert(*id, (*job, stamp, row.envelope.to_vec()));
                    PushVerdict::Stored(stamp)
                }
            })
            .collect();
        Answer::Push(PushReply {
            version: SYNC_VERSION,
            epoch: self.epoch.clone().into(),
            server_us: NOW * 1_000,
            verdicts,
        })
    }

    fn pull(&self, epoch: &[u8], have: &[(JobId, u64)]) -> Answer {
        let have: BTreeMap<JobId, u64> =
            if epoch == self.epoch { have.iter().copied().collect() } else { BTreeMap::new() };
        let mut entries: Vec<PulledEntry> = self
            .stored
            .iter()
            .filter(|(_, (job, stamp, _))| stamp.position > have.get(job).copied().unwrap_or(0))
            .map(|(id, (job, stamp, bytes))| PulledEntry {
                job: *job,
                id: *id,
                stamp: *stamp,
                envelope: bytes.clone().into(),
            })
            .collect();
        entries.sort_by_key(|entry| (entry.job, entry.stamp.position));
        let jobs: BTreeSet<JobId> = self.stored.values().map(|(job, _, _)| *job).collect();
        Answer::Pull(PullReply {
            version: SYNC_VERSION,
            epoch: self.epoch.clone().into(),
            server_us: NOW * 1_000,
            manifest: jobs.into_iter().map(|job| JobHead { job, position: self.positions(job) }).collect(),
            entries,
            more: false,
            methods: Vec::new(),
            reference_version: 7,
            firm: FirmId::of(uuid_v7(NOW, &[1; 10])),
            drawn_number: None,
        })
    }

    fn photo(&mut self, key: PhotoKey, step: &PhotoStep) -> Answer {
        match (self.photo_fates.get(&key).copied().unwrap_or(Fate::Good), step) {
            (Fate::Refused | Fate::Held, PhotoStep::Create { .. }) => return status(422),
            (Fate::Breaks, PhotoStep::Send { .. }) => return Answer::Failed(Failure::NoConnection),
            (Fate::Status(code), PhotoStep::Send { .. }) => return status(code),
            (Fate::Good | Fate::Refused | Fate::Held | Fate::Breaks | Fate::Status(_), _) => {}
        }
        Answer::Photo(match step {
            PhotoStep::Create { .. } if self.photos.contains(&key) => PhotoAnswer::Have,
            PhotoStep::Create { bytes } => {
                let upload = format!("/api/photos/uploads/{}", self.requests);
                self.uploads.insert(upload.clone(), (key, 0, *bytes));
                PhotoAnswer::Created { upload }
            }
            PhotoStep::Ask { upload } => match self.uploads.get(upload) {
                Some((_, offset, _)) => PhotoAnswer::At { offset: *offset, elapsed_ms: 0 },
                None => return status(404),
            },
            PhotoStep::Send { upload, from, to } => match self.uploads.get_mut(upload) {
                None => return status(404),
                Some((_, offset, _)) if offset != from => return status(409),
                Some((key, offset, bytes)) => {
                    *offset = *to;
                    if offset == bytes {
                        self.photos.insert(*key);
                        self.uploads.remove(upload);
                        PhotoAnswer::Have
                    } else {
                        PhotoAnswer::At { offset: *offset, elapsed_ms: 1_000 }
                    }
                }
            },
        })
    }
}

fn status(status: u16) -> Answer {
    Answer::Failed(Failure::Status { status, retry_after_ms: None })
}

/// One turn: `None` when there was nothing to do.
fn turn(tray: &mut Tray, shelf: &mut Shelf, server: &mut Server, now: u64) -> Option<Request> {
    tray.refill(shelf.on_device());
    let request = tray.next_request(now)?;
    tray.begin(&request, now);
    let answer = server.answer(&request, shelf);
    let plan = tray.take_reply(&request, answer, now, u32::MAX / 2);
    shelf.apply(plan);
    Some(request)
}

fn run(tray: &mut Tray, shelf: &mut Shelf, server: &mut Server, from: u64, for_ms: u64) {
    let mut now = from;
    while now < from + for_ms {
        if turn(tray, shelf, server, now).is_none() {
            now += IDLE_STEP_MS;
        } else {
            now += 50;
        }
    }
}

#[test]
fn facts_go_before_previews_and_previews_before_originals() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    let id = write_entry(&mut shelf, job(1), 1);
    let original = add_photo(&mut shelf, job(1), 1, PhotoRole::Original, 600_000);
    let preview = add_photo(&mut shelf, job(1), 2, PhotoRole::Preview, 60_000);
    let mut tray = Tray::new(shelf.on_device());
    let mut seen = Vec::new();
    while let Some(request) = turn(&mut tray, &mut shelf, &mut server, NOW) {
        seen.push(request);
    }
    assert!(matches!(&seen[0], Request::Push(ids) if *ids == [id]));
    assert!(matches!(&seen[1], Request::Pull { .. }));
    assert!(matches!(&seen[2], Request::Reference));
    let photo = |request: &Request| match request {
        Request::Photo(key, step) => (*key, step.clone()),
        other => panic!("{other:?}"),
    };
    // The last one tells the server that nothing waits any more.
    let (report, photos) = seen[3..].split_last().unwrap();
    assert!(matches!(report, Request::Pull { waiting: 0, .. }));
    let photos: Vec<_> = photos.iter().map(photo).collect();
    assert_eq!(photos[0], (preview, PhotoStep::Create { bytes: 60_000 }));
    assert!(matches!(photos[1], (key, PhotoStep::Send { from: 0, to: 60_000, .. }) if key == preview));
    assert!(photos[2..].iter().all(|(key, _)| *key == original));
    assert!(photos.len() >= 5, "600 kB go in several slices: {photos:?}");
    tray.refill(shelf.on_device());
    assert_eq!(tray.word(), Word::Confirmed);
    assert_eq!(shelf.jobs[&job(1)].position, 1);
}

#[test]
fn a_batch_that_is_too_large_is_halved_and_a_single_one_set_aside() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    let ids: Vec<EntryId> = (0..20).map(|n| write_entry(&mut shelf, job(1), n)).collect();
    server.entries_max = 3;
    server.fates.insert(ids[7], Fate::Status(413));
    let mut tray = Tray::new(shelf.on_device());
    run(&mut tray, &mut shelf, &mut server, NOW, 60_000);
    assert_eq!(server.stored.len(), 19);
    assert_eq!(shelf.entries[&ids[7]].1.delivery, Delivery::Aside(AsideWhy::TooLarge));
    assert_eq!(tray.counts().aside, 1);
}

#[test]
fn a_chain_stays_in_its_order() {
    let (mut shelf, server) = (Shelf::default(), Server::new());
    for n in 0..30 {
        write_entry(&mut shelf, job(u8::try_from(n % 3).unwrap()), 100 - n);
    }
    let tray = Tray::new(shelf.on_device());
    let Some(Request::Push(ids)) = tray.next_request(NOW) else { panic!("nothing to push") };
    let mut last: BTreeMap<JobId, u64> = BTreeMap::new();
    for id in ids {
        let entry = Entry::read(&shelf.entries[&id].1.envelope).unwrap();
        let before = last.insert(entry.header.job, entry.header.seq).unwrap_or(0);
        assert_eq!(entry.header.seq, before + 1);
    }
    assert_eq!(server.requests, 0);
}

#[test]
fn each_status_has_its_effect_on_a_push() {
    let cases = [
        (400, Some(AsideWhy::Status(400)), None),
        (401, None, Some(Stop::SignIn)),
        (403, Some(AsideWhy::Status(403)), None),
        (409, None, None),
        (413, Some(AsideWhy::TooLarge), None),
        (418, Some(AsideWhy::Status(418)), None),
        (422, Some(AsideWhy::Status(422)), None),
        (426, None, Some(Stop::Update)),
        (429, None, None),
        (500, None, None),
        (503, None, None),
        (507, None, None),
    ];
    for (code, aside, stop) in cases {
        let mut shelf = Shelf::default();
        let id = write_entry(&mut shelf, job(1), 1);
        let mut tray = Tray::new(shelf.on_device());
        let request = Request::Push(vec![id]);
        let plan = tray.take_reply(&request, status(code), NOW, 1 << 31);
        let expected: Vec<Write> = aside.map(|why| Write::SetAside(id, why)).into_iter().collect();
        assert_eq!(plan.writes, expected, "{code}");
        assert_eq!(tray.link().stop(), stop, "{code}");
    }
}

#[test]
fn a_named_wait_is_kept_and_no_event_cuts_it_short() {
    let mut shelf = Shelf::default();
    let id = write_entry(&mut shelf, job(1), 1);
    let mut tray = Tray::new(shelf.on_device());
    let failure = Failure::Status { status: 429, retry_after_ms: Some(120_000) };
    tray.take_reply(&Request::Push(vec![id]), Answer::Failed(failure), NOW, u32::MAX);
    tray.poke(NOW + 60_000);
    assert_eq!(tray.next_request(NOW + 119_999), None);
    assert!(tray.next_request(NOW + 132_000).is_some());
}

/// A tray that could not reach its server so often that it rests for as long as it ever does.
fn long_without_a_way(shelf: &mut Shelf) -> (Tray, EntryId) {
    let id = write_entry(shelf, job(1), 1);
    let mut tray = Tray::new(shelf.on_device());
    for n in 0..10 {
        let request = Request::Push(vec![id]);
        tray.begin(&request, NOW + n);
        tray.take_reply(&request, Answer::Failed(Failure::NoConnection), NOW + n, u32::MAX);
    }
    assert_eq!(tray.next_request(NOW + 59_000), None, "it rests for nearly a minute");
    (tray, id)
}

#[test]
fn after_the_first_sign_of_life_nothing_rests_longer_than_five_seconds() {
    let (mut tray, _) = long_without_a_way(&mut Shelf::default());
    assert!(tray.sign_of_life(NOW + 20_000), "something rests");
    assert!(tray.next_request(NOW + 25_000).is_some());
    // Whoever goes on touching it makes no storm.
    let request = tray.next_request(NOW + 25_000).unwrap();
    tray.begin(&request, NOW + 25_000);
    tray.take_reply(&request, Answer::Failed(Failure::NoConnection), NOW + 25_000, u32::MAX);
    for at in [25_100, 26_000, 29_000] {
        tray.sign_of_life(NOW + at);
        assert_eq!(tray.next_request(NOW + at), None);
    }
    assert!(tray.next_request(NOW + 30_000).is_some());
}

#[test]
fn once_the_server_answers_what_failed_for_lack_of_a_way_goes_within_five_seconds() {
    let mut shelf = Shelf::default();
    let (mut tray, id) = long_without_a_way(&mut shelf);
    let later = NOW + 70_000;
    let request = tray.next_request(later).unwrap();
    assert!(matches!(request, Request::Pull { .. }), "{request:?}");
    tray.begin(&request, later);
    // It fails once more, so that the push rests anew from here.
    tray.take_reply(&Request::Push(vec![id]), Answer::Failed(Failure::NoConnection), later, u32::MAX);
    tray.take_reply(&request, Answer::Pull(nothing_new()), later + 1, u32::MAX);
    assert_eq!(tray.next_request(later + 5_001), Some(Request::Push(vec![id])));
}

#[test]
fn another_window_that_reaches_the_server_wakes_this_one() {
    let (mut tray, _) = long_without_a_way(&mut Shelf::default());
    tray.heard_elsewhere(NOW + 20_000);
    assert!(matches!(tray.next_request(NOW + 25_000), Some(Request::Push(_) | Request::Pull { .. })));
}

#[test]
fn a_sign_of_life_asks_a_healthy_server_no_more_often_and_cuts_no_named_wait_short() {
    let mut tray = Tray::new(OnDevice::default());
    let request = tray.next_request(NOW).unwrap();
    tray.begin(&request, NOW);
    tray.take_reply(&request, Answer::Pull(nothing_new()), NOW, 0);
    assert!(!tray.sign_of_life(NOW + 10), "nothing rests");
    assert_eq!(tray.next_request(NOW + PULL_EVERY_MS - 1), None);
    let failure = Failure::Status { status: 503, retry_after_ms: Some(120_000) };
    tray.take_reply(&request, Answer::Failed(failure), NOW, u32::MAX);
    tray.sign_of_life(NOW + 60_000);
    assert_eq!(tray.next_request(NOW + 119_999), None);
}

#[test]
fn before_the_first_answer_the_word_counts_what_waits_and_speaks_of_no_sending() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    write_entry(&mut shelf, job(1), 1);
    write_entry(&mut shelf, job(1), 2);
    let mut tray = Tray::new(shelf.on_device());
    assert_eq!(tray.word(), Word::Unanswered { n: 2 });
    let request = tray.next_request(NOW).unwrap();
    tray.begin(&request, NOW);
    assert_eq!(
        tray.word(),
        Word::Unanswered { n: 2 },
        "on a dead line it would be sending for as long as a request may take"
    );
    tray.take_reply(&request, Answer::Failed(Failure::NoConnection), NOW + 60_000, 0);
    assert_eq!(tray.word(), Word::NoConnection { since_ms: None, n: 2 });
    run(&mut tray, &mut shelf, &mut server, NOW + 200_000, 10_000);
    assert_eq!(tray.word(), Word::Confirmed);
    write_entry(&mut shelf, job(1), 3);
    tray.refill(shelf.on_device());
    assert_eq!(tray.word(), Word::OnlyHere { n: 1 }, "a server that has answered is known");
}

#[test]
fn a_login_page_changes_nothing_but_the_word() {
    let mut shelf = Shelf::default();
    let id = write_entry(&mut shelf, job(1), 1);
    let mut tray = Tray::new(shelf.on_device());
    for n in 0..5 {
        let plan = tray.take_reply(&Request::Push(vec![id]), Answer::Failed(Failure::NotOurServer), NOW + n, 0);
        assert_eq!(plan, Plan::default());
    }
    assert_eq!(tray.word(), Word::NotOurServer { n: 1 });
}

#[test]
fn a_signed_out_tray_waits_and_goes_on() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    let id = write_entry(&mut shelf, job(1), 1);
    let mut tray = Tray::new(shelf.on_device());
    tray.take_reply(&Request::Push(vec![id]), status(401), NOW, 0);
    assert_eq!(tray.word(), Word::SignInNeeded { n: 1 });
    assert_eq!(tray.next_request(NOW + 1_000_000), None);
    tray.signed_in();
    run(&mut tray, &mut shelf, &mut server, NOW, 10_000);
    assert!(server.stored.contains_key(&id));
}

#[test]
fn a_restored_server_is_offered_everything_again_once() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    let ids: Vec<EntryId> = (0..10).map(|n| write_entry(&mut shelf, job(1), n)).collect();
    let photo = add_photo(&mut shelf, job(1), 1, PhotoRole::Original, 1_000);
    let mut tray = Tray::new(shelf.on_device());
    run(&mut tray, &mut shelf, &mut server, NOW, 30_000);
    server.epoch = vec![2];
    server.stored.retain(|id, _| *id < ids[5]);
    server.photos.clear();
    run(&mut tray, &mut shelf, &mut server, NOW + 40_000, 60_000);
    assert_eq!(server.stored.len(), 10);
    assert!(server.photos.contains(&photo));
    assert!(shelf.entries.values().all(|(_, row)| row.delivery == Delivery::Confirmed));
    assert_eq!(shelf.jobs[&job(1)].position, 10);
    // Nothing more goes round and round: only one pull each five seconds.
    server.requests = 0;
    run(&mut tray, &mut shelf, &mut server, NOW + 200_000, 50_000);
    assert!(server.requests <= 11, "{}", server.requests);
}

#[test]
fn a_job_out_of_sight_goes_only_with_an_empty_tray() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    write_entry(&mut shelf, job(1), 1);
    let mut tray = Tray::new(shelf.on_device());
    run(&mut tray, &mut shelf, &mut server, NOW, 5_000);
    let waiting = write_entry(&mut shelf, job(1), 2);
    server.fates.insert(waiting, Fate::Refused);
    server.stored.clear();
    run(&mut tray, &mut shelf, &mut server, NOW + 10_000, 30_000);
    assert!(shelf.jobs.contains_key(&job(1)), "something of it is refused and must stay visible");
    shelf.entries.remove(&waiting);
    run(&mut tray, &mut shelf, &mut server, NOW + 50_000, 10_000);
    assert!(shelf.jobs.is_empty() && shelf.entries.is_empty());
}

/// The server must not take what waits here for written after this pull.
#[test]
fn a_pull_says_how_far_the_chain_of_what_waits_goes() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    write_entry(&mut shelf, job(1), 1);
    let held = write_entry(&mut shelf, job(2), 2);
    let last = write_entry(&mut shelf, job(2), 3);
    server.fates.extend([(held, Fate::Refused), (last, Fate::Refused)]);
    let mut tray = Tray::new(shelf.on_device());
    let told = |request| match request {
        Request::Pull { written, .. } => Some(written),
        _ => None,
    };
    let first = core::iter::from_fn(|| turn(&mut tray, &mut shelf, &mut server, NOW)).find_map(told).unwrap();
    let waits = shelf.on_device().entries;
    assert_eq!(waits.iter().map(|entry| entry.id).collect::<Vec<_>>(), [held, last]);
    assert_eq!(first, [(job(2), waits[1].seq)]);
    assert!(waits[1].seq > waits[0].seq);
}

#[test]
fn a_wrong_hash_starts_over_once() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    let key = add_photo(&mut shelf, job(1), 1, PhotoRole::Original, 1_000);
    let good = add_photo(&mut shelf, job(1), 2, PhotoRole::Original, 1_000);
    server.photo_fates.insert(key, Fate::Status(460));
    let mut tray = Tray::new(shelf.on_device());
    run(&mut tray, &mut shelf, &mut server, NOW, 30_000);
    assert_eq!(shelf.photos[&key].delivery, PhotoDelivery::Aside(AsideWhy::WrongBytes));
    assert!(server.photos.contains(&good));
    let made = server.uploads.values().filter(|(of, _, _)| *of == key).count();
    assert_eq!(made, 2);
}

#[test]
fn a_full_photo_store_does_not_stop_facts() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    let key = add_photo(&mut shelf, job(1), 1, PhotoRole::Original, 1_000);
    server.photo_fates.insert(key, Fate::Status(507));
    let mut tray = Tray::new(shelf.on_device());
    run(&mut tray, &mut shelf, &mut server, NOW, 10_000);
    let id = write_entry(&mut shelf, job(1), 1);
    run(&mut tray, &mut shelf, &mut server, NOW + 10_000, 2_000);
    assert!(server.stored.contains_key(&id));
    assert!(matches!(shelf.photos[&key].delivery, PhotoDelivery::Waiting { .. }));
}

#[test]
fn a_photo_store_that_is_away_stops_no_facts_and_blames_no_photo() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    let key = add_photo(&mut shelf, job(1), 1, PhotoRole::Original, 1_000);
    let mut tray = Tray::new(shelf.on_device());
    server.photo_fates.insert(key, Fate::Status(503));
    let mut now = NOW;
    for number in 1..=20 {
        run(&mut tray, &mut shelf, &mut server, now, 60_000);
        let id = write_entry(&mut shelf, job(1), number);
        run(&mut tray, &mut shelf, &mut server, now + 60_000, 2_000);
        assert!(server.stored.contains_key(&id), "a fact waited for photos");
        now += 62_000;
    }
    assert_eq!(tray.counts().stuck, 0, "a photo was blamed");
    server.photo_fates.clear();
    run(&mut tray, &mut shelf, &mut server, now, 70_000);
    assert!(matches!(shelf.photos[&key].delivery, PhotoDelivery::Confirmed { .. }));
}

#[test]
fn a_pulled_entry_with_our_id_and_other_bytes_leaves_ours_in_the_tray() {
    let (mut shelf, mut other) = (Shelf::default(), Shelf::default());
    let id = write_entry(&mut shelf, job(1), 1);
    write_entry(&mut other, job(1), 9);
    write_entry(&mut other, job(1), 1);
    let theirs = other.entries[&id].1.envelope.to_vec();
    let ours = shelf.entries[&id].1.envelope.clone();
    assert_ne!(theirs.as_slice(), ours.as_slice());
    let stamp = Stamp { time_us: 1, position: 1 };
    shelf.apply(Plan { writes: vec![Write::Store { job: job(1), id, stamp, envelope: theirs }] });
    assert_eq!(shelf.entries[&id].1.envelope, ours);
    // The simulation found it called held: then our bytes never left this device.
    assert_eq!(shelf.entries[&id].1.delivery, Delivery::FRESH);
    assert_eq!(Tray::new(shelf.on_device()).next_request(NOW), Some(Request::Push(vec![id])));
    shelf.apply(Plan { writes: vec![Write::Hold(id, HeldWhy::SameIdOtherBytes)] });
    shelf.apply(Plan { writes: vec![Write::Store { job: job(1), id, stamp, envelope: vec![0xa0] }] });
    assert_eq!(shelf.entries[&id].1.delivery, Delivery::Held(HeldWhy::SameIdOtherBytes));
}

#[test]
fn what_was_held_for_want_of_its_job_goes_again_when_the_job_is_there() {
    let mut shelf = Shelf::default();
    let (id, other) = (write_entry(&mut shelf, job(1), 1), write_entry(&mut shelf, job(2), 2));
    shelf.apply(Plan { writes: [id, other].map(|id| Write::Hold(id, HeldWhy::NoSuchJob)).to_vec() });
    let mut tray = Tray::new(shelf.on_device());
    let pull = tray.next_request(NOW).unwrap();
    let reply = PullReply {
        version: SYNC_VERSION,
        epoch: vec![1].into(),
        server_us: NOW * 1_000,
        manifest: vec![JobHead { job: job(1), position: 0 }],
        entries: Vec::new(),
        more: false,
        methods: Vec::new(),
        reference_version: 0,
        firm: FirmId::of(uuid_v7(NOW, &[1; 10])),
        drawn_number: None,
    };
    let plan = tray.take_reply(&pull, Answer::Pull(reply), NOW, 0);
    shelf.apply(plan);
    assert_eq!(shelf.entries[&id].1.delivery, Delivery::FRESH);
    assert_eq!(shelf.entries[&other].1.delivery, Delivery::Held(HeldWhy::NoSuchJob));
}

#[test]
fn a_clock_set_back_by_years_does_not_freeze_the_tray() {
    let mut shelf = Shelf::default();
    let id = write_entry(&mut shelf, job(1), 1);
    let mut tray = Tray::new(shelf.on_device());
    tray.take_reply(&Request::Push(vec![id]), Answer::Failed(Failure::NoConnection), NOW, u32::MAX);
    assert!(tray.next_request(NOW - 365 * 86_400_000).is_some());
}

#[test]
fn two_hundred_devices_do_not_come_back_in_step() {
    let mut seconds = BTreeSet::new();
    for device in 0..200u32 {
        let mut tray = Tray::new(OnDevice::default());
        let pull = tray.next_request(NOW).unwrap();
        for n in 0..6 {
            tray.take_reply(&pull, Answer::Failed(Failure::NoConnection), NOW + n, device.wrapping_mul(2_654_435_761));
        }
        seconds.insert((0..61).find(|s| tray.next_request(NOW + 10 + s * 1_000).is_some()).unwrap());
    }
    assert!(seconds.len() >= 30, "{seconds:?}");
}

#[test]
fn a_method_is_kept_only_with_the_hash_that_was_asked_for() {
    let bytes = vec![1, 2, 3];
    let method = MethodRef { id: "m".into(), version: 1, hash: Hash32::sha256(&bytes) };
    let mut tray = Tray::new(OnDevice::default());
    let request = Request::Method(method.clone());
    assert_eq!(tray.take_reply(&request, Answer::Method(vec![9]), NOW, 0).writes, []);
    let plan = tray.take_reply(&request, Answer::Method(bytes.clone()), NOW, 0);
    assert_eq!(plan.writes, [Write::Method(method, bytes)]);
}

#[test]
fn rows_round_trip_and_name_a_newer_format() {
    let mut shelf = Shelf::default();
    let id = write_entry(&mut shelf, job(1), 1);
    let key = add_photo(&mut shelf, job(1), 1, PhotoRole::Preview, 10);
    let row = &shelf.entries[&id].1;
    assert_eq!(EntryRow::read(&row.to_bytes()).as_ref(), Ok(row));
    let photo = &shelf.photos[&key];
    assert_eq!(PhotoRow::read(&photo.to_bytes()).as_ref(), Ok(photo));
    assert_eq!(EntryRow::read(&[1, 0]), Err(NotARow::Format(1)));
    assert_eq!(EntryRow::read(&[0, 0xff]), Err(NotARow::Damaged));
}

fn fate() -> impl Strategy<Value = Fate> {
    prop_oneof![
        6 => Just(Fate::Good),
        1 => Just(Fate::Refused),
        1 => Just(Fate::Held),
        1 => Just(Fate::Breaks),
        1 => prop_oneof![Just(400u16), Just(413), Just(422), Just(500), Just(418), Just(409)].prop_map(Fate::Status),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn poison_blocks_nobody_and_nothing_is_forgotten(
        fates in proptest::collection::vec((0u8..3, fate()), 1..40),
        photo_fates in proptest::collection::vec(fate(), 0..6),
        losses in proptest::collection::vec(0u8..10, 40),
    ) {
        let (mut shelf, mut server) = (Shelf::default(), Server::new());
        let mut ids = Vec::new();
        for (n, (of, fate)) in fates.iter().enumerate() {
            let id = write_entry(&mut shelf, job(*of), u16::try_from(n).unwrap());
            server.fates.insert(id, *fate);
            ids.push((id, *fate));
        }
        let mut keys = Vec::new();
        for (n, fate) in photo_fates.iter().enumerate() {
            let key = add_photo(&mut shelf, job(0), u16::try_from(n).unwrap(), PhotoRole::Original, 300_000);
            server.photo_fates.insert(key, *fate);
            keys.push((key, *fate));
        }
        let mut tray = Tray::new(shelf.on_device());
        // First the network loses requests and answers, in the proportions drawn.
        let mut now = NOW;
        for loss in losses {
            tray.refill(shelf.on_device());
            now += 3_000;
            let Some(request) = tray.next_request(now) else { continue };
            let answer = match loss {
                0 | 1 => Answer::Failed(Failure::NoConnection),
                2 => { server.answer(&request, &shelf); Answer::Failed(Failure::NoConnection) }
                3 => Answer::Failed(Failure::NotOurServer),
                4 => status(503),
                _ => server.answer(&request, &shelf),
            };
            let plan = tray.take_reply(&request, answer, now, u32::from(loss) << 27);
            shelf.apply(plan);
            prop_assert!(ids.iter().all(|(id, _)| shelf.entries.contains_key(id)));
        }
        run(&mut tray, &mut shelf, &mut server, now, 45 * 60_000);
        for (id, fate) in ids {
            let delivery = shelf.entries[&id].1.delivery;
            match fate {
                Fate::Good => prop_assert_eq!(delivery, Delivery::Confirmed),
                Fate::Held => prop_assert_eq!(delivery, Delivery::Held(HeldWhy::RoleMayNot)),
                Fate::Refused => prop_assert_eq!(delivery, Delivery::Aside(AsideWhy::Refused(RefusedWhy::Malformed))),
                Fate::Breaks | Fate::Status(500 | 409) => {
                    let stuck = matches!(delivery, Delivery::Waiting { tries, .. } if tries >= STUCK_TRIES);
                    prop_assert!(stuck, "{:?}", delivery);
                }
                Fate::Status(413) => prop_assert_eq!(delivery, Delivery::Aside(AsideWhy::TooLarge)),
                Fate::Status(code) => prop_assert_eq!(delivery, Delivery::Aside(AsideWhy::Status(code))),
            }
        }
        for (key, fate) in keys {
            let delivery = shelf.photos[&key].delivery.clone();
            let confirmed = matches!(delivery, PhotoDelivery::Confirmed { .. });
            prop_assert_eq!(confirmed, fate == Fate::Good);
            prop_assert_eq!(server.photos.contains(&key), fate == Fate::Good);
            prop_assert!(shelf.photo_bytes.contains_key(&key.hash));
        }
    }
}

#[test]
fn what_looks_empty_is_called_so_only_after_all_was_fetched() {
    let mut shelf = Shelf::default();
    let mut tray = Tray::new(shelf.on_device());
    let mut told = Vec::new();
    for more in [true, false] {
        pull(&mut tray, &mut shelf, NOW, more, &[], 0);
        told.push(tray.has_all());
    }
    assert_eq!(told, [false, true]);
    let mut second_window = Tray::new(shelf.on_device());
    assert!(!second_window.has_all());
    second_window.heard_elsewhere(NOW);
    assert!(second_window.has_all());
}

#[test]
fn a_job_without_its_method_is_not_all_and_its_method_comes_before_anything_else_is_fetched() {
    let bytes = vec![1, 2, 3];
    let of_job = MethodRef { id: "z".into(), version: 1, hash: Hash32::sha256(&bytes) };
    let gone = MethodRef { id: "y".into(), version: 1, hash: Hash32::sha256(&[4]) };
    let mut shelf = Shelf::default();
    let mut tray = Tray::new(shelf.on_device());
    pull(&mut tray, &mut shelf, NOW, false, &[of_job.clone(), gone.clone()], 7);
    assert!(!tray.has_all());

    let request = tray.next_request(NOW).unwrap();
    assert_eq!(request, Request::Method(gone));
    tray.begin(&request, NOW);
    let plan = tray.take_reply(&request, status(404), NOW, 0);
    shelf.apply(plan);
    tray.refill(shelf.on_device());
    assert!(!tray.has_all(), "one of two is still to come");

    let later = NOW + 60_000;
    let pulled_again = tray.next_request(later).unwrap();
    assert!(matches!(pulled_again, Request::Pull { .. }), "{pulled_again:?}");
    pull(&mut tray, &mut shelf, later, false, std::slice::from_ref(&of_job), 7);
    let request = tray.next_request(later).unwrap();
    assert_eq!(request, Request::Method(of_job), "before people and catalogue");
    tray.begin(&request, later);
    let plan = tray.take_reply(&request, Answer::Method(bytes), later, 0);
    shelf.apply(plan);
    tray.refill(shelf.on_device());
    assert!(tray.has_all());
    assert_eq!(tray.next_request(later), Some(Request::Reference));
}

fn pull(tray: &mut Tray, shelf: &mut Shelf, now: u64, more: bool, methods: &[MethodRef], reference_version: u64) {
    let pull = tray.next_request(now).unwrap();
    assert!(matches!(pull, Request::Pull { .. }), "{pull:?}");
    tray.begin(&pull, now);
    let reply = PullReply {
        version: SYNC_VERSION,
        epoch: vec![1].into(),
        server_us: now * 1_000,
        manifest: Vec::new(),
        entries: Vec::new(),
        more,
        methods: methods.to_vec(),
        reference_version,
        firm: FirmId::of(uuid_v7(NOW, &[1; 10])),
        drawn_number: None,
    };
    let plan = tray.take_reply(&pull, Answer::Pull(reply), now, 0);
    shelf.apply(plan);
    tray.refill(shelf.on_device());
}

#[test]
fn on_mobile_data_photos_wait_where_a_person_wants_it_and_facts_and_previews_go() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    let (job, small) = (job(1), 3_000);
    let preview = add_photo(&mut shelf, job, 1, PhotoRole::Preview, small);
    let original = add_photo(&mut shelf, job, 2, PhotoRole::Original, 900_000);
    let fact = write_entry(&mut shelf, job, 3);
    let mut tray = Tray::new(shelf.on_device());
    let mut rule = PhotoRule { until_wifi: true, line: Line::Metered, released_ms: None };
    tray.photos_go_by(rule);
    run(&mut tray, &mut shelf, &mut server, NOW, 60_000);
    assert!(server.stored.contains_key(&fact) && server.photos.contains(&preview));
    assert!(!server.photos.contains(&original));
    assert_eq!(tray.held_back(), HeldBack { photos: 1, bytes: 900_000, line: Line::Metered });
    assert_eq!(tray.word(), Word::OnlyHere { n: 1 });

    rule.released_ms = Some(NOW + 60_000);
    tray.photos_go_by(rule);
    run(&mut tray, &mut shelf, &mut server, NOW + 60_000, 20_000);
    assert!(server.photos.contains(&original), "a person said: now");
    assert_eq!(tray.held_back().photos, 0);

    let later = add_photo(&mut shelf, job, 60_001, PhotoRole::Original, 900_000);
    tray.refill(shelf.on_device());
    run(&mut tray, &mut shelf, &mut server, NOW + 90_000, 20_000);
    assert!(!server.photos.contains(&later), "once is once");
    rule.line = Line::Free;
    tray.photos_go_by(rule);
    run(&mut tray, &mut shelf, &mut server, NOW + 120_000, 20_000);
    assert!(server.photos.contains(&later));
}

#[test]
fn an_upload_stops_where_the_wifi_ends() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    let key = add_photo(&mut shelf, job(1), 1, PhotoRole::Original, 20_000_000);
    let mut tray = Tray::new(shelf.on_device());
    let on = |line| PhotoRule { until_wifi: true, line, released_ms: None };
    tray.photos_go_by(on(Line::Free));
    let mut slices = 0;
    for n in 0.. {
        let now = NOW + n;
        let Some(request) = tray.next_request(now) else { break };
        let answer = server.answer(&request, &shelf);
        slices += u32::from(matches!(request, Request::Photo(_, PhotoStep::Send { .. })));
        tray.begin(&request, now);
        let plan = tray.take_reply(&request, answer, now, 0);
        shelf.apply(plan);
        tray.refill(shelf.on_device());
        if slices == 2 {
            tray.photos_go_by(on(Line::Metered));
        }
    }
    assert_eq!(slices, 2);
    let held = tray.held_back();
    assert!(held.photos == 1 && held.bytes < 20_000_000 && !server.photos.contains(&key), "{held:?}");
}

#[test]
fn what_is_only_here_has_an_age_and_what_the_server_holds_has_none() {
    let mut shelf = Shelf::default();
    assert_eq!(shelf.on_device().counts().oldest_ms, None);
    add_photo(&mut shelf, job(1), 5, PhotoRole::Original, 10);
    assert_eq!(shelf.on_device().counts().oldest_ms, Some(NOW + 5));
    let fact = write_entry(&mut shelf, job(2), 1);
    assert_eq!(shelf.on_device().counts().oldest_ms, Some(NOW));
    assert_eq!(shelf.on_device().counts_by_job()[&job(1)].oldest_ms, Some(NOW + 5));
    shelf.entries.get_mut(&fact).unwrap().1.delivery = Delivery::Held(HeldWhy::DeviceRevoked);
    assert_eq!(shelf.on_device().counts().oldest_ms, Some(NOW + 5));
    shelf.entries.get_mut(&fact).unwrap().1.delivery = Delivery::Aside(AsideWhy::TooLarge);
    assert_eq!(shelf.on_device().counts().oldest_ms, Some(NOW), "refused: the only copy is here");
}

#[test]
fn a_tray_that_was_reported_full_is_reported_empty_at_once() {
    let (mut shelf, mut server) = (Shelf::default(), Server::new());
    write_entry(&mut shelf, job(1), 1);
    let photo = add_photo(&mut shelf, job(1), 2, PhotoRole::Original, 900_000);
    let mut tray = Tray::new(shelf.on_device());
    tray.live(true, NOW, 0);
    let mut reports = Vec::new();
    for n in 0..PULL_EVERY_LIVE_MS / 10 {
        if let Some(Request::Pull { waiting, .. }) = turn(&mut tray, &mut shelf, &mut server, NOW + n) {
            reports.push(waiting);
        }
    }
    assert!(server.photos.contains(&photo));
    assert_eq!(reports, [1, 0], "the photo waits, and then it does not; the stream names no other reason to ask");
}
