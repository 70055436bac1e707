//! Reads the code on a label out of a picture: [`read`]. Where a browser has no reader of its own, the app loads this, a module of its
//! own, into a worker when somebody presses "scan" and not before.
//!
//! `cargo xtask web` compiles this and puts it with `worker.js` into two files of the offline shell. **Never enters:** what a text
//! means (that is `domain::identification`), the camera, the network.

mod lines;
mod picture;
mod squares;
#[cfg(test)]
mod tests;

use wasm_bindgen::prelude::wasm_bindgen;

pub use picture::Picture;

/// Reads a picture that the browser drew; an empty text if there is nothing to be read in it.
#[wasm_bindgen]
pub fn read_rgba(width: u32, height: u32, rgba: &[u8]) -> String {
    Picture::of_rgba(width, height, rgba).and_then(|picture| read(&picture)).unwrap_or_default()
}

/// The text of a code in the picture. One that says of itself that it follows the rules of GS1 begins with its symbology identifier,
/// and its fields are separated by the sign 29, for both are needed to find the serial number in it.
pub fn read(picture: &Picture) -> Option<String> {
    let clear = picture.stretched();
    // From what is sharpest to what is left when grain is smoothed away.
    let reads: [&dyn Fn() -> Option<String>; 5] = [
        &|| squares::read(&clear),
        &|| lines::read(&clear),
        &|| squares::read(&clear.softened(3, 3)),
        &|| lines::read(&clear.softened(3, 1)),
        &|| squares::read(&clear.softened(5, 5)),
    ];
    reads.iter().find_map(|read| read())
}
