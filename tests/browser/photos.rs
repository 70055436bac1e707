//! Photos for the whole job: real JPEGs of 2 to 8 megapixels, every orientation, a position in each.

use std::path::{Path, PathBuf};

use anyhow::Result;
use camera::Picture;

/// Upright sizes in pixels; 2, 3, 5 and 8 megapixels, upright and lying.
const SIZES: [(u32, u32); 8] =
    [(1632, 1224), (1224, 1632), (2048, 1536), (1536, 2048), (2592, 1944), (1224, 1632), (1632, 1224), (3264, 2448)];
/// So many have all the sizes. What comes after has two megapixels, for drawing takes time; none may look like another one.
const OF_ALL_SIZES: u32 = 24;

/// Makes `count` files in a folder; no two look alike.
pub async fn make(folder: &Path, count: u32) -> Result<Vec<PathBuf>> {
    let folder = folder.to_owned();
    tokio::task::spawn_blocking(move || {
        let file = |number: u32| folder.join(format!("IMG_{number:04}.jpg"));
        let half = |odd: u32| {
            let mut mine = (0..count).filter(move |number| number % 2 == odd);
            move || mine.try_for_each(|number| std::fs::write(file(number), draw(number)))
        };
        std::thread::scope(|scope| {
            let (even, odd) = (scope.spawn(half(0)), scope.spawn(half(1)));
            even.join().expect("drawing does not panic").and(odd.join().expect("drawing does not panic"))
        })?;
        Ok((0..count).map(file).collect())
    })
    .await?
}

/// A few of two megapixels, for tests in which the picture does not matter.
pub fn make_small(folder: &Path, count: u32) -> Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for number in 0..count {
        let file = folder.join(format!("IMG_{number:04}.jpg"));
        std::fs::write(&file, Picture { width: 1632, height: 1224, orientation: 6, seed: number + 1 }.jpeg())?;
        files.push(file);
    }
    Ok(files)
}

fn draw(number: u32) -> Vec<u8> {
    let sizes = if number < OF_ALL_SIZES { SIZES.len() } else { 2 };
    let (width, height) = SIZES[usize::try_from(number).unwrap_or(0) % sizes];
    // Over three rounds every size meets another orientation.
    let orientation = u8::try_from((number + number / 8) % 8 + 1).unwrap_or(1);
    Picture { width, height, orientation, seed: number * 7919 + 1 }.jpeg()
}
