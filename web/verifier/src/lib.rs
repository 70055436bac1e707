//! The rules of a sealed pack for a page that needs nobody: [`verify`] takes the bytes of a pack and gives what they prove, as JSON.
//!
//! `cargo xtask web` compiles this, puts it with `page/` and `locales/` into one file, `verifier.html`, and the server puts that into each
//! pack. **Never enters:** a rule: those are `domain::seal`'s; a sentence: those stand in `locales/`; the network.

use domain::seal::verify::{Fault, MadeBy, Verified};
use domain::seal::zip::NotCanonical;
use serde_json::{Value, json};
use wasm_bindgen::prelude::wasm_bindgen;

/// Checks a pack; JSON with `ok` and either what it says or the code of what is wrong.
#[wasm_bindgen]
pub fn verify(pack: &[u8]) -> String {
    let told = match domain::seal::verify::verify(pack, None) {
        Ok(verified) => facts(&verified),
        Err(fault) => {
            let (code, what) = fault_of(&fault);
            json!({"ok": false, "code": code, "what": what})
        }
    };
    told.to_string()
}

fn facts(verified: &Verified) -> Value {
    let manifest = &verified.manifest;
    let names = verified.names.clone().unwrap_or_default();
    let made_by = |by: &MadeBy| {
        json!({
            "person": names.person(by.person).unwrap_or_default(),
            "person_id": by.person.short(),
            "device": names.device(by.device).unwrap_or_default(),
            "device_id": by.device.short(),
            // The server's own device stands where a person would.
            "server": by.person.uuid() == by.device.uuid(),
            "entries": by.entries,
            "signed": by.signed,
        })
    };
    json!({
        "ok": true,
        "firm": names.firm,
        "job": manifest.job.short(),
        "number": manifest.number,
        "sealed_us": manifest.sealed_us,
        "entries": manifest.entries.len(),
        "photos": manifest.photos.len() - verified.photos_erased,
        "kept": manifest.photos_kept.len(),
        "absent": manifest.photos_absent.len(),
        "files": manifest.files.len(),
        "fingerprint": manifest.fingerprint().grouped(),
        "arrived_us": verified.arrived_us,
        "not_before": verified.not_before,
        "made_by": verified.made_by.iter().map(made_by).collect::<Vec<_>>(),
        "erased_before": verified.erased.0,
        "erased_after": verified.erased.1,
        "photos_erased": verified.photos_erased,
        "erased_us": verified.erased_us,
        "left_out": verified.proofs_left_out,
        "doubts": verified.doubts.len(),
    })
}

/// The code under which `locales/` has the sentence, and what it is about.
fn fault_of(fault: &Fault) -> (&'static str, String) {
    match fault {
        Fault::Archive(NotCanonical::Differs(at)) => ("archive_differs", at.to_string()),
        Fault::Archive(_) => ("archive_unreadable", String::new()),
        Fault::Missing(name) => ("missing", name.clone()),
        Fault::Unknown(name) => ("unknown", name.clone()),
        Fault::Unreadable => ("unreadable", String::new()),
        Fault::Signature => ("signature", String::new()),
        Fault::OtherKey(found) => ("other_key", found.grouped()),
        Fault::Manifest => ("manifest", String::new()),
        Fault::Entry(position) => ("entry", position.to_string()),
        Fault::Photo(hash) => ("photo", hash.hex()),
        Fault::File(name) => ("file", name.clone()),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;
    use domain::ids::Hash32;
    use domain::seal::sample;
    use std::collections::BTreeMap;

    const LOCALES: [&str; 3] =
        [include_str!("../locales/en.json"), include_str!("../locales/de.json"), include_str!("../locales/es.json")];

    #[test]
    fn the_sample_is_told() {
        let told: Value = serde_json::from_str(&verify(&sample::pack())).unwrap();
        assert_eq!(
            (&told["ok"], &told["entries"], &told["made_by"][0]["signed"]),
            (&json!(true), &json!(36), &json!(12))
        );
        assert_eq!(told["not_before"][0], json!(11));
        let mut changed = sample::pack();
        changed[5_000] ^= 1;
        let told: Value = serde_json::from_str(&verify(&changed)).unwrap();
        assert_eq!((&told["ok"], &told["code"]), (&json!(false), &json!("archive_differs")));
        let told: Value = serde_json::from_str(&verify(b"no pack")).unwrap();
        assert_eq!(told["ok"], json!(false));
    }

    #[test]
    fn every_fault_has_a_sentence_in_every_language() {
        let faults = [
            Fault::Archive(NotCanonical::Differs(1)),
            Fault::Archive(NotCanonical::Truncated),
            Fault::Missing(String::new()),
            Fault::Unknown(String::new()),
            Fault::Unreadable,
            Fault::Signature,
            Fault::OtherKey(Hash32::NONE),
            Fault::Manifest,
            Fault::Entry(1),
            Fault::Photo(Hash32::NONE),
            Fault::File(String::new()),
        ];
        let languages = LOCALES.map(|text| serde_json::from_str::<BTreeMap<String, String>>(text).unwrap());
        for language in &languages {
            assert_eq!(language.keys().collect::<Vec<_>>(), languages[0].keys().collect::<Vec<_>>());
            for fault in &faults {
                assert!(language.contains_key(&format!("fault.{}", fault_of(fault).0)), "{fault:?}");
            }
        }
    }
}
