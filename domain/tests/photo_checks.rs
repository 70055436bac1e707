//! Blurred, dark, burnt out, alike: measured on made pictures of which one half served to set the thresholds and the other
//! half says how good they are.
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]
#![allow(clippy::disallowed_methods, reason = "made pictures need not be the same in a browser")]

mod pictures;

use domain::evidence::grey::Grey;
use domain::evidence::likeness::Likeness;
use domain::evidence::measure::Measures;
use domain::evidence::warning::{ALIKE_MAX, Warning, warnings};
use domain::job_file::Place;
use pictures::{Dice, Scene, re_encoded};
use std::collections::BTreeMap;

/// What was made, and whether it is fit as evidence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Made {
    Sharp,
    Blurred(usize),
    Shaken(usize),
    Dark,
    Burnt,
}

const SCENES: u64 = 60;

/// One picture of each kind of each scene.
fn single() -> Vec<(u64, Made, Grey)> {
    let mut all = Vec::new();
    for seed in 0..SCENES {
        let mut dice = Dice(seed.wrapping_mul(77).wrapping_add(5));
        let good = Scene::of(seed).framed(seed);
        let noise = dice.between(0.5, 4.0);
        let mut put = |made, canvas: &pictures::Canvas, dice: &mut Dice| {
            let quality = 60 + dice.upto(35) as u8;
            all.push((seed, made, re_encoded(&canvas.taken(dice, noise), quality)));
        };
        put(Made::Sharp, &good, &mut dice);
        // Light that is weak or strong but leaves everything to be seen.
        let exposure = dice.between(0.7, 1.15);
        put(Made::Sharp, &good.map(|light| light * exposure), &mut dice);
        let step = 2 + (seed % 4) as usize;
        put(Made::Blurred(step), &good.blurred(step), &mut dice);
        put(Made::Shaken(10 + step * 2), &good.shaken(10 + step * 2), &mut dice);
        let dark = dice.between(0.03, 0.17);
        put(Made::Dark, &good.map(|light| light * dark), &mut dice);
        let burnt = dice.between(2.4, 4.5);
        put(Made::Burnt, &good.map(|light| light * burnt), &mut dice);
    }
    all
}

/// Two pictures and whether they are the same one.
fn pairs() -> Vec<(u64, bool, Likeness, Likeness)> {
    let mut all = Vec::new();
    for seed in 0..SCENES {
        let mut dice = Dice(seed.wrapping_mul(131).wrapping_add(9));
        let scene = Scene::of(2_000 + seed);
        let first = scene.framed(seed).taken(&mut dice, 1.5);
        let one = Likeness::of(&first);
        // Cropped by up to a twentieth, brighter or darker, and through another JPEG.
        for _ in 0..2 {
            let (w, h) = (first.width(), first.height());
            let crop = [(); 4].map(|()| dice.between(0.0, 0.025));
            let (x, y) = ((w as f32 * crop[0]) as usize, (h as f32 * crop[1]) as usize);
            let (right, bottom) = (w - (w as f32 * crop[2]) as usize, h - (h as f32 * crop[3]) as usize);
            let light = dice.between(0.75, 1.25);
            let pixels = (y..bottom).flat_map(|row| (x..right).map(move |column| (column, row)));
            let pixels = pixels.map(|(column, row)| (f32::from(first.at(column, row)) * light).min(255.0) as u8);
            let cropped = Grey::of(right - x, bottom - y, pixels.collect()).unwrap();
            all.push((seed, true, one.clone(), Likeness::of(&re_encoded(&cropped, 45 + dice.upto(45) as u8))));
        }
        // The next module of the same stack: another label, and somebody who has taken a step.
        let (dx, dy) = (dice.between(0.10, 0.35), dice.between(0.10, 0.35));
        let other = scene.drawn(seed + 500).seen(
            pictures::WIDTH as f32 * dx,
            pictures::HEIGHT as f32 * dy,
            dice.between(0.8, 1.12),
        );
        // A twentieth of a step is what a crop looks like, and is rightly called alike: a step is more than that.
        let moved = ((dx - 0.25).abs() + (dy - 0.25).abs()) > 0.15;
        let other = if moved { other } else { scene.drawn(seed + 500).seen(0.0, 40.0, 1.1) };
        all.push((seed, false, one.clone(), Likeness::of(&re_encoded(&other.taken(&mut dice, 1.5), 80))));
        // Another place altogether.
        let elsewhere = Scene::of(5_000 + seed).framed(seed).taken(&mut dice, 1.5);
        all.push((seed, false, one, Likeness::of(&elsewhere)));
    }
    all
}

fn told(measures: Measures) -> Vec<Warning> {
    // There is no other picture to be like.
    let nothing = Likeness::of(&Grey::of(1, 1, vec![0]).unwrap());
    warnings(measures, &nothing, &Place::of("s", 0, "p"), &[])
}

fn wanted(made: Made) -> Option<Warning> {
    match made {
        Made::Sharp => None,
        Made::Blurred(_) | Made::Shaken(_) => Some(Warning::Blurred),
        Made::Dark => Some(Warning::Dark),
        Made::Burnt => Some(Warning::TooBright),
    }
}

#[derive(Default)]
struct Tally {
    good: usize,
    warned: usize,
    bad: usize,
    missed: usize,
}

impl Tally {
    fn count(&mut self, bad: bool, warned: bool) {
        if bad {
            self.bad += 1;
            self.missed += usize::from(!warned);
        } else {
            self.good += 1;
            self.warned += usize::from(warned);
        }
    }
    fn say(&self, what: &str) {
        let share = |part: usize, of: usize| part as f64 * 100.0 / of.max(1) as f64;
        println!(
            "{what}: {} of {} good ones warned of ({:.1} %), {} of {} bad ones missed ({:.1} %)",
            self.warned,
            self.good,
            share(self.warned, self.good),
            self.missed,
            self.bad,
            share(self.missed, self.bad)
        );
    }
    fn holds(&self) -> bool {
        self.warned * 100 <= self.good * 3 && self.missed * 100 <= self.bad * 3
    }
}

#[test]
fn few_good_pictures_are_warned_of_and_few_bad_ones_missed() {
    let pictures: Vec<(u64, Made, Measures)> =
        single().into_iter().map(|(seed, made, picture)| (seed, made, Measures::of(&picture))).collect();
    assert!(pictures.len() >= 300, "{}", pictures.len());
    let mut spread: BTreeMap<Made, Vec<Measures>> = BTreeMap::new();
    let mut held = true;
    for half in ["tuning", "held-out"] {
        let mut tally = Tally::default();
        for (seed, made, measures) in &pictures {
            if (seed % 2 == 0) != (half == "tuning") {
                continue;
            }
            let found = told(*measures);
            match wanted(*made) {
                None => tally.count(false, !found.is_empty()),
                Some(warning) => tally.count(true, found.contains(&warning)),
            }
            if half == "tuning" {
                spread.entry(*made).or_default().push(*measures);
            }
        }
        tally.say(&format!("sharpness and light, {half} half"));
        held &= half == "tuning" || tally.holds();
    }
    for (made, all) in spread {
        let range = |value: &dyn Fn(&Measures) -> u16| {
            (all.iter().map(value).min().unwrap(), all.iter().map(value).max().unwrap())
        };
        println!(
            "  {made:?}: sharpness {:?}, bright {:?}, burnt {:?}",
            range(&|m| m.sharpness),
            range(&|m| u16::from(m.bright)),
            range(&|m| m.burnt)
        );
    }
    assert!(held, "more than three in a hundred");
}

#[test]
fn the_same_picture_is_known_again_and_similar_things_are_not_taken_for_it() {
    let pairs = pairs();
    for half in ["tuning", "held-out"] {
        let mut tally = Tally::default();
        let (mut of_same, mut of_others) = (Vec::new(), Vec::new());
        for (_, same, one, other) in pairs.iter().filter(|(seed, ..)| (seed % 2 == 0) == (half == "tuning")) {
            let distance = one.distance(other);
            tally.count(*same, distance <= ALIKE_MAX);
            if *same { of_same.push(distance) } else { of_others.push(distance) }
        }
        of_same.sort_unstable();
        of_others.sort_unstable();
        tally.say(&format!("likeness, {half} half"));
        let farthest = &of_same[of_same.len() - 5..];
        println!("  farthest of the same picture {farthest:?}, nearest of another {:?}", &of_others[..5]);
        assert!(half == "tuning" || tally.holds());
    }
}
