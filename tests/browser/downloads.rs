//! Files that the browser saved.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use anyhow::Result;
use tests::browser::Browser;

/// The file with that ending, once all of it is there.
pub async fn downloaded(browser: &Browser, ending: &str, within: Duration) -> Result<PathBuf> {
    let began = Instant::now();
    loop {
        let found = std::fs::read_dir(browser.downloads())?
            .filter_map(Result::ok)
            .map(|entry| entry.path())
            .find(|path| path.extension().is_some_and(|own| own == ending));
        // Chromium lays an empty file under the name before it moves the whole one there.
        if let Some(file) = found.filter(|file| file.metadata().is_ok_and(|file| file.len() > 0)) {
            return Ok(file);
        }
        browser.check(began.elapsed() < within, &format!("a file .{ending} to be saved")).await?;
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}
