//! The store of a device that is full, slow of memory, or touched twice.

#![allow(clippy::unwrap_used, reason = "tests may")]

use super::*;
use crate::adapters::memory::Memory;
use crate::ports::Later;
use domain::ids::{CaptureId, uuid_v7};
use domain::job_file::body::{MediaType, PhotoFile, Plain, Remark};
use domain::job_file::{Body, Entry};
use domain::tray::{PhotoDelivery, PhotoKey, PhotoRole, Probe};
use leptos::prelude::GetUntracked;
use std::cell::Cell;
use std::pin::pin;
use std::task::{Context, Poll, Waker};

const NOW_MS: u64 = 1_767_225_600_000;
const DAY_MS: u64 = 24 * 60 * 60 * 1_000;

/// Everything in memory is ready at once.
pub(crate) fn now<T>(future: impl Future<Output = T>) -> T {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(value) => value,
        Poll::Pending => panic!("nothing in memory waits"),
    }
}

#[derive(Default)]
pub(crate) struct StillClock;

impl Clock for StillClock {
    fn now_us(&self) -> u64 {
        NOW_MS * 1_000
    }
    fn monotonic_ms(&self) -> u64 {
        0
    }
}

#[derive(Default)]
pub(crate) struct Counting(Cell<u8>);

impl From<u8> for Counting {
    fn from(from: u8) -> Self {
        Self(Cell::new(from.wrapping_mul(16)))
    }
}

impl Ids for Counting {
    fn fill(&self, bytes: &mut [u8]) {
        self.0.set(self.0.get() + 1);
        bytes.fill(self.0.get());
    }
}

pub(crate) fn store() -> (JobStore, Rc<Memory>) {
    let id = |n| uuid_v7(NOW_MS, &[n; 10]);
    let who = Who { firm: FirmId::of(id(1)), person: PersonId::of(id(2)), device: DeviceId::of(id(3)) };
    let memory = Rc::new(Memory::default());
    (JobStore::over(who, Rc::clone(&memory) as _, Rc::new(StillClock), Rc::new(Counting::default())), memory)
}

pub(crate) fn job() -> JobId {
    JobId::of(uuid_v7(NOW_MS, &[77; 10]))
}

fn remark(text: &str) -> Body {
    Body::Remark(Remark { at: None, text: text.into() })
}

fn photo(content: &[u8], role: PhotoRole) -> NewPhoto {
    let file = PhotoFile {
        hash: Hash32::sha256(content),
        bytes: content.len() as u64,
        width: 1,
        height: 1,
        media: MediaType::Jpeg,
    };
    NewPhoto { file, role, capture: CaptureId::of(uuid_v7(NOW_MS, &[5; 10])), bytes: FileBytes::of(content) }
}

fn confirm(memory: &Memory, content: &[u8], at_ms: u64) {
    let mut shelf = memory.shelf.borrow_mut();
    let row = shelf.photos.get_mut(&PhotoKey { job: job(), hash: Hash32::sha256(content) }).unwrap();
    row.delivery = PhotoDelivery::Confirmed { at_ms };
}

#[test]
fn writes_make_one_chain_and_a_second_tap_nothing() {
    let (store, memory) = store();
    let first = store.new_entry_id();
    let written =
        now(store.write_entries(job(), vec![(first, remark("a")).into(), remark("b").into()], vec![])).unwrap();
    assert_eq!(written[0], first);
    let again = now(store.write_entries(job(), vec![(first, remark("a")).into()], vec![])).unwrap();
    assert_eq!(again, [first]);
    now(store.write_entries(job(), vec![Body::Resumed(Plain {}).into()], vec![])).unwrap();
    let loaded = now(store.load_job(job())).unwrap();
    let mut chain: Vec<&Entry> = loaded.file.iter().map(|held| &held.entry).collect();
    chain.sort_by_key(|entry| entry.header.seq);
    assert_eq!(chain.iter().map(|entry| entry.header.seq).collect::<Vec<_>>(), [1, 2, 3]);
    for pair in chain.windows(2) {
        assert_eq!(pair[1].header.prev, pair[0].hash);
        assert!(pair[1].header.hlc > pair[0].header.hlc);
    }
    assert!(loaded.deliveries.values().all(|delivery| *delivery == Delivery::FRESH));
    assert_eq!(memory.shelf.borrow().entries.len(), 3);
}

#[test]
fn an_id_is_never_given_a_second_content() {
    let (store, memory) = store();
    let id = store.new_entry_id();
    now(store.write_entries(job(), vec![(id, remark("a")).into()], vec![])).unwrap();
    let second = now(store.write_entries(job(), vec![remark("c").into(), (id, remark("b")).into()], vec![]));
    assert_eq!(second, Err(SaveError::OtherContent(id)));
    assert_eq!(memory.shelf.borrow().entries.len(), 1);
}

#[test]
fn what_is_too_large_is_told_before_anything_is_written() {
    let (store, memory) = store();
    let long = remark(&"x".repeat(70_000));
    assert_eq!(
        now(store.write_entries(job(), vec![remark("a").into(), long.into()], vec![])),
        Err(SaveError::TooLarge)
    );
    assert!(memory.shelf.borrow().entries.is_empty());
}

#[test]
fn a_full_device_drops_the_oldest_confirmed_original_and_tries_once_more() {
    let (store, memory) = store();
    let photos = vec![
        photo(b"old", PhotoRole::Original),
        photo(b"new", PhotoRole::Original),
        photo(b"due", PhotoRole::Original),
    ];
    now(store.write_entries(job(), vec![], photos)).unwrap();
    confirm(&memory, b"old", NOW_MS - 30 * DAY_MS);
    confirm(&memory, b"new", NOW_MS - DAY_MS);
    memory.failures.borrow_mut().extend([StoreError::QuotaExceeded]);
    now(store.write_entries(job(), vec![remark("a").into()], vec![])).unwrap();
    let kept: Vec<Hash32> = memory.shelf.borrow().photo_bytes.keys().copied().collect();
    assert!(!kept.contains(&Hash32::sha256(b"old")));
    assert!(kept.contains(&Hash32::sha256(b"due")), "what is not confirmed is never dropped");
    assert_eq!(memory.shelf.borrow().entries.len(), 1);
}

#[test]
fn a_device_that_stays_full_says_so_and_keeps_nothing_half() {
    let (store, memory) = store();
    memory.failures.borrow_mut().extend([StoreError::QuotaExceeded]);
    let result = now(store.write_entries(job(), vec![remark("a").into()], vec![photo(b"p", PhotoRole::Original)]));
    assert_eq!(result, Err(SaveError::Store(StoreError::QuotaExceeded)));
    assert_eq!(*memory.shelf.borrow(), domain::tray::Shelf::default());
}

#[test]
fn a_photo_is_saved_only_when_it_reads_back() {
    let (store, memory) = store();
    memory.altered_reads.set(1);
    now(store.write_entries(job(), vec![remark("a").into()], vec![photo(b"p", PhotoRole::Original)])).unwrap();
    memory.altered_reads.set(2);
    let result = now(store.write_entries(job(), vec![remark("b").into()], vec![photo(b"q", PhotoRole::Original)]));
    assert_eq!(result, Err(SaveError::ReadBack));
}

#[test]
fn screens_and_sync_hear_of_a_write() {
    let (store, _) = store();
    let heard = Rc::new(Cell::new(0));
    let count = Rc::clone(&heard);
    store.on_write(move || count.set(count.get() + 1));
    let (of_job, of_other) = (store.job_revision(job()), store.job_revision(store.new_job_id()));
    now(store.write_entries(job(), vec![remark("a").into()], vec![])).unwrap();
    assert_eq!((heard.get(), of_job.get_untracked(), of_other.get_untracked()), (1, 1, 0));
    assert_eq!(store.revision().get_untracked(), 1);
}

#[test]
fn drafts_are_found_by_their_beginning() {
    let (store, _) = store();
    now(store.put_draft("camera/1/step", b"a".to_vec())).unwrap();
    now(store.put_draft("camera/2/step", b"b".to_vec())).unwrap();
    now(store.put_draft("text/1", b"c".to_vec())).unwrap();
    assert_eq!(now(store.draft_keys("camera/")).unwrap(), ["camera/1/step", "camera/2/step"]);
    now(store.delete_draft("camera/1/step")).unwrap();
    assert_eq!(now(store.draft("camera/1/step")).unwrap(), None);
    assert_eq!(now(store.draft("text/1")).unwrap().as_deref(), Some(b"c".as_slice()));
    assert_eq!(now(store.remembered("text/1")).unwrap(), None, "drafts and the app's own memory are apart");
}

#[test]
fn reference_data_of_a_newer_server_is_read() {
    let json = r#"{"version":3,"tomorrow":1,"instruments":[{"id":"0198c2a0-0000-7000-8000-000000000001","kind":"low-ohm",
        "label":"L7","calibration_due":null}],"methods":[{"id":"m","version":2,"hash":
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad","title":{"en":"Install","de":"Einbau"}}]}"#;
    let reference: Reference = serde_json::from_str(json).unwrap();
    assert_eq!(reference.instruments_of("low-ohm").count(), 1);
    assert_eq!(reference.methods[0].title("de"), "Einbau");
    assert_eq!(reference.methods[0].title("es"), "Install");
}

#[test]
fn work_of_another_device_joins_once_and_only_what_is_missing() {
    let (lost, _) = store();
    let written = now(lost.write_entries(job(), vec![remark("a").into(), remark("b").into()], vec![])).unwrap();
    let held = now(lost.load_job(job())).unwrap();
    let entries: Vec<Entry> = held.file.iter().map(|held| held.entry.clone()).collect();

    let (other, memory) = store();
    let picture = photo(b"picture", PhotoRole::Original);
    let row = PhotoRow {
        job: job(),
        file: picture.file,
        role: picture.role,
        capture: picture.capture,
        added_ms: 0,
        bytes_here: true,
        delivery: PhotoDelivery::fresh(),
    };
    let photos = vec![(row, picture.bytes.clone())];
    assert_eq!(now(other.bring_in(entries.clone(), photos.clone())), Ok(2));
    assert_eq!(now(other.bring_in(entries, photos)), Ok(0), "a second time there is nothing new");
    let here = now(other.load_job(job())).unwrap();
    assert_eq!(here.deliveries.keys().copied().collect::<Vec<_>>(), {
        let mut ids = written;
        ids.sort();
        ids
    });
    assert!(here.deliveries.values().all(|delivery| *delivery == Delivery::FRESH));
    assert_eq!(memory.shelf.borrow().photo_bytes.len(), 1);
}

#[test]
fn what_the_server_has_is_not_brought_in() {
    let (lost, memory) = store();
    now(lost.write_entries(job(), vec![remark("a").into()], vec![])).unwrap();
    let mut row = memory.shelf.borrow().entries.values().next().unwrap().1.clone();
    assert!(entry_to_bring(&row.to_bytes()).is_some());
    row.delivery = Delivery::Confirmed;
    assert!(entry_to_bring(&row.to_bytes()).is_none());
    assert!(entry_to_bring(b"not a row").is_none());
}

#[test]
fn a_photo_staged_by_an_older_app_is_still_offered() {
    let store = store().0;
    let hash = Hash32::sha256(b"p");
    let note = serde_json::json!({
        "hash": hash, "job": job(), "place": "arrive/0/photo", "bytes": 1, "width": 4, "height": 3, "media": "jpeg",
        "capture": CaptureId::of(uuid_v7(NOW_MS, &[5; 10])), "taken_ms": NOW_MS, "origin": "camera",
    });
    now(store.put_draft(&format!("staged/{hash}"), note.to_string().into_bytes())).unwrap();
    let staged = now(store.staged_photos()).unwrap();
    assert_eq!(staged.iter().map(|photo| (photo.hash, photo.warnings.len())).collect::<Vec<_>>(), [(hash, 0)]);
}

/// Once a job and day, before what is written then, and never in a file that the server does not have yet.
#[test]
fn the_server_s_number_goes_before_the_first_entry_of_a_day() {
    let (store, memory) = store();
    now(store.keep_drawn_number(Hash32::sha256(b"drawn")));
    now(store.write_entries(job(), vec![remark("a").into()], vec![])).unwrap();
    assert_eq!(memory.shelf.borrow().entries.len(), 1, "the file is not on the server");
    let stamp = domain::job_file::Stamp { time_us: NOW_MS * 1_000, position: 1 };
    memory.shelf.borrow_mut().entries.values_mut().for_each(|(_, row)| row.stamp = Some(stamp));
    store.changed([job()]);
    let written = now(store.write_entries(job(), vec![remark("b").into(), remark("c").into()], vec![])).unwrap();
    let loaded = now(store.load_job(job())).unwrap();
    let mut chain: Vec<&Entry> = loaded.file.iter().map(|held| &held.entry).collect();
    chain.sort_by_key(|entry| entry.header.seq);
    assert!(matches!(chain[1].body(), Some(Body::DrawnNumber(_))), "{chain:?}");
    assert_eq!(chain[2..].iter().map(|entry| entry.header.id).collect::<Vec<_>>(), written);
    now(store.write_entries(job(), vec![remark("d").into()], vec![])).unwrap();
    assert_eq!(memory.shelf.borrow().entries.len(), 5, "once a day");
}

/// Signs with the length and the last byte of what it is given; says so when it is asked too often.
struct FakeSigner {
    /// So many times it answers.
    left: Cell<u32>,
}

impl Signer for FakeSigner {
    fn sign(&self, texts: Vec<Vec<u8>>) -> Later<'_, Option<Vec<Vec<u8>>>> {
        let signatures = self.left.get().checked_sub(1).map(|left| {
            self.left.set(left);
            texts.iter().map(|text| Hash32::sha256(text).bytes().to_vec()).collect()
        });
        Box::pin(core::future::ready(signatures))
    }

    fn public(&self) -> Later<'_, Option<Vec<u8>>> {
        Box::pin(core::future::ready(None))
    }
}

fn signing_store(times: u32) -> (JobStore, Rc<Memory>, Rc<FakeSigner>) {
    let (plain, memory) = store();
    let signer = Rc::new(FakeSigner { left: Cell::new(times) });
    let who = plain.who();
    let ids = Rc::new(Counting::default());
    let signing =
        JobStore::signing(who, Rc::clone(&memory) as _, Rc::new(StillClock), ids, Some(Rc::clone(&signer) as _));
    (signing, memory, signer)
}

/// Entries of the shelf by their place in the chain: which carry the signature over their own header.
fn signed_of(memory: &Memory) -> Vec<(u64, bool)> {
    let shelf = memory.shelf.borrow();
    let mut all: Vec<(u64, bool)> = shelf
        .entries
        .values()
        .map(|(_, row)| {
            let entry = Entry::read(&row.envelope).unwrap();
            let envelope: domain::job_file::Envelope = domain::wire::from_bytes(entry.bytes()).unwrap();
            let signature = Hash32::sha256(&envelope.header).bytes().to_vec();
            (entry.header.seq, envelope.signature.is_some_and(|own| *own == signature))
        })
        .collect();
    all.sort_unstable();
    all
}

/// What another window of the same device writes next.
fn by_another_window(store: &JobStore, text: &str) -> Entry {
    let file = now(store.load_job(job())).unwrap().file;
    let who = store.who();
    let draft = domain::job_file::Draft {
        id: store.new_entry_id(),
        firm: who.firm,
        job: job(),
        author: who.person,
        device: who.device,
        salt: [9; 16],
        body: remark(text),
    };
    Entry::write(draft, file.chain_head(who.device), 0, NOW_MS * 1_000, file.latest_at())
}

#[test]
fn each_entry_is_signed_over_its_own_header() {
    let (store, memory, signer) = signing_store(1);
    now(store.write_entries(job(), vec![remark("a").into(), remark("b").into()], vec![])).unwrap();
    assert_eq!(signed_of(&memory), [(1, true), (2, true)]);
    assert_eq!(signer.left.get(), 0);
}

#[test]
fn a_job_that_moves_on_under_the_hand_is_signed_anew_and_does_not_fork() {
    let (store, memory, signer) = signing_store(9);
    let other = by_another_window(&store, "another window");
    memory.meanwhile.borrow_mut().push(other);
    now(store.write_entries(job(), vec![remark("a").into()], vec![])).unwrap();
    assert_eq!(signed_of(&memory), [(1, false), (2, true)], "one chain, in order");
    assert_eq!(signer.left.get(), 7, "signed once more after the job had moved on");
}

#[test]
fn work_is_kept_without_a_signature_rather_than_lost() {
    let (store, memory, _) = signing_store(0);
    now(store.write_entries(job(), vec![remark("a").into()], vec![])).unwrap();
    assert_eq!(signed_of(&memory), [(1, false)], "no key");

    let (store, memory, signer) = signing_store(99);
    let others: Vec<Entry> = (0..9)
        .map(|n| {
            let other = by_another_window(&store, &format!("other {n}"));
            memory.shelf.borrow_mut().keep(std::slice::from_ref(&other), &[]);
            other
        })
        .collect();
    *memory.shelf.borrow_mut() = domain::tray::Shelf::default();
    memory.meanwhile.borrow_mut().extend(others.into_iter().rev());
    now(store.write_entries(job(), vec![remark("a").into()], vec![])).unwrap();
    let kept = signed_of(&memory);
    assert_eq!(kept.last(), Some(&(5, false)), "after four tries it is kept without: {kept:?}");
    assert_eq!(signer.left.get(), 95);
}

#[test]
fn a_trial_write_says_how_it_went_and_leaves_nothing() {
    let (store, memory) = store();
    assert_eq!(now(store.probe(1_000)), Some(Probe::Kept));
    for (error, said) in [
        (StoreError::QuotaExceeded, Some(Probe::Full)),
        (StoreError::Refused("no".to_owned()), Some(Probe::Refused)),
        (StoreError::KeyLost, None),
    ] {
        memory.text_failure.replace(Some(error));
        assert_eq!(now(store.probe(1_000)), said);
    }
    memory.forgets_texts.set(true);
    assert_eq!(now(store.probe(1_000)), Some(Probe::Lost));
    assert!(memory.texts().is_empty());
}
