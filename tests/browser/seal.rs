//! A lead passes and seals a small job; a householder without a network opens the pack with the page that lies in it; what comes later asks
//! for the next seal.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result};
use camera::Picture;
use domain::ids::{Hash32, JobId};
use domain::job_file::body::{Photo, Plain, Remark};
use domain::job_file::{Body, Place};
use domain::method::load::from_toml;
use domain::seal::names::VERIFIER_NAME;
use domain::seal::verify::verify;
use domain::seal::zip;
use serde_json::json;
use tests::browser::{Browser, DESK, PHONE, WITHIN};
use tests::phone::{TestPhone, all_stored, method_text, photo, photo_file};

use crate::downloads::downloaded;
use crate::people::{LEAD, SENT_WITHIN, TECHNICIAN, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::plan_of;

const STEPS: &str = r#"
[[step]]
id = "arrive"
stage = "work"
title = { en = "Arrive" }
act = { en = "Go there." }
[[step.require]]
kind = "photo"
id = "photo"
label = { en = "The wall" }
shows = { en = "The wall" }
[[step.require]]
kind = "confirmation"
id = "here"
label = { en = "I am here." }
"#;
/// A pack is made in a debug build beside a browser: layout, archive, signature.
const MADE_WITHIN: std::time::Duration = std::time::Duration::from_secs(60);

#[tokio::test(flavor = "multi_thread")]
async fn a_job_is_sealed_and_its_pack_is_checked_without_a_network() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan_of(&rig, from_toml(&method_text("test-seal", STEPS))?, &[TECHNICIAN], Vec::new()).await?;
    let (mut crew, original) = hand_in(&rig, job).await?;
    let desk = pass(&rig, job).await?;
    desk.see("This stands in the way of the seal").await?;
    desk.see(&format!("Photo {} has not arrived.", &Hash32::sha256(&original).hex()[..8])).await?;
    crew.upload(job, &original).await;
    desk.open(&format!("/desk/{job}")).await?;
    seal(&desk, "Seal this job", 1).await?;
    desk.see("Sealed").await?;

    let pack = std::fs::read(pack_of(&desk, 1).await?)?;
    let verified = verify(&pack, None).map_err(|fault| anyhow::anyhow!("{fault:?}"))?;
    desk.check(verified.manifest.photos_kept == [Hash32::sha256(&original)], "the original stays with the firm")
        .await?;
    let fingerprint = verified.manifest.fingerprint().grouped();
    desk.see(&fingerprint).await?;

    // The page out of the pack, from a folder, on a phone.
    let folder = tempfile::tempdir()?;
    let page =
        zip::read(&pack).ok().and_then(|mut files| files.remove(VERIFIER_NAME)).context("no page in the pack")?;
    std::fs::write(folder.path().join(VERIFIER_NAME), page)?;
    let good = folder.path().join("pack.zip");
    std::fs::write(&good, &pack)?;
    let householder = Browser::start("householder", "file://", PHONE).await?;
    householder.open(&folder.path().join(VERIFIER_NAME).display().to_string()).await?;
    says_unchanged(&householder, &good, &fingerprint).await?;
    householder.press("Deutsch").await?;
    householder.see("pack.zip ist seit der Versiegelung unverändert.").await?;
    householder.press("English").await?;
    let narrow = householder.js("return document.documentElement.scrollWidth <= innerWidth", &[]).await?;
    householder.check(narrow == json!(true), "the page fits the screen").await?;
    let mut changed = pack.clone();
    let middle = changed.len() / 2;
    changed[middle] ^= 1;
    let bad = folder.path().join("changed.zip");
    std::fs::write(&bad, changed)?;
    householder.choose_files("#pack", &[&bad]).await?;
    householder.see("changed.zip is not as it was sealed, or is no sealed pack.").await?;
    householder.see("The file differs at byte").await?;
    // A page with one letter of its script changed runs nothing.
    forged_page_is_dead(&householder, &folder.path().join(VERIFIER_NAME)).await?;
    // The same page at the server's address.
    desk.open(&format!("/{VERIFIER_NAME}")).await?;
    says_unchanged(&desk, &good, &fingerprint).await?;

    crew.write(job, Body::Remark(Remark { at: None, text: "the spare key hangs inside".into() }));
    all_stored(&crew.push().await)?;
    desk.open(&format!("/desk/{job}")).await?;
    desk.see("1 entry arrived after the seal and is not in it.").await?;
    desk.see("the spare key hangs inside").await?;
    seal(&desk, "Seal again", 2).await?;
    let count = "return words(document.querySelector('[data-testid=seal-panel]')).includes('arrived after the seal')";
    let later = desk.js(count, &[]).await?;
    desk.check(later == json!(false), "nothing is outside any more").await?;
    until_all_sent(&desk, WITHIN).await
}

/// The crew's work, handed in; the preview of its photo has arrived and the original has not.
async fn hand_in(rig: &Rig, job: JobId) -> Result<(TestPhone, Vec<u8>)> {
    let mut crew = TestPhone::of(rig.server.sign_in(TECHNICIAN, server::demo::PASSWORD).await?);
    let number = loop {
        let reply = crew.pull_once(&[]).await;
        if !reply.more {
            break reply.drawn_number.context("no number")?;
        }
    };
    crew.write(job, Body::DrawnNumber(domain::job_file::body::DrawnNumber { number }));
    let original = Picture { width: 1_600, height: 1_200, orientation: 6, seed: 7 }.jpeg();
    let mut preview = std::io::Cursor::new(Vec::new());
    image::load_from_memory(&original)?.thumbnail(400, 400).write_to(&mut preview, image::ImageFormat::Jpeg)?;
    let preview = preview.into_inner();
    let at = Place::of("arrive", 0, "photo");
    crew.write(job, Body::Photo(Photo { preview: Some(photo_file(&preview)), ..photo(at, &original) }));
    crew.tick(job, Place::of("arrive", 0, "here"));
    crew.write(job, Body::Submitted(Plain {}));
    all_stored(&crew.push().await)?;
    crew.upload(job, &preview).await;
    Ok((crew, original))
}

async fn pass(rig: &Rig, job: JobId) -> Result<Browser> {
    let desk = browser_of(rig, LEAD, DESK).await?;
    desk.open(&format!("/desk/{job}")).await?;
    desk.see("For review").await?;
    desk.press("Pass the review").await?;
    desk.see("1 photo has not arrived").await?;
    desk.see("Nobody entered a design for this job").await?;
    desk.fill("Why it goes ahead anyway", "A job of one step.").await?;
    desk.press("Pass the review").await?;
    desk.see("The review has passed.").await?;
    until_all_sent(&desk, WITHIN).await?;
    Ok(desk)
}

async fn seal(desk: &Browser, word: &str, number: u32) -> Result<()> {
    desk.press(word).await?;
    desk.see("It cannot be taken back.").await?;
    desk.press("Seal this job").await?;
    desk.see_within(&format!("Pack of seal {number} (ZIP)"), MADE_WITHIN).await
}

async fn pack_of(desk: &Browser, number: u32) -> Result<PathBuf> {
    desk.press(&format!("Pack of seal {number} (ZIP)")).await?;
    downloaded(desk, "zip", SENT_WITHIN).await
}

async fn says_unchanged(browser: &Browser, pack: &Path, fingerprint: &str) -> Result<()> {
    browser.choose_files("#pack", &[pack]).await?;
    browser.see("pack.zip is unchanged since it was sealed.").await?;
    for words in [
        fingerprint,
        "seal 1 of job",
        "By the firm's server, the first entry had arrived on",
        "Entries that follow from a number that the server drew on",
        "Wren Ashdown on the device",
        "Nothing.",
        "because the full-size files may tell where they were taken: 1.",
        "It does not show whether an installation is in order",
    ] {
        browser.see(words).await?;
    }
    for (typed, answer) in [("abcd", "It is another fingerprint."), (fingerprint, "It is the same fingerprint.")] {
        browser.fill("The fingerprint that you have from the firm", typed).await?;
        browser.see(answer).await?;
    }
    Ok(())
}

async fn forged_page_is_dead(browser: &Browser, page: &Path) -> Result<()> {
    let text = std::fs::read_to_string(page)?;
    let forged = page.with_file_name("forged.html");
    std::fs::write(&forged, text.replace("\"verdict.unchanged\"", "\"verdict.unchanged \""))?;
    browser.open(&forged.display().to_string()).await?;
    browser.see_css("#pack").await?;
    let title = browser.js("return document.querySelector('h1').textContent", &[]).await?;
    browser.check(title == json!(""), &format!("no script ran: {title}")).await
}
