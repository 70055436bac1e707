//! What somebody typed and has not saved is there again after a reload, a kill and Cancel; and "saved" names what and when, and stands
//! beside nothing that is not saved.

use anyhow::Result;
use domain::ids::JobId;
use domain::method::Method;
use domain::method::load::from_toml;
use serde_json::json;
use tests::browser::{Browser, DESK, WITHIN};
use tests::phone::method_text;

use crate::looks::look_at_this;
use crate::people::{LEAD, TECHNICIAN, browser_of};
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, phone_on_step, plan, plan_of, step_path};
use crate::step::{look, press_main, until};

/// Two readings with an instrument of which the demo firm has one: the form proposes it by itself.
const MEASURE: &str = r#"
[[step]]
id = "measure"
stage = "work"
title = { en = "Measure" }
act = { en = "Measure." }
[[step.require]]
kind = "reading"
id = "first"
label = { en = "Leads" }
unit = "ohm"
sanity = ["0", "2"]
instrument = "low-ohm"
[[step.require]]
kind = "reading"
id = "second"
label = { en = "Earth" }
unit = "ohm"
sanity = ["0", "2"]
instrument = "low-ohm"
"#;

fn measuring() -> Method {
    from_toml(&method_text("test-measure", MEASURE)).expect("a method")
}

/// What the equipment calls something, and a photo that nobody may leave out.
const VERSION: &str = r#"
[[step]]
id = "version"
stage = "work"
title = { en = "Version" }
act = { en = "Read it." }
[[step.require]]
kind = "words"
id = "shown"
label = { en = "Software version" }
[[step.require]]
kind = "photo"
id = "photo"
label = { en = "Display" }
shows = { en = "The display" }
held = { en = "Both hands are free." }
"#;

/// Keys of the drafts on the disk that begin so.
async fn drafts(phone: &Browser, prefix: &str) -> Result<u64> {
    let keys = format!(
        r#"await (async () => {{
  const name = (await indexedDB.databases()).map((one) => one.name).find((name) => name.startsWith("witnessmark-"));
  const db = await new Promise((good, bad) => {{ const open = indexedDB.open(name); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); }});
  const keys = await new Promise((good, bad) => {{ const all = db.transaction("drafts").objectStore("drafts").getAllKeys(); all.onsuccess = () => good(all.result); all.onerror = () => bad(all.error); }});
  db.close();
  return keys.filter((key) => String(key).startsWith({prefix:?})).length;
}})()"#
    );
    Ok(phone.js_promise(&keys).await?.as_u64().unwrap_or_default())
}

async fn until_drafts(phone: &Browser, prefix: &str, wanted: u64) -> Result<()> {
    let began = std::time::Instant::now();
    while drafts(phone, prefix).await? != wanted {
        phone.check(began.elapsed() < WITHIN, &format!("{wanted} drafts of {prefix} on the disk")).await?;
        tokio::time::sleep(std::time::Duration::from_millis(60)).await;
    }
    Ok(())
}

/// Typed in one stroke: its draft is on the disk as soon as there is one.
async fn type_at_once(phone: &Browser, label: &str, text: &str) -> Result<()> {
    let script = r#"
      const field = findField(arguments[0]);
      if (!field) return null;
      field.value = arguments[1];
      field.dispatchEvent(new Event("input", { bubbles: true }));
      return true;"#;
    phone.until(&format!("a field {label:?}"), WITHIN, script, &[json!(label), json!(text)]).await.map(drop)
}

async fn has_typed(phone: &Browser, label: &str, text: &str) -> Result<()> {
    let script = "return findField(arguments[0])?.value === arguments[1]";
    phone.until(&format!("{label} to hold {text:?}"), WITHIN, script, &[json!(label), json!(text)]).await.map(drop)
}

async fn instrument_is_there(phone: &Browser) -> Result<()> {
    let script = "return !!document.querySelector('section.at-work select')?.value";
    phone.until("the instrument that the form proposes", WITHIN, script, &[]).await.map(drop)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_typed_reading_survives_reload_and_kill_where_the_form_proposes_the_instrument() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan_of(&rig, measuring(), &[TECHNICIAN], Vec::new()).await?;
    let mut phone = phone_on_step(&rig, job, "measure", "Measure").await?;
    rig.server.road.cut().await;
    let path = step_path(job, "measure");
    instrument_is_there(&phone).await?;
    type_at_once(&phone, "Measured value", "0.35").await?;
    until_drafts(&phone, "reading/", 1).await?;

    phone.open(&path).await?;
    has_typed(&phone, "Measured value", "0.35").await?;
    instrument_is_there(&phone).await?;
    phone.kill().await?;
    phone.reopen().await?;
    phone.open(&path).await?;
    has_typed(&phone, "Measured value", "0.35").await?;

    // What is saved is no draft any more.
    instrument_is_there(&phone).await?;
    press_main(&phone, "Save the reading").await?;
    until(&phone, "the reading to be kept", WITHIN, |now| now.need("first").is_some_and(|need| need.state == "met"))
        .await?;
    phone.see("Leads. Saved on this device at").await?;
    until_drafts(&phone, "reading/", 0).await?;
    // And the next one that is typed is not saved: nothing beside it may say so.
    instrument_is_there(&phone).await?;
    phone.fill("Measured value", "0.4").await?;
    let said = phone.js("return !!document.querySelector('[data-saved=yes]')", &[]).await?;
    phone.check(said == json!(false), "nothing that is not saved stands beside \"saved\"").await
}

async fn at_job(phone: &Browser, job: JobId) -> Result<()> {
    phone.open(&format!("/jobs/{job}")).await?;
    phone.see("Write a note").await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_note_survives_cancel_and_kill_and_is_written_once() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    at_job(&phone, job).await?;
    phone.press("Write a note").await?;
    type_at_once(&phone, "Note", "The side gate sticks.").await?;
    until_drafts(&phone, "note/", 1).await?;
    phone.press("Cancel").await?;
    phone.see("Your words are kept here").await?;

    phone.kill().await?;
    phone.reopen().await?;
    at_job(&phone, job).await?;
    phone.see("Your words are kept here").await?;
    phone.press("Write a note").await?;
    has_typed(&phone, "Note", "The side gate sticks.").await?;
    phone.press("Save the note").await?;
    phone.see("Note. Saved on this device at").await?;
    until_drafts(&phone, "note/", 0).await?;
    // The next screen has saved nothing yet.
    phone.press("Back").await?;
    phone.at("/day").await?;
    let said = phone.js("return !!document.querySelector('[data-saved=yes]')", &[]).await?;
    phone.check(said == json!(false), "\"saved\" stays on the screen that saved").await?;

    at_job(&phone, job).await?;
    phone.see("The side gate sticks.").await?;
    let words = phone.words().await?;
    phone.check(words.matches("The side gate sticks.").count() == 1, "the note stands there once").await?;
    phone.check(!words.contains("Your words are kept here"), "and is no draft any more").await
}

/// The browser ends while it says "Saving", on whichever side of the disk: the words are in the field or in the list, and never in both.
#[tokio::test(flavor = "multi_thread")]
async fn a_kill_while_a_note_is_being_saved_loses_no_word() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    for text in ["The side gate sticks.", "The meter hums.", "The shelf is down."] {
        at_job(&phone, job).await?;
        phone.press("Write a note").await?;
        type_at_once(&phone, "Note", text).await?;
        until_drafts(&phone, "note/", 1).await?;
        phone.press("Save the note").await?;
        phone.kill().await?;
        phone.reopen().await?;
        at_job(&phone, job).await?;
        let script = r#"
          const kept = words(document.body).includes("Your words are kept here");
          const listed = words(document.body).split(arguments[0]).length - 1;
          return kept || listed > 0 ? { kept, listed } : null;"#;
        let found =
            phone.until(&format!("{text:?} in the field or in the list"), WITHIN, script, &[json!(text)]).await?;
        if found["kept"] == json!(true) {
            phone.check(found["listed"] == json!(0), &format!("{text:?} is not saved and stands in the list")).await?;
            phone.press("Write a note").await?;
            has_typed(&phone, "Note", text).await?;
            phone.press("Save the note").await?;
            phone.see("Note. Saved on this device at").await?;
        }
        until_drafts(&phone, "note/", 0).await?;
        at_job(&phone, job).await?;
        phone.see(text).await?;
        let words = phone.words().await?;
        phone.check(words.matches(text).count() == 1, &format!("{text:?} stands there once")).await?;
    }
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn words_on_leaving_survive_a_kill() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    at_job(&phone, job).await?;
    phone.press("Leave the site").await?;
    type_at_once(&phone, "In your words, if it helps", "The ladder stays here.").await?;
    until_drafts(&phone, "leave/", 1).await?;
    phone.kill().await?;
    phone.reopen().await?;
    at_job(&phone, job).await?;
    phone.see("Your words are kept here").await?;
    phone.press("Leave the site").await?;
    has_typed(&phone, "In your words, if it helps", "The ladder stays here.").await?;
    // How it is left is said anew each time, for it may have changed.
    let script = "return [...document.querySelectorAll('dialog[open] input[type=radio]')].some((one) => one.checked)";
    let chosen = phone.js(script, &[]).await?;
    phone.check(chosen == json!(false), "no state is chosen by itself").await
}

/// What the office types outside of a job: a ticket, a model, an invitation.
#[tokio::test(flavor = "multi_thread")]
async fn tickets_models_and_invitations_are_there_after_a_reload() -> Result<()> {
    let rig = Rig::demo().await?;
    let lead = browser_of(&rig, LEAD, DESK).await?;
    let person = format!("/people/{}", server::demo::ids::ASHDOWN);
    lead.open(&person).await?;
    type_at_once(&lead, "Kind", "working at height").await?;
    until_drafts(&lead, "person/", 1).await?;
    lead.open(&person).await?;
    lead.see("Kept from before").await?;
    has_typed(&lead, "Kind", "working at height").await?;

    lead.open("/catalogue?part=models").await?;
    lead.press("Add a model").await?;
    type_at_once(&lead, "Model name", "Harrier 7").await?;
    until_drafts(&lead, "model/new", 1).await?;
    // Another part of the catalogue, and back.
    lead.open("/catalogue?part=instruments").await?;
    lead.open("/catalogue?part=models").await?;
    lead.press("Add a model").await?;
    lead.see("Kept from before").await?;
    has_typed(&lead, "Model name", "Harrier 7").await?;

    lead.open("/people").await?;
    lead.press("Invite a person").await?;
    type_at_once(&lead, "E-mail", "sorrel@larkfield.example").await?;
    until_drafts(&lead, "invite", 1).await?;
    lead.open("/people").await?;
    lead.press("Invite a person").await?;
    has_typed(&lead, "E-mail", "sorrel@larkfield.example").await
}

#[tokio::test(flavor = "multi_thread")]
async fn words_on_stopping_survive_a_kill() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    phone.press("Stop work").await?;
    phone.press("Swelling, heat, a hiss or a smell").await?;
    let label = "What happened, in your words";
    type_at_once(&phone, label, "It hisses.").await?;
    until_drafts(&phone, "stop/", 1).await?;
    phone.kill().await?;
    phone.reopen().await?;
    phone.open(&step_path(job, "arrive")).await?;
    look(&phone).await?;
    phone.press("Stop work").await?;
    has_typed(&phone, label, "It hisses.").await?;
    phone.press("Save what happened").await?;
    phone.until("the sheet to go", WITHIN, "return !document.querySelector('dialog[open]')", &[]).await?;
    phone.open(&format!("/jobs/{job}")).await?;
    phone.see("It hisses.").await
}

#[tokio::test(flavor = "multi_thread")]
async fn words_of_the_equipment_are_kept_letter_by_letter() -> Result<()> {
    let rig = Rig::demo().await?;
    let method = from_toml(&method_text("test-version", VERSION)).expect("a method");
    let job = plan_of(&rig, method, &[TECHNICIAN], Vec::new()).await?;
    let mut phone = phone_on_step(&rig, job, "version", "Version").await?;
    rig.server.road.cut().await;
    look_at_this(&phone, "words").await?;
    let label = "Exactly as it is shown";
    type_at_once(&phone, label, &"V".repeat(121)).await?;
    phone.see("in at most 120 characters").await?;
    let shut = "return document.querySelector('.bottom .act.main').disabled === true";
    phone.until("nothing too long to be saved", WITHIN, shut, &[]).await?;

    type_at_once(&phone, label, "  Grid B 1.02-ä ").await?;
    until_drafts(&phone, "words/", 1).await?;
    phone.kill().await?;
    phone.reopen().await?;
    phone.open(&step_path(job, "version")).await?;
    has_typed(&phone, label, "  Grid B 1.02-ä ").await?;
    press_main(&phone, "Save the text").await?;
    until(&phone, "the words to be kept", WITHIN, |now| now.need("shown").is_some_and(|need| need.state == "met"))
        .await?;
    // Blanks around them are no letters; the words stand on the page, and no draft is left.
    phone.see("Grid B 1.02-ä").await?;
    until_drafts(&phone, "words/", 0).await?;
    phone.see("Both hands are free.").await?;
    look_at_this(&phone, "held").await
}
