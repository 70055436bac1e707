//! What a person is told of a picture at once. Each can be kept anyway, and is then marked for review.

use super::likeness::Likeness;
use super::measure::Measures;
use crate::job_file::body::Place;

/// Sharpness below which a picture is called blurred. Tuned on the even half of the made pictures of
/// `domain/tests/photo_checks.rs`; the odd half is what the figures there are measured on. So are the others.
pub const SHARP_MIN: u16 = 480;
/// Nine tenths of a picture darker than this: too dark.
pub const BRIGHT_MIN: u8 = 60;
/// Thousandths burnt out above which a picture is too bright.
pub const BURNT_MAX: u16 = 350;
/// Distance up to which two pictures are called alike, in thousandths.
pub const ALIKE_MAX: u32 = 190;

/// Something about a picture that a person should look at before going on.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Warning {
    /// Nothing in it is sharp.
    Blurred,
    /// Nearly all of it is dark.
    Dark,
    /// Much of it is burnt out.
    TooBright,
    /// It looks like the picture of another place.
    LooksLike(Place),
    /// This device cannot show it, and so nobody has looked at it.
    NotShown,
    /// The end of its file is missing.
    Cut,
}

/// What is to be said of a picture, with the pictures that the job already has. The picture of its own place is not asked.
pub fn warnings(measures: Measures, likeness: &Likeness, at: &Place, others: &[(Place, Likeness)]) -> Vec<Warning> {
    let mut found = Vec::new();
    let dark = measures.bright < BRIGHT_MIN;
    if dark {
        found.push(Warning::Dark);
    }
    if measures.burnt > BURNT_MAX {
        found.push(Warning::TooBright);
    }
    // In the dark nothing can be sharp; one reason is enough to take it again.
    if !dark && measures.sharpness < SHARP_MIN {
        found.push(Warning::Blurred);
    }
    let nearest = others
        .iter()
        .filter(|(place, _)| place != at)
        .map(|(place, other)| (likeness.distance(other), place))
        .min()
        .filter(|(distance, _)| *distance <= ALIKE_MAX);
    found.extend(nearest.map(|(_, place)| Warning::LooksLike(place.clone())));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::grey::Grey;

    #[test]
    fn limits_are_inclusive_and_one_past_them_warns() {
        let grey = Grey::of(64, 64, (0..64 * 64).map(|at| (at * 7 % 251) as u8).collect()).expect("64 by 64");
        let likeness = Likeness::of(&grey);
        let (here, there) = (Place::of("a", 0, "p"), Place::of("b", 0, "p"));
        let good = Measures { sharpness: SHARP_MIN, bright: BRIGHT_MIN, burnt: BURNT_MAX };
        let say = |measures| warnings(measures, &likeness, &here, &[(here.clone(), likeness.clone())]);
        assert_eq!(say(good), []);
        assert_eq!(say(Measures { sharpness: SHARP_MIN - 1, ..good }), [Warning::Blurred]);
        assert_eq!(say(Measures { bright: BRIGHT_MIN - 1, sharpness: 0, ..good }), [Warning::Dark]);
        assert_eq!(say(Measures { burnt: BURNT_MAX + 1, ..good }), [Warning::TooBright]);
        let alike = warnings(good, &likeness, &here, &[(there.clone(), likeness.clone())]);
        assert_eq!(alike, [Warning::LooksLike(there)]);
    }
}
