//! The little that must be there before anything else: who works here, and which enrolments this browser had.
//!
//! On the disk before it counts. The browser's small store (`localStorage`) is written out when the browser finds time, and a
//! phone may end it before that: whoever had just signed in and driven off without a signal then stood before a closed door.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use super::browser;
use super::indexed_db::IndexedDb;
use crate::ports::local_store::{LocalStore, Space};

/// No person's database; it has the shape of one, so that there is one way to open and to write.
const DATABASE: &str = "witnessmark.doors";

#[derive(Default)]
struct Kept {
    values: BTreeMap<&'static str, String>,
    /// `None`: this browser has no database, and the small store must do.
    disk: Option<Rc<IndexedDb>>,
}

thread_local! {
    static KEPT: RefCell<Kept> = RefCell::default();
}

/// Reads these; once, before anything is drawn.
pub async fn load(names: &[&'static str]) {
    let disk = IndexedDb::named(DATABASE.to_owned()).await.ok().map(Rc::new);
    for name in names {
        let value = match &disk {
            Some(disk) => disk
                .text(Space::App, (*name).to_owned())
                .await
                .ok()
                .flatten()
                .and_then(|bytes| String::from_utf8(bytes).ok()),
            None => browser::kept(name),
        };
        if let Some(value) = value {
            KEPT.with_borrow_mut(|kept| kept.values.insert(name, value));
        }
    }
    KEPT.with_borrow_mut(|kept| kept.disk = disk);
}

/// A value that was kept.
pub fn kept(name: &str) -> Option<String> {
    KEPT.with_borrow(|kept| kept.values.get(name).cloned())
}

/// Keeps a value, `None` forgets it; done once it is on the disk. Where the disk refuses, it holds until the page ends.
pub async fn keep(name: &'static str, value: Option<String>) {
    let disk = KEPT.with_borrow_mut(|kept| {
        match &value {
            Some(value) => kept.values.insert(name, value.clone()),
            None => kept.values.remove(name),
        };
        kept.disk.clone()
    });
    let Some(disk) = disk else {
        browser::keep(name, value.as_deref());
        return;
    };
    let _ = match value {
        Some(value) => disk.put_text(Space::App, name.to_owned(), value.into_bytes()).await,
        None => disk.delete_text(Space::App, name.to_owned()).await,
    };
}
