//! A key is its place in the table, sorted within each of its two files; its name exists only while compiling.

use super::words::{BLANKS, FIRST, NAMES};

/// Names some words in every language.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Key(u16);

impl Key {
    /// Finds a key by its name; used by the macros in a `const`, so that an unknown name is an error of the compiler.
    pub const fn named(name: &str) -> Self {
        Self::in_room("", name)
    }

    /// Like [`Key::named`], and its blanks must be exactly these.
    pub const fn with_blanks(name: &str, given: &[&str]) -> Self {
        let key = Self::named(name);
        let blanks = BLANKS[key.0 as usize];
        assert!(blanks.len() == given.len(), "these words have other blanks to fill");
        let mut at = 0;
        while at < given.len() {
            assert!(holds(blanks, given[at]), "these words have no such blank");
            at += 1;
        }
        key
    }

    /// Finds a key by the two halves of its name, where a table of `domain` gives the second one; only in a `const`.
    pub const fn in_room(room: &str, name: &str) -> Self {
        let ends = [0, FIRST, NAMES.len()];
        let mut file = 0;
        while file < 2 {
            let (mut low, mut high) = (ends[file], ends[file + 1]);
            while low < high {
                let middle = usize::midpoint(low, high);
                match order_of_halves(room.as_bytes(), name.as_bytes(), NAMES[middle].as_bytes()) {
                    0 => return Self(middle as u16),
                    1 => low = middle + 1,
                    _ => high = middle,
                }
            }
            file += 1;
        }
        panic!("this key is not in web/locales/en.json");
    }

    pub(super) const fn at(index: u16) -> Self {
        Self(index)
    }

    pub(super) const fn index(self) -> usize {
        self.0 as usize
    }
}

const fn holds(blanks: &[&str], name: &str) -> bool {
    let mut at = 0;
    while at < blanks.len() {
        if order_of_halves(&[], blanks[at].as_bytes(), name.as_bytes()) == 0 {
            return true;
        }
        at += 1;
    }
    false
}

/// 0 where `a` and then `b` equal `whole`, 1 where they come after it, 2 where before: `Ord` is not const.
const fn order_of_halves(a: &[u8], b: &[u8], whole: &[u8]) -> u8 {
    let (mut at, length) = (0, a.len() + b.len());
    while at < length && at < whole.len() {
        let own = if at < a.len() { a[at] } else { b[at - a.len()] };
        if own != whole[at] {
            return if own > whole[at] { 1 } else { 2 };
        }
        at += 1;
    }
    if length == whole.len() {
        0
    } else if length > whole.len() {
        1
    } else {
        2
    }
}
