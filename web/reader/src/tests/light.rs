//! How often a label is read in little light.
//!
//! A model, no measurement of a phone: at 100 lux a frame of a video gathers 1,000 electrons for white paper, and less light less of
//! them; the sensor adds some of its own; up to 20 lux the phone brightens the picture, below it stays dark; the darker, the longer
//! the exposure and the more a hand smears. The code fills the frame so far that one of its modules has four to five and a half pixels.

use std::time::Instant;

use super::chance::Chance;
use super::scene::{LABELS, Scene, grain};
use crate::read;

/// Electrons that a sensor adds of its own.
const OWN: f64 = 4.0;
/// Frames of each kind of code at each light.
const FRAMES: u32 = 10;

/// Lux, electrons of white, grey of white, smear, and how many of a hundred frames must be read at least, any kind of code.
const LIGHTS: [(u32, f64, f64, u32, u32); 3] =
    [(100, 1_000.0, 220.0, 1, 90), (20, 200.0, 200.0, 2, 60), (5, 50.0, 70.0, 3, 60)];

#[test]
fn labels_are_read_in_little_light() {
    for (lux, full, white, smear, least) in LIGHTS {
        for (format, text) in LABELS {
            let mut chance = Chance::of(u64::from(lux));
            let (mut right, mut ms) = (0, 0);
            for _ in 0..FRAMES {
                let scene = Scene {
                    width: 960,
                    height: 300,
                    module: chance.between(4.0, 5.5),
                    degrees: chance.between(-6.0, 6.0),
                    white,
                    black: white * 0.12,
                    blur: chance.between(0.5, 1.2),
                    smear,
                };
                let picture = scene.seen(format, text, grain(&mut chance, white, full, OWN));
                let began = Instant::now();
                let seen = read(&picture);
                ms += began.elapsed().as_millis();
                assert!(seen.as_deref().is_none_or(|seen| seen == text), "{format} misread as {seen:?}");
                right += u32::from(seen.is_some());
            }
            let rate = right * 100 / FRAMES;
            println!("{lux} lux, {format}: {rate} of 100 frames, {} ms a frame", ms / u128::from(FRAMES));
            assert!(rate >= least, "{lux} lux, {format}: {right} of {FRAMES} frames");
        }
    }
}
