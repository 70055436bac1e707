//! The little that must be there before anything else: who works here, and which enrolments this browser had.
//!
//! On the disk before it counts. The browser's small store (`localStorage`) is written out when the browser finds time, and a
//! phone may end it before that: whoever had just signed in and driven off without a signal then stood before a closed door.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use super::browser;
use super::file_bytes::FileBytes;
use super::indexed_db::IndexedDb;
use super::row_key::RowKey;
use crate::ports::local_store::{LocalStore, Space};
use crate::ports::sealer::Sealer;
use domain::tray::sealed::is_sealed;

/// No person's database; it has the shape of one, so that there is one way to open and to write.
const DATABASE: &str = "witnessmark.doors";

#[derive(Default)]
struct Kept {
    values: BTreeMap<&'static str, String>,
    /// `None`: this browser has no database, and the small store must do.
    disk: Option<Rc<IndexedDb>>,
    key: Option<Rc<RowKey>>,
}

thread_local! {
    static KEPT: RefCell<Kept> = RefCell::default();
}

/// Reads these; once, before anything is drawn.
pub async fn load(names: &[&'static str]) {
    let disk = IndexedDb::named(DATABASE.to_owned()).await.ok().map(Rc::new);
    let key = disk.clone().map(|disk| Rc::new(RowKey::of(disk)));
    for name in names {
        let value = match &disk {
            Some(disk) => match disk.text(Space::App, (*name).to_owned()).await.ok().flatten() {
                Some(bytes) => String::from_utf8(opened(key.as_deref(), bytes).await).ok(),
                None => None,
            },
            None => browser::kept(name),
        };
        if let Some(value) = value {
            KEPT.with_borrow_mut(|kept| kept.values.insert(name, value));
        }
    }
    KEPT.with_borrow_mut(|kept| (kept.disk, kept.key) = (disk, key));
}

/// A value that was kept.
pub fn kept(name: &str) -> Option<String> {
    KEPT.with_borrow(|kept| kept.values.get(name).cloned())
}

/// What stands there when it is not sealed, or sealed under a key that is still there; else nothing.
async fn opened(key: Option<&RowKey>, bytes: Vec<u8>) -> Vec<u8> {
    if !is_sealed(&bytes) {
        return bytes;
    }
    let Some(key) = key else { return Vec::new() };
    let opened = key.open(vec![FileBytes::of(&bytes)]).await.pop().flatten();
    opened.map(|opened| opened.to_vec()).unwrap_or_default()
}

/// Keeps a value sealed, where this browser can.
pub async fn keep_sealed(name: &'static str, value: String) {
    let (disk, key) = KEPT.with_borrow_mut(|kept| {
        kept.values.insert(name, value.clone());
        (kept.disk.clone(), kept.key.clone())
    });
    let (Some(disk), Some(key)) = (disk, key) else { return keep(name, Some(value)).await };
    let Some(sealed) = key.seal(vec![FileBytes::of(value.as_bytes())]).await.and_then(|mut sealed| sealed.pop()) else {
        return keep(name, Some(value)).await;
    };
    let _ = disk.put_text(Space::App, name.to_owned(), sealed.to_vec()).await;
}

/// Drops the key of what was kept sealed.
pub async fn drop_key() {
    let disk = KEPT.with_borrow_mut(|kept| {
        // Another key for whoever comes next.
        kept.key = kept.disk.clone().map(|disk| Rc::new(RowKey::of(disk)));
        kept.disk.clone()
    });
    if let Some(disk) = disk {
        let _ = disk.drop_key(RowKey::NAME).await;
    }
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
