//! `cargo xtask pictures`: the pictures of the README, taken anew from the demo firm.

use std::fs;

use anyhow::{Context, Result, bail};

use crate::{test, tools};

/// As the suite `browser` names them.
const NAMES: [&str; 3] = ["lead", "office", "technician"];

/// Runs the app in a browser and keeps what it shows.
pub(crate) fn command(args: &[String]) -> Result<()> {
    if !args.is_empty() {
        bail!("`pictures` takes nothing");
    }
    let (taken, kept) = (tools::target_dir().join("pictures"), tools::root().join("docs/screens"));
    let _ = fs::remove_dir_all(&taken);
    test::one_of_the_browser("pictures::of_the_demo_firm")?;
    for name in NAMES {
        let file = taken.join(name).with_extension("png");
        let to = kept.join(name).with_extension("png");
        fs::copy(&file, &to).with_context(|| format!("the browser took no picture {}", file.display()))?;
        tools::say(format!("{} is new", to.display()));
    }
    Ok(())
}
