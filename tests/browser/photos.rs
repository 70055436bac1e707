//! Photos for the whole job: real JPEGs of 2 to 8 megapixels, every orientation, a position in each.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result};
use tests::pictures::Picture;

/// Upright sizes in pixels; 2, 3, 5 and 8 megapixels, upright and lying.
const SIZES: [(u32, u32); 8] =
    [(1632, 1224), (1224, 1632), (2048, 1536), (1536, 2048), (2592, 1944), (1224, 1632), (1632, 1224), (3264, 2448)];
/// So many are drawn one by one; the others have the same pixels as one of them and bytes of their own.
const DRAWN: u32 = 24;

/// Makes `count` files in a folder; no two have the same bytes.
pub async fn make(folder: &Path, count: u32) -> Result<Vec<PathBuf>> {
    let folder = folder.to_owned();
    tokio::task::spawn_blocking(move || {
        let drawn: Vec<Vec<u8>> = std::thread::scope(|scope| {
            let half = |odd: u32| move || (0..DRAWN).filter(|n| n % 2 == odd).map(|n| (n, draw(n))).collect::<Vec<_>>();
            let (even, odd) = (scope.spawn(half(0)), scope.spawn(half(1)));
            let mut all = even.join().expect("drawing does not panic");
            all.extend(odd.join().expect("drawing does not panic"));
            all.sort_by_key(|(number, _)| *number);
            all.into_iter().map(|(_, bytes)| bytes).collect()
        });
        let mut files = Vec::new();
        for number in 0..count {
            let of = usize::try_from(number % DRAWN).context("a small number")?;
            let file = folder.join(format!("IMG_{number:04}.jpg"));
            std::fs::write(&file, with_comment(&drawn[of], &format!("frame {number}")))?;
            files.push(file);
        }
        Ok(files)
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
    let (width, height) = SIZES[usize::try_from(number).unwrap_or(0) % SIZES.len()];
    // Over three rounds every size meets another orientation.
    let orientation = u8::try_from((number + number / 8) % 8 + 1).unwrap_or(1);
    Picture { width, height, orientation, seed: number * 7919 + 1 }.jpeg()
}

/// Puts a comment segment behind the Exif segment, which must come first; every reader skips it.
fn with_comment(jpeg: &[u8], text: &str) -> Vec<u8> {
    // Two bytes of start, two of the segment's marker; its length counts itself.
    let exif = 4 + usize::from(u16::from_be_bytes([jpeg[4], jpeg[5]]));
    let length = u16::try_from(text.len() + 2).expect("a short text");
    let mut out = jpeg[..exif].to_vec();
    out.extend([0xff, 0xfe]);
    out.extend(length.to_be_bytes());
    out.extend(text.as_bytes());
    out.extend(&jpeg[exif..]);
    out
}
