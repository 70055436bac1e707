//! Turns of the loop over a store in memory and a way to the server that can be told what to answer.

#![allow(clippy::unwrap_used, reason = "tests may")]

use super::*;
use crate::adapters::file_bytes::FileBytes;
use crate::ports::Later;
use crate::ports::local_store::StoreError;
use crate::ports::transport::{Outgoing, Transport};
use crate::store::NewPhoto;
use crate::store::tests::{job, now, store};
use domain::ids::{CaptureId, Hash32, uuid_v7};
use domain::job_file::body::{MediaType, PhotoFile, Plain};
use domain::job_file::{Body, Stamp};
use domain::tray::{Answer, Failure, PhotoAnswer, PhotoRole, Word};
use domain::wire::sync::{JobHead, PullReply, PushReply, PushVerdict, SYNC_VERSION};
use leptos::prelude::GetUntracked;
use std::cell::{Cell, RefCell};
use std::rc::Rc;

/// A server that stores all that comes and has nothing of its own.
#[derive(Default)]
struct Willing {
    stored: Cell<u64>,
    bytes: RefCell<Vec<u8>>,
    is_cut: Cell<bool>,
    asked: Cell<u32>,
}

impl Willing {
    fn answer(&self, outgoing: Outgoing) -> Answer {
        self.asked.set(self.asked.get() + 1);
        if self.is_cut.get() {
            return Answer::Failed(Failure::NoConnection);
        }
        let epoch = vec![1];
        match outgoing {
            Outgoing::Push(push) => {
                let verdict = |_| {
                    self.stored.set(self.stored.get() + 1);
                    PushVerdict::Stored(Stamp { time_us: 1, position: self.stored.get() })
                };
                let verdicts = push.entries.iter().map(verdict).collect();
                Answer::Push(PushReply { version: SYNC_VERSION, epoch: epoch.into(), server_us: 0, verdicts })
            }
            Outgoing::Pull(pull) => Answer::Pull(PullReply {
                version: SYNC_VERSION,
                epoch: epoch.into(),
                server_us: 0,
                manifest: pull.have.iter().map(|(job, position)| JobHead { job: *job, position: *position }).collect(),
                entries: vec![],
                more: false,
                methods: vec![],
                reference_version: 0,
                firm: domain::ids::FirmId::of(uuid_v7(0, &[1; 10])),
                drawn_number: None,
            }),
            Outgoing::Reference | Outgoing::Method(_) => Answer::Failed(Failure::Unreadable),
            Outgoing::CreateUpload(..) => Answer::Photo(PhotoAnswer::Created { upload: "/u".into() }),
            Outgoing::AskUpload(..) => {
                Answer::Photo(PhotoAnswer::At { offset: self.bytes.borrow().len() as u64, elapsed_ms: 0 })
            }
            Outgoing::SendSlice { key, slice, .. } => {
                self.bytes.borrow_mut().extend(slice.to_vec());
                Answer::Photo(if Hash32::sha256(&self.bytes.borrow()) == key.hash {
                    PhotoAnswer::Have
                } else {
                    PhotoAnswer::At { offset: self.bytes.borrow().len() as u64, elapsed_ms: 1 }
                })
            }
        }
    }
}

struct Way(Rc<Willing>);

impl Transport for Way {
    fn follow<'a>(&'a self, _news: &'a dyn Fn()) -> Later<'a, ()> {
        Box::pin(async {})
    }

    fn hang_up(&self) {}

    fn send(&self, outgoing: Outgoing) -> Later<'_, Answer> {
        Box::pin(core::future::ready(self.0.answer(outgoing)))
    }
    fn woke(&self) {}
}

fn photo(content: &[u8]) -> NewPhoto {
    let hash = Hash32::sha256(content);
    let file = PhotoFile { hash, bytes: content.len() as u64, width: 1, height: 1, media: MediaType::Jpeg };
    let capture = CaptureId::of(uuid_v7(0, &[5; 10]));
    NewPhoto { file, role: PhotoRole::Original, capture, bytes: FileBytes::of(content) }
}

fn until_idle(sync: &SyncHandle) {
    for _ in 0..50 {
        if now(sync.turn()) == Turn::Idle {
            return;
        }
    }
    panic!("it never rests");
}

#[test]
fn what_was_written_arrives_and_the_word_says_so() {
    let (store, memory) = store();
    let server = Rc::new(Willing::default());
    let sync = SyncHandle::new(store.clone(), Rc::new(Way(Rc::clone(&server))));
    let content = vec![7; 600_000];
    now(store.write_entries(job(), vec![Body::Resumed(Plain {}).into()], vec![photo(&content)])).unwrap();
    assert_eq!(now(sync.turn()), Turn::Moved);
    assert_eq!(sync.view().word.get_untracked(), Some(Word::OnlyHere { n: 1 }), "the entry is there, the photo is not");
    until_idle(&sync);
    assert_eq!(sync.view().word.get_untracked(), Some(Word::Confirmed));
    assert_eq!((server.stored.get(), server.bytes.borrow().len()), (1, 600_000));
    assert!(memory.shelf.borrow().photo_bytes.len() == 1, "a confirmed original stays for its time");
}

#[test]
fn a_cut_line_is_told_and_a_tap_goes_on() {
    let (store, _) = store();
    let server = Rc::new(Willing::default());
    server.is_cut.set(true);
    let sync = SyncHandle::new(store.clone(), Rc::new(Way(Rc::clone(&server))));
    now(store.write_entries(job(), vec![Body::Resumed(Plain {}).into()], vec![])).unwrap();
    until_idle(&sync);
    assert_eq!(sync.view().word.get_untracked(), Some(Word::NoConnection { since_ms: None, n: 1 }));
    assert_eq!(server.asked.get(), 1, "nothing is tried again before its time");
}

#[test]
fn a_store_that_fails_loses_nothing() {
    let (store, memory) = store();
    let server = Rc::new(Willing::default());
    let sync = SyncHandle::new(store.clone(), Rc::new(Way(Rc::clone(&server))));
    now(store.write_entries(job(), vec![Body::Resumed(Plain {}).into()], vec![])).unwrap();
    memory.failures.borrow_mut().push(StoreError::ConnectionLost);
    assert_eq!(now(sync.turn()), Turn::Troubled);
    assert_eq!(sync.view().trouble.get_untracked(), Some(StoreError::ConnectionLost));
    until_idle(&sync);
    assert_eq!(sync.view().word.get_untracked(), Some(Word::Confirmed));
    assert_eq!(server.stored.get(), 2, "it was sent twice, which a real server answers with the first stamp");
}

#[test]
fn bytes_that_the_browser_lost_are_set_aside_and_told() {
    let (store, memory) = store();
    let sync = SyncHandle::new(store.clone(), Rc::new(Way(Rc::default())));
    now(store.write_entries(job(), vec![], vec![photo(b"gone")])).unwrap();
    memory.shelf.borrow_mut().photo_bytes.clear();
    until_idle(&sync);
    assert_eq!(sync.view().word.get_untracked(), Some(Word::Refused { n: 1 }));
}
