//! What a photo is measured against before it becomes evidence, and what is known of the others for that.
//!
//! What they look like is worked out from the previews that are here, ahead of the shutter and once a page: a phone must not
//! unpack a whole job's pictures while somebody waits for one to be saved.

use super::JobStore;
use crate::adapters::photo;
use domain::evidence::grey::Grey;
use domain::evidence::likeness::Likeness;
use domain::evidence::measure::Measures;
use domain::evidence::warning::{Warning, warnings};
use domain::ids::Hash32;
use domain::job_file::body::Place;
use std::cell::RefCell;
use std::collections::BTreeMap;

/// By the original's hash.
pub(super) type Likenesses = RefCell<BTreeMap<Hash32, Likeness>>;

/// A photo that a new one is compared with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Other {
    /// What it was taken for.
    pub at: Place,
    /// SHA-256 of the untouched file.
    pub original: Hash32,
    /// SHA-256 of its preview.
    pub preview: Hash32,
}

/// What a photo is measured against before it becomes evidence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ask {
    /// A person has looked and keeps it, or it is no evidence of a place.
    Nothing,
    /// Sharpness, light, and whether it looks like one of the others.
    For {
        /// What it was taken for.
        at: Place,
        /// Those of other places.
        others: Vec<Other>,
    },
}

impl JobStore {
    /// What a person should be told of a picture before it becomes evidence.
    pub(super) fn warnings(&self, original: Hash32, picture: &Grey, ask: &Ask) -> Vec<Warning> {
        let Ask::For { at, others } = ask else { return Vec::new() };
        let likeness = Likeness::of(picture);
        let mut known = self.0.likenesses.borrow_mut();
        let like = |other: &Other| known.get(&other.original).map(|likeness| (other.at.clone(), likeness.clone()));
        let others: Vec<(Place, Likeness)> = others.iter().filter_map(like).collect();
        let found = warnings(Measures::of(picture), &likeness, at, &others);
        known.insert(original, likeness);
        found
    }

    /// Gets to know what these photos look like, as far as their previews are here.
    pub async fn learn_likenesses(&self, others: Vec<Other>) {
        for other in others {
            if self.0.likenesses.borrow().contains_key(&other.original) {
                continue;
            }
            // A preview that cannot be read has nothing to be compared with; the photo itself is not in question here.
            let Ok(Some(preview)) = self.photo_bytes(other.preview).await else { continue };
            if let Some(picture) = photo::grey_of_preview(&preview).await {
                self.0.likenesses.borrow_mut().insert(other.original, Likeness::of(&picture));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests may")]
    use super::*;
    use crate::store::tests::{now, store};

    fn picture(value: impl Fn(usize, usize) -> u8) -> Grey {
        Grey::of(128, 96, (0..128 * 96).map(|at| value(at % 128, at / 128)).collect()).unwrap()
    }

    #[test]
    fn a_photo_of_this_page_is_known_to_the_next_one() {
        let store = store().0;
        let fields = |x: usize, y: usize| ((x / 12 * 7 + y / 12 * 13) * 37 % 200) as u8 + 20;
        let (one, two) = (Hash32::of([1; 32]), Hash32::of([2; 32]));
        let (here, there) = (Place::of("label", 1, "p"), Place::of("label", 2, "p"));
        let ask = |at: &Place, others| Ask::For { at: at.clone(), others };
        assert_eq!(store.warnings(one, &picture(fields), &ask(&here, Vec::new())), []);
        let known = vec![Other { at: here.clone(), original: one, preview: one }];
        assert_eq!(store.warnings(two, &picture(fields), &ask(&there, known)), [Warning::LooksLike(here)]);
        let dark = picture(|x, y| fields(x, y) / 10);
        assert_eq!(store.warnings(two, &dark, &ask(&there, Vec::new())), [Warning::Dark]);
        assert_eq!(store.warnings(two, &dark, &Ask::Nothing), [], "a person has looked");
    }

    #[test]
    fn a_preview_that_is_not_here_is_passed_over() {
        let store = store().0;
        let absent = Other { at: Place::of("s", 0, "p"), original: Hash32::of([1; 32]), preview: Hash32::of([2; 32]) };
        now(store.learn_likenesses(vec![absent]));
        assert!(store.0.likenesses.borrow().is_empty());
    }
}
