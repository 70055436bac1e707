//! A store whose rows are sealed, over the one in memory and with a cipher that can lose its key.

#![allow(clippy::unwrap_used, reason = "tests may")]

use super::sealed::SealedStore;
use super::tests::{Counting, StillClock, job, now, store};
use super::*;
use crate::adapters::memory::Memory;
use crate::ports::Later;
use crate::ports::sealer::Sealer;
use domain::ids::CaptureId;
use domain::job_file::body::{MediaType, PhotoFile, Remark};
use domain::job_file::{Body, Entry, Stamp};
use domain::tray::sealed::{SEALED_MARK, is_sealed};
use domain::tray::{PhotoRole, Plan, Write};
use std::cell::Cell;

/// Turns every byte by its key; 0: it has none and makes none.
struct FakeSealer {
    key: Cell<u8>,
    sealed: Cell<u8>,
    opened: Cell<usize>,
}

impl Sealer for FakeSealer {
    fn seal(&self, plain: Vec<FileBytes>) -> Later<'_, Option<Vec<FileBytes>>> {
        let key = self.key.get();
        let seal = |bytes: FileBytes| {
            let turned: Vec<u8> = bytes.to_vec().iter().map(|byte| byte ^ key).collect();
            // The same is never sealed to the same bytes twice.
            self.sealed.set(self.sealed.get().wrapping_add(1));
            FileBytes::of(&[SEALED_MARK.as_slice(), &[key, self.sealed.get()], &turned].concat())
        };
        Box::pin(core::future::ready((key != 0).then(|| plain.into_iter().map(seal).collect())))
    }

    fn open(&self, sealed: Vec<FileBytes>) -> Later<'_, Vec<Option<FileBytes>>> {
        self.opened.set(self.opened.get() + sealed.len());
        let open = |bytes: FileBytes| {
            let bytes = bytes.to_vec();
            let ([key, _], turned) = bytes[SEALED_MARK.len()..].split_first_chunk()?;
            (*key == self.key.get()).then(|| FileBytes::of(&turned.iter().map(|byte| byte ^ key).collect::<Vec<_>>()))
        };
        Box::pin(core::future::ready(sealed.into_iter().map(open).collect()))
    }
}

struct Kept {
    store: JobStore,
    memory: Rc<Memory>,
    sealer: Rc<FakeSealer>,
}

/// A store over this memory, as the next start of the app opens it: nothing is known to be open.
fn start_over(memory: &Rc<Memory>, key: u8) -> Kept {
    // Each start draws other numbers.
    let drawn = u8::try_from(memory.shelf.borrow().entries.len()).unwrap();
    let sealed = Cell::new(drawn.wrapping_mul(40));
    let sealer = Rc::new(FakeSealer { key: Cell::new(key), sealed, opened: Cell::default() });
    let local = SealedStore::over(Rc::clone(memory) as _, Rc::clone(&sealer) as _);
    let who = store().0.who();
    let store = JobStore::over(who, Rc::new(local), Rc::new(StillClock), Rc::new(Counting::from(key + drawn)));
    Kept { store, memory: Rc::clone(memory), sealer }
}

fn start() -> Kept {
    start_over(&Rc::default(), 7)
}

fn remark(text: &str) -> NewEntry {
    Body::Remark(Remark { at: None, text: text.into() }).into()
}

fn picture(content: &[u8]) -> NewPhoto {
    let (hash, bytes) = (Hash32::sha256(content), content.len() as u64);
    let file = PhotoFile { hash, bytes, width: 1, height: 1, media: MediaType::Jpeg };
    let capture = CaptureId::of(domain::ids::uuid_v7(0, &[5; 10]));
    NewPhoto { file, role: PhotoRole::Original, capture, bytes: FileBytes::of(content) }
}

fn holds(bytes: &[u8], words: &str) -> bool {
    bytes.windows(words.len()).any(|part| part == words.as_bytes())
}

/// What lies in the memory, as one heap of bytes.
fn heap(memory: &Memory) -> Vec<u8> {
    let shelf = memory.shelf.borrow();
    let rows = shelf.entries.values().map(|(_, row)| row.to_bytes());
    let photos = shelf.photo_bytes.values().cloned();
    let reference = shelf.reference.iter().map(|(_, bytes)| bytes.clone());
    rows.chain(photos).chain(reference).chain(memory.texts()).flatten().collect()
}

fn words_of(store: &JobStore) -> Vec<String> {
    let loaded = now(store.load_job(job())).unwrap();
    let words = loaded.file.iter().filter_map(|held| match held.entry.body() {
        Some(Body::Remark(remark)) => Some(remark.text.clone()),
        _ => None,
    });
    words.collect()
}

#[test]
fn nothing_that_is_written_lies_there_in_the_clear() {
    let kept = start();
    now(kept.store.write_entries(job(), vec![remark("under the mat")], vec![picture(b"a face at the window")]))
        .unwrap();
    now(kept.store.put_draft("text/1", b"half a sentence".to_vec())).unwrap();
    now(kept.store.remember("mark", b"what the app knows".to_vec())).unwrap();
    let reference = Write::Reference { version: 3, bytes: br#"{"version":3,"people":[]}"#.to_vec() };
    now(kept.store.local().apply(Plan { writes: vec![reference] })).unwrap();
    let heap = heap(&kept.memory);
    for words in ["under the mat", "a face at", "half a sentence", "what the app", "people"] {
        assert!(!holds(&heap, words), "{words:?} lies in the clear");
    }

    let next = start_over(&kept.memory, 7);
    assert_eq!(words_of(&next.store), ["under the mat"]);
    let bytes = now(next.store.photo_bytes(Hash32::sha256(b"a face at the window"))).unwrap().unwrap();
    assert_eq!(bytes.to_vec(), b"a face at the window");
    assert_eq!(now(next.store.draft("text/1")).unwrap().unwrap(), b"half a sentence");
    assert_eq!(now(next.store.remembered("mark")).unwrap().unwrap(), b"what the app knows");
    assert_eq!(now(next.store.reference()).unwrap().unwrap().version, 3);
}

#[test]
fn plain_rows_of_an_older_app_are_read_and_go_on() {
    let kept = start();
    let older = start_over(&kept.memory, 0);
    now(older.store.write_entries(job(), vec![remark("plain")], vec![picture(b"plain picture")])).unwrap();
    now(older.store.put_draft("text/1", b"plain draft".to_vec())).unwrap();
    assert!(holds(&heap(&kept.memory), "plain picture"), "without a key nothing is lost: it is kept plain");

    now(kept.store.write_entries(job(), vec![remark("sealed")], vec![])).unwrap();
    assert_eq!(words_of(&kept.store), ["plain", "sealed"], "one chain over both");
    let photo = now(kept.store.photo_bytes(Hash32::sha256(b"plain picture"))).unwrap().unwrap();
    assert_eq!(photo.to_vec(), b"plain picture");
    assert_eq!(now(kept.store.draft("text/1")).unwrap().unwrap(), b"plain draft");
}

#[test]
fn what_was_opened_once_is_not_opened_again() {
    let kept = start();
    now(kept.store.write_entries(job(), vec![remark("a"), remark("b")], vec![])).unwrap();
    let next = start_over(&kept.memory, 7);
    assert_eq!(words_of(&next.store).len(), 2);
    assert_eq!(next.sealer.opened.get(), 2);
    now(next.store.write_entries(job(), vec![remark("c")], vec![])).unwrap();
    assert_eq!(words_of(&next.store).len(), 3);
    assert_eq!(next.sealer.opened.get(), 2, "neither the known ones nor what was written here");
}

#[test]
fn a_lost_key_is_said_and_nothing_looks_empty_or_goes() {
    let kept = start();
    now(kept.store.write_entries(job(), vec![remark("a")], vec![picture(b"picture")])).unwrap();
    now(kept.store.put_draft("text/1", b"draft".to_vec())).unwrap();
    let before = kept.memory.shelf.borrow().clone();

    for key in [9, 0] {
        let lost = start_over(&kept.memory, key);
        assert_eq!(now(lost.store.load_job(job())).map(|_| ()), Err(StoreError::KeyLost));
        let photo = now(lost.store.photo_bytes(Hash32::sha256(b"picture")));
        assert_eq!(photo.map(|_| ()), Err(StoreError::KeyLost));
        assert_eq!(now(lost.store.draft("text/1")), Err(StoreError::KeyLost));
        let here = now(lost.store.local().on_device()).unwrap();
        assert_eq!((here.entries.len(), here.photos.len()), (1, 1), "the tray is not empty");
        assert_eq!(here.entries[0].seq, 1, "and knows the order");
        let sent = now(lost.store.local().envelopes(vec![here.entries[0].id]));
        assert_eq!(sent, Err(StoreError::KeyLost), "what cannot be opened is never sent");
        let saved = now(lost.store.write_entries(job(), vec![remark("b")], vec![]));
        assert_eq!(saved, Err(SaveError::Store(StoreError::KeyLost)), "its chain cannot go on unseen");
    }
    assert_eq!(*kept.memory.shelf.borrow(), before, "all of it is kept");
    assert_eq!(words_of(&start_over(&kept.memory, 7).store), ["a"]);
}

#[test]
fn what_the_server_gives_back_is_the_same_entry_and_what_is_new_is_sealed() {
    let kept = start();
    let id = now(kept.store.write_entries(job(), vec![remark("mine")], vec![])).unwrap()[0];
    let mine = now(kept.store.local().envelopes(vec![id])).unwrap()[0].clone().unwrap();
    let (other, _) = store();
    now(other.write_entries(job(), vec![remark("from elsewhere")], vec![])).unwrap();
    let theirs: Entry = now(other.load_job(job())).unwrap().file.iter().next().unwrap().entry.clone();
    let stamp = |position| Stamp { time_us: position, position };
    let stored = |id, position, envelope| Write::Store { job: job(), id, stamp: stamp(position), envelope };
    let next = start_over(&kept.memory, 7);
    let writes = vec![stored(id, 1, mine), stored(theirs.header.id, 2, theirs.bytes().to_vec())];
    now(next.store.local().apply(Plan { writes })).unwrap();

    let loaded = now(next.store.load_job(job())).unwrap();
    assert!(loaded.deliveries.values().all(|delivery| *delivery == Delivery::Confirmed), "{:?}", loaded.deliveries);
    assert_eq!(loaded.file.get(theirs.header.id).unwrap().entry.bytes(), theirs.bytes());
    assert!(!holds(&heap(&kept.memory), "from elsewhere"));
    assert!(kept.memory.shelf.borrow().entries.values().all(|(_, row)| is_sealed(&row.envelope)));
}

#[test]
fn a_job_that_never_stands_still_is_written_all_the_same() {
    let kept = start();
    now(kept.store.write_entries(job(), vec![remark("a")], vec![])).unwrap();
    let other = start_over(&kept.memory, 7);
    // Another window writes before each of our tries; none of it is ours to wait for.
    let file = now(other.store.load_job(job())).unwrap().file;
    let who = other.store.who();
    let mut head = file.chain_head(who.device);
    let mut others = Vec::new();
    for n in 0..20_u8 {
        let draft = domain::job_file::Draft {
            id: other.store.new_entry_id(),
            firm: who.firm,
            job: job(),
            author: who.person,
            device: who.device,
            salt: [n; 16],
            body: Body::Remark(Remark { at: None, text: format!("other {n}") }),
        };
        let entry = Entry::write(draft, head, 0, 1, 0);
        head = entry.as_head();
        others.push(entry);
    }
    kept.memory.meanwhile.borrow_mut().extend(others.into_iter().rev());
    now(kept.store.write_entries(job(), vec![remark("b")], vec![])).unwrap();
    let words = words_of(&kept.store);
    assert!(words.iter().any(|word| word == "b"), "{words:?}");
    let chain: Vec<u64> =
        now(kept.store.load_job(job())).unwrap().file.iter().map(|held| held.entry.header.seq).collect();
    let mut once = chain.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), chain.len(), "no fork: {chain:?}");
}

#[test]
fn who_leaves_leaves_nothing() {
    let kept = start();
    now(kept.store.write_entries(job(), vec![remark("a")], vec![picture(b"picture")])).unwrap();
    now(kept.store.put_draft("text/1", b"draft".to_vec())).unwrap();
    now(kept.store.forget_all()).unwrap();
    assert!(heap(&kept.memory).is_empty());
}
