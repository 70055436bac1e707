//! A departure allowed over the telephone: the garage has no network, the lead's desk has. The answer opens the gate once, on
//! the phone alone, and the server agrees with it later.

use anyhow::{Context as _, Result};
use domain::ids::JobId;
use domain::job_file::Body;
use domain::method::load::from_toml;
use serde_json::json;
use server::demo::PASSWORD;
use tests::browser::{Browser, DESK, WITHIN};
use tests::phone::{TestPhone, method_text};

use crate::people::{LEAD, LEAD_NAME, TECHNICIAN, TECHNICIAN_NAME, sign_in, until_sent};
use crate::photos;
use crate::rig::Rig;
use crate::small_job::{phone_on_step, plan_of, step_path};
use crate::step::{look, read, until};

/// level (at most 10 V) → after (tick).
const STEPS: &str = r#"
[[step]]
id = "level"
stage = "work"
hold = true
title = { en = "Level" }
act = { en = "Measure." }
[[step.require]]
kind = "reading"
id = "v"
label = { en = "Voltage of the level" }
unit = "volt"
sanity = ["0", "1000"]
limit = { from = "constant", at_most = "10", source = "house rule" }

[[step]]
id = "after"
stage = "work"
needs = ["level"]
title = { en = "After" }
act = { en = "Go on." }
[[step.require]]
kind = "confirmation"
id = "here"
label = { en = "I went on." }
"#;

#[tokio::test(flavor = "multi_thread")]
async fn the_lead_reads_an_answer_out_and_the_gate_opens_without_a_network() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan_of(&rig, from_toml(&method_text("test-voice", STEPS))?, &[TECHNICIAN], Vec::new()).await?;
    let lead = lead_past_the_road(&rig, job).await?;
    let mut phone = phone_on_step(&rig, job, "level", "Level").await?;
    rig.server.road.cut().await;

    read(&phone, "v", "48").await?;
    until(&phone, "the reading to fail", WITHIN, |now| now.need("v").is_some_and(|need| need.state == "failed"))
        .await?;
    ask_for_it(&phone).await?;
    let answer = shown_to_the_lead(&lead).await?;

    phone.press("The lead is on the telephone").await?;
    say(&phone, "bcdf").await?;
    phone.see("An answer has twelve letters and digits").await?;
    say(&phone, "2222-2222-2222").await?;
    phone.see("This is not the answer for this place. Nothing has changed.").await?;
    let shut = look(&phone).await?;
    phone.check(shut.need("v").is_some_and(|need| need.state == "asked"), &format!("still shut: {shut:?}")).await?;

    say(&phone, &answer.to_lowercase().replace('-', " ")).await?;
    until(&phone, "the departure to be allowed", WITHIN, |now| now.state == "deviating").await?;
    phone.see(&format!("Allowed by telephone; {TECHNICIAN_NAME} typed the answer.")).await?;
    phone.see("To whom it was shown comes from the server.").await?;
    phone.kill().await?;
    phone.reopen().await?;
    phone.open(&step_path(job, "level")).await?;
    until(&phone, "the departure to be allowed after a kill", WITHIN, |now| now.state == "deviating").await?;
    phone.open(&step_path(job, "after")).await?;
    let open = look(&phone).await?;
    phone.check(open.state == "open", &format!("what follows is open, with no network: {open:?}")).await?;

    rig.server.road.heal().await;
    until_sent(&phone).await?;
    phone.open(&step_path(job, "level")).await?;
    phone.see_within(&format!("It was shown to {LEAD_NAME}"), WITHIN * 2).await?;
    lead.see_within(&format!("Allowed by telephone; {TECHNICIAN_NAME} typed the answer."), WITHIN * 2).await?;
    lead.see(&format!("It was shown to {LEAD_NAME}")).await?;
    arrived_once(&rig, job).await
}

/// The lead's browser, on the desk of the job; its road is not the one that is cut.
async fn lead_past_the_road(rig: &Rig, job: JobId) -> Result<Browser> {
    let direct = rig.server.direct_address().replace("127.0.0.1", "localhost");
    let lead = Browser::start("lead", &direct, DESK).await?;
    lead.open("/sign-in").await?;
    sign_in(&lead, LEAD, PASSWORD).await?;
    lead.until("the first screen behind the door", WITHIN, "return location.pathname !== '/sign-in'", &[]).await?;
    lead.open(&format!("/desk/{job}")).await?;
    Ok(lead)
}

/// Asks for the departure, with a reason and a photo.
async fn ask_for_it(phone: &Browser) -> Result<()> {
    phone.press("This cannot be done as required").await?;
    phone.fill("Reason", "The bracket is bent").await?;
    let folder = tempfile::tempdir()?;
    let photo = photos::make_small(folder.path(), 1)?;
    phone.choose_files("input[type=file][data-photo='deviation-v']:not([data-gallery])", &[&photo[0]]).await?;
    phone.see("The lead has not answered yet.").await?;
    let asked = |now: &crate::step::StepView| now.need("v").is_some_and(|need| need.state == "asked");
    until(phone, "the request to be kept", WITHIN, asked).await.map(drop)
}

/// Opens the step at the desk and has the answer shown.
async fn shown_to_the_lead(lead: &Browser) -> Result<String> {
    lead.press_css("[data-step=level] summary").await?;
    lead.press("Allow by telephone").await?;
    lead.see("Each time an answer is shown, it is recorded with your name").await?;
    offline(lead, true).await?;
    lead.press("Show the answer").await?;
    lead.see("This needs a network: only the server has the answers").await?;
    offline(lead, false).await?;
    lead.press("Show the answer").await?;
    let script =
        "const shown = document.querySelector('[data-testid=voice-answer]'); return shown ? words(shown) : null";
    let answer = lead.until("the answer", WITHIN, script, &[]).await?;
    let answer = answer.as_str().context("an answer")?.to_owned();
    lead.check(answer.len() == 14, &format!("three groups of four: {answer}")).await?;
    lead.press("Close").await?;
    let gone = "return !document.querySelector('[data-testid=voice-answer]')";
    lead.until("the answer to be gone from the screen", WITHIN, gone, &[]).await?;
    Ok(answer)
}

/// The lead's own road is the server's; their browser alone is without.
async fn offline(lead: &Browser, offline: bool) -> Result<()> {
    let conditions = json!({"offline": offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1});
    lead.cdp("Network.enable", json!({})).await?;
    lead.cdp("Network.emulateNetworkConditions", conditions).await.map(drop)
}

/// Types what was heard and waits until the phone has looked at it.
async fn say(phone: &Browser, answer: &str) -> Result<()> {
    phone.fill("Answer that the lead reads out", answer).await?;
    phone.press("Use this answer").await
}

/// The server has the word once, and nothing against it.
async fn arrived_once(rig: &Rig, job: JobId) -> Result<()> {
    let mut own = TestPhone::of(rig.server.sign_in(LEAD, PASSWORD).await?);
    own.pull().await;
    let count = |wanted: fn(&Body) -> bool| {
        own.files[&job].iter().filter_map(|held| held.entry.body()).filter(|body| wanted(body)).count()
    };
    let said = count(|body| matches!(body, Body::DeviationByVoice(_)));
    let shown = count(|body| matches!(body, Body::VoiceAnswerShown(_)));
    anyhow::ensure!((said, shown) == (1, 1), "said {said} times, shown {shown} times");
    let row = own.client.get(&format!("/api/jobs/{job}")).await.body;
    let against = (&row["breaches"], &row["findings"], &row["held"], &row["deviations_open"]);
    anyhow::ensure!(against == (&json!(0), &json!(0), &json!(0), &json!(0)), "{row}");
    Ok(())
}
