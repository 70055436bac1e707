//! `cargo xtask verify pack.zip`: what a sealed pack proves, a sentence each, without a server of ours.
//!
//! Like `methods` this needs the rules, so `xtask` builds itself once more with them and hands over.

use anyhow::Result;

/// Hands over to an `xtask` with the rules.
#[cfg(not(feature = "rules"))]
pub(crate) fn command(args: &[String]) -> Result<()> {
    let mut other =
        crate::tools::cargo(["run", "--quiet", "--package", "xtask", "--features", "rules", "--", "verify"]);
    if let [file, rest @ ..] = args
        && !file.starts_with("--")
    {
        // The other runs in the workspace's folder: a file of ours must not be looked for there.
        other.arg(std::path::absolute(file)?).args(rest);
    } else {
        other.args(args);
    }
    crate::tools::run(&mut other)
}

/// Verifies a pack, writes the sample, or changes it at random.
#[cfg(feature = "rules")]
pub(crate) fn command(args: &[String]) -> Result<()> {
    with_rules::command(args)
}

#[cfg(feature = "rules")]
mod with_rules {
    use std::fmt::Write as _;
    use std::fs;

    use anyhow::{Context, Result, bail};
    use domain::ids::Hash32;
    use domain::seal::verify::{Fault, Verified, verify};
    use domain::seal::{sample, zip::NotCanonical};

    use crate::tools;

    const USAGE: &str = "verify FILE [--key FINGERPRINT] | --sample FILE | --mutations N [--seed S]";

    pub(super) fn command(args: &[String]) -> Result<()> {
        match args.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
            ["--sample", file] => Ok(fs::write(file, sample::pack())?),
            ["--mutations", count] => mutations(count, "1"),
            ["--mutations", count, "--seed", seed] => mutations(count, seed),
            [file] => look(file, None),
            [file, "--key", key] => {
                let key = Hash32::from_hex(key).context("a fingerprint has 64 hexadecimal digits")?;
                look(file, Some(&key))
            }
            _ => bail!(USAGE),
        }
    }

    fn mutations(count: &str, seed: &str) -> Result<()> {
        let words = ["run", "--quiet", "--release", "--package", "domain", "--features", "signatures", "--example"];
        tools::run(tools::cargo(words).args(["mutate_pack", "--", count, seed]))
    }

    fn look(file: &str, key: Option<&Hash32>) -> Result<()> {
        let bytes = fs::read(file).with_context(|| format!("{file} cannot be read"))?;
        match verify(&bytes, key) {
            Ok(verified) => {
                print!("{}", sentences(&verified, key.is_some()));
                Ok(())
            }
            Err(fault) => bail!("changed, or not a sealed pack: {}", why(&fault)),
        }
    }

    fn sentences(verified: &Verified, key_compared: bool) -> String {
        let manifest = &verified.manifest;
        let mut out = String::new();
        let mut say = |line: String| writeln!(out, "{line}").expect("writing to a String");
        say(format!(
            "Unchanged: all {} entries, {} photos and {} other files are as sealed on {} (seal {} of job {}).",
            manifest.entries.len(),
            manifest.photos.len() - verified.photos_erased,
            manifest.files.len(),
            day(manifest.sealed_us),
            manifest.number,
            manifest.job,
        ));
        say(if key_compared {
            format!("Sealed by the key with the fingerprint given: {}.", manifest.fingerprint())
        } else {
            format!("Sealed by the key {}: compare it with the printed or published one.", manifest.fingerprint())
        });
        say(match verified.arrived_us {
            Some((first, last)) => {
                format!(
                    "Existed before: the server received the first entry on {} and the last on {}.",
                    day(first),
                    day(last)
                )
            }
            None => "Existed before: there are no entries.".to_owned(),
        });
        say(match verified.not_before {
            Some((count, since)) => format!(
                "Not made before: {count} entries follow from a number that the server drew on {} or later; of the others \
                 only the phones' own clocks say when they were made.",
                day(since)
            ),
            None => "Not made before: no entry carries a number of the server, so only the phones' own clocks say it."
                .to_owned(),
        });
        for by in &verified.made_by {
            let names = verified.names.as_ref();
            let device = names.and_then(|names| names.device(by.device)).unwrap_or_default();
            let person = names.and_then(|names| names.person(by.person)).unwrap_or_default();
            say(format!(
                "Made by device {} ({device}) of person {} ({person}): {} entries, {} of them signed by the device's key.",
                by.device, by.person, by.entries, by.signed
            ));
        }
        let erased = verified.erased.0 + verified.erased.1;
        say(match (erased + verified.photos_erased, verified.erased_us) {
            (0, _) => "Erased: nothing.".to_owned(),
            (_, None) => format!("Erased before the seal: the content of {erased} entries."),
            (_, Some(when)) => format!(
                "Erased: the content of {} entries before the seal; of {} entries and {} photos after it, last on {}.",
                verified.erased.0,
                verified.erased.1,
                verified.photos_erased,
                day(when)
            ),
        });
        say(format!(
            "Not in the pack: {} photos that the firm keeps, {} that never came, {} sealed PINs.",
            manifest.photos_kept.len(),
            manifest.photos_absent.len(),
            verified.proofs_left_out
        ));
        for (entry, doubts) in &verified.doubts {
            say(format!("In doubt: entry {entry}: {doubts:?}. It was sealed so."));
        }
        say("This says what was recorded, by whom and when. It does not say that an installation is safe.".to_owned());
        out
    }

    fn why(fault: &Fault) -> String {
        match fault {
            Fault::Archive(NotCanonical::Differs(at)) => format!("the archive differs from its only form at byte {at}"),
            Fault::Archive(_) => "the archive is damaged or was not written by a server of ours".to_owned(),
            Fault::Missing(name) => format!("{name} is missing"),
            Fault::Unknown(name) => format!("{name} does not belong to it"),
            Fault::Unreadable => "the manifest or the record of erasures cannot be read".to_owned(),
            Fault::Signature => "the signature does not stand over what is there".to_owned(),
            Fault::OtherKey(found) => format!("it was sealed by another key: {found}"),
            Fault::Manifest => "the manifest contradicts itself".to_owned(),
            Fault::Entry(position) => format!("entry {position} is not the one that was sealed"),
            Fault::Photo(hash) => format!("photo {hash} is not the one that was sealed"),
            Fault::File(name) => format!("{name} is not the file that was sealed"),
        }
    }

    /// Day and minute of a time in microseconds since 1970, UTC. The days of the civil calendar, counted in eras of 400 years.
    fn day(us: u64) -> String {
        let minutes = us / 60_000_000;
        let days = minutes / 1_440 + 719_468;
        let (era, of_era) = (days / 146_097, days % 146_097);
        let year_of_era = (of_era - of_era / 1_460 + of_era / 36_524 - of_era / 146_096) / 365;
        let of_year = of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let shifted = (5 * of_year + 2) / 153;
        let (day, month) =
            (of_year - (153 * shifted + 2) / 5 + 1, if shifted < 10 { shifted + 3 } else { shifted - 9 });
        let year = era * 400 + year_of_era + u64::from(month <= 2);
        format!("{year:04}-{month:02}-{day:02} {:02}:{:02} UTC", minutes % 1_440 / 60, minutes % 60)
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    mod tests {
        use super::*;

        #[test]
        fn days_are_those_of_the_calendar() {
            for (seconds, expected) in [
                (0, "1970-01-01 00:00 UTC"),
                (951_782_340, "2000-02-28 23:59 UTC"),
                (951_782_400, "2000-02-29 00:00 UTC"),
                (951_868_800, "2000-03-01 00:00 UTC"),
                (1_767_225_599, "2025-12-31 23:59 UTC"),
                (4_107_542_400, "2100-03-01 00:00 UTC"),
            ] {
                assert_eq!(day(seconds * 1_000_000), expected);
            }
        }

        #[test]
        fn the_sample_is_told_in_sentences() {
            let text = sentences(&verify(&sample::pack(), None).unwrap(), false);
            for word in [
                "Unchanged: all 36 entries",
                "Existed before",
                "Not made before: 11",
                "Made by",
                "Erased before",
                "Not in the pack: 0 photos that the firm keeps, 1 that never came",
                "safe",
            ] {
                assert!(text.contains(word), "{word} is missing in:\n{text}");
            }
        }

        #[test]
        fn every_fault_has_words() {
            let changed: Vec<u8> = sample::pack().into_iter().chain([0]).collect();
            let fault = verify(&changed, None).unwrap_err();
            assert_eq!(why(&fault), format!("the archive differs from its only form at byte {}", changed.len() - 1));
        }
    }
}
