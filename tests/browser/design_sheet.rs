//! The design sheet filled where there is no network: verdicts follow the keystrokes, a killed page loses nothing, one entry is sent.

use std::path::PathBuf;
use std::time::Duration;

use anyhow::{Context as _, Result};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use domain::design::digest;
use domain::ids::JobId;
use domain::method::load::from_toml;
use serde_json::json;
use tests::browser::{Browser, DESK, PHONE, WITHIN};
use tests::phone::method_text;

use crate::looks::look_at_this;
use crate::people::{LEAD, OFFICE, TECHNICIAN, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, phone_on_step, plan, plan_of, step_path};
use crate::step::{StepView, read, until};

/// What the lead types, by the words of the field.
const FIGURES: &[(&str, &str)] = &[
    ("Phases of the supply", "1"),
    ("Nominal AC voltage", "230"),
    ("Inverter: rated power", "3.68 kW"),
    ("AC cable: conductor size", "4"),
    ("AC cable: length one way", "12"),
];

fn sheet_path(job: JobId) -> String {
    format!("/desk/{job}/design")
}

/// The lead's browser, which was used before and so has its sign-in on the disk, on the sheet of the job.
async fn desk_on_sheet(rig: &Rig, job: JobId) -> Result<Browser> {
    let mut desk = browser_of(rig, LEAD, DESK).await?;
    desk.until_it_opens_offline().await?;
    desk.close().await?;
    desk.reopen().await?;
    desk.open(&format!("/desk/{job}")).await?;
    desk.press("Design sheet").await?;
    desk.at(&sheet_path(job)).await?;
    desk.see("Computed by rule set neutral 1").await?;
    until_all_sent(&desk, WITHIN).await?;
    Ok(desk)
}

/// Waits until a check of the sheet ends so: `pass`, `fail` or `open`.
async fn verdict(desk: &Browser, line: &str, wanted: &str) -> Result<()> {
    let script = "return document.querySelector(`[data-testid=design-check][data-line=${arguments[0]}]`)?.dataset.verdict === arguments[1]";
    desk.until(&format!("{line} to be {wanted}"), WITHIN, script, &[json!(line), json!(wanted)]).await.map(drop)
}

/// Waits until a field holds this text.
async fn holds(desk: &Browser, label: &str, text: &str) -> Result<()> {
    let script = "return findField(arguments[0])?.value === arguments[1]";
    desk.until(&format!("{label} to hold {text:?}"), WITHIN, script, &[json!(label), json!(text)]).await.map(drop)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_design_is_filled_offline_survives_a_kill_and_is_sent() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut desk = desk_on_sheet(&rig, job).await?;
    rig.server.road.cut().await;

    verdict(&desk, "ac_drop", "open").await?;
    for (label, text) in FIGURES {
        desk.fill(label, text).await?;
    }
    verdict(&desk, "ac_drop", "pass").await?;
    desk.fill("AC cable: length one way", "80").await?;
    verdict(&desk, "ac_drop", "fail").await?;
    desk.press_css("[data-line=ac_drop] .row-open").await?;
    desk.see("With numbers").await?;
    desk.fill("AC cable: length one way", "12").await?;
    verdict(&desk, "ac_drop", "pass").await?;

    // The sheet proposes the smallest size that passes, above one that bears its device, and takes it over; what was known of that
    // one goes.
    desk.fill("AC cable: length one way", "80").await?;
    verdict(&desk, "ac_drop", "fail").await?;
    desk.fill("AC breaker: rating", "20").await?;
    desk.fill("AC cable: current rating", "32").await?;
    desk.press_css("[data-testid=suggestion][data-field=ac_cable_size_mm2] button").await?;
    verdict(&desk, "ac_drop", "pass").await?;
    holds(&desk, "AC cable: current rating", "").await?;

    desk.fill("Number of modules", "plenty").await?;
    desk.see("This cannot be read as a number.").await?;
    desk.press("Save the design").await?;
    desk.see("1 field needs another look before this can be saved.").await?;
    desk.fill("Number of modules", "6").await?;
    desk.choose("Earthing system", "TN-S").await?;
    desk.choose("Where the job is", "United Kingdom").await?;
    desk.see("Computed by rule set uk 1").await?;
    let drawn = desk
        .js(
            "return ['single-line', 'stack'].map((id) => document.querySelectorAll(`#${id} .plate svg path`).length)",
            &[],
        )
        .await?;
    let strokes: Vec<u64> = serde_json::from_value(drawn.clone())?;
    desk.check(strokes.iter().all(|count| *count > 10), &format!("both drawings are there: {drawn}")).await?;
    let lacks = "return document.querySelector('#single-line p.soft')?.textContent ?? null";
    let lacks = desk.js(lacks, &[]).await?;
    let says = lacks.as_str().is_some_and(|text| text.starts_with("Not drawn: PV strings"));
    desk.check(says, &format!("beneath the diagram stands what it lacks: {lacks}")).await?;
    let measured = desk.js("return performance.getEntriesByName('design-recompute').length", &[]).await?;
    desk.check(
        measured.as_u64().is_some_and(|count| count > 10),
        &format!("each computation is in the timeline: {measured}"),
    )
    .await?;

    // A keystroke is kept while the next one is thought about.
    tokio::time::sleep(Duration::from_millis(500)).await;
    desk.kill().await?;
    desk.reopen().await?;
    desk.open(&sheet_path(job)).await?;
    desk.see("Kept from before").await?;
    holds(&desk, "AC cable: length one way", "80").await?;
    holds(&desk, "Inverter: rated power", "3.68 kW").await?;
    holds(&desk, "Earthing system", "tn_s").await?;
    desk.see("Computed by rule set uk 1").await?;
    save(&desk).await?;

    rig.server.road.heal().await;
    until_all_sent(&desk, WITHIN * 2).await?;
    drop(desk);

    // What was saved is at the server: the office reads it, and only reads.
    let office = browser_of(&rig, OFFICE, DESK).await?;
    office.open(&sheet_path(job)).await?;
    office.see("Only a lead of this job changes it.").await?;
    holds(&office, "Inverter: rated power", "3680").await?;
    office.see("Computed by rule set uk 1").await?;
    let shut = office
        .js("return findField('Inverter: rated power').disabled && !findPressable('Save the design')", &[])
        .await?;
    office.check(shut == json!(true), "the office cannot change it").await
}

/// Saves the design; says why where a crew has the job and checks begin to fail. Gives whether that was asked.
pub async fn save(desk: &Browser) -> Result<bool> {
    const SAVED: &str = "The design is saved on this device.";
    // Messages stay until somebody closes them: what an earlier save said is no answer to this one.
    let closed =
        "all('.toast button').forEach((one) => one.click()); return !words(document.body).includes(arguments[0])";
    desk.until("the word of an earlier save to be gone", WITHIN, closed, &[json!(SAVED)]).await?;
    desk.press("Save the design").await?;
    let script = "return document.querySelector('dialog[open]') ? 'asked' : words(document.body).includes(arguments[0]) ? 'saved' : null";
    let is_asked = desk.until("an answer to saving", WITHIN, script, &[json!(SAVED)]).await? == json!("asked");
    if is_asked {
        desk.fill("Why it goes ahead anyway", "It is mended before the crew comes.").await?;
        desk.press_css("dialog[open] .act.main").await?;
    }
    desk.see(SAVED).await?;
    Ok(is_asked)
}

/// Whoever changes the design of a job that a crew has says why it goes ahead with a check that begins to fail, once; and the crew reads it.
#[tokio::test(flavor = "multi_thread")]
async fn a_crew_that_has_the_job_is_told_of_what_begins_to_fail() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let desk = desk_on_sheet(&rig, job).await?;
    for (label, text) in FIGURES {
        desk.fill(label, text).await?;
    }
    desk.check(!save(&desk).await?, "nothing fails").await?;
    desk.fill("AC cable: length one way", "80").await?;
    verdict(&desk, "ac_drop", "fail").await?;
    desk.press("Save the design").await?;
    desk.see("1 check of the design fails:").await?;
    let shut = "return document.querySelector('dialog[open] .act.main').disabled";
    desk.check(desk.js(shut, &[]).await? == json!(true), "without words nothing is saved").await?;
    desk.picture(&tests::browser::target_folder().join("looks/design-why-desk-light.png")).await?;
    desk.fill("Why it goes ahead anyway", "A larger cable is ordered.").await?;
    desk.press_css("dialog[open] .act.main").await?;
    desk.see("The design is saved on this device.").await?;
    // It is known from here on; a figure beside it asks nothing.
    desk.fill("AC cable: length one way", "85").await?;
    desk.check(!save(&desk).await?, "it was told already").await?;
    until_all_sent(&desk, WITHIN).await?;
    let phone = phone_on_step(&rig, job, "arrive", "Arrive").await?;
    phone.open(&format!("/jobs/{job}")).await?;
    phone.see("A larger cable is ordered.").await
}

/// After work has begun the sheet says what is no longer as planned, and which checks end otherwise.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_built_otherwise_is_listed_with_what_it_changes() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let desk = desk_on_sheet(&rig, job).await?;
    for (label, text) in FIGURES {
        desk.fill(label, text).await?;
    }
    verdict(&desk, "ac_drop", "pass").await?;
    let early = desk.js("return document.getElementById('built') === null", &[]).await?;
    desk.check(early == json!(true), "nothing is compared before the work has begun").await?;
    save(&desk).await?;
    until_all_sent(&desk, WITHIN).await?;
    drop(desk);

    let phone = phone_on_first_step(&rig, job).await?;
    crate::tray::tick(&phone).await?;
    until_all_sent(&phone, WITHIN).await?;
    drop(phone);

    let desk = browser_of(&rig, LEAD, DESK).await?;
    desk.open(&sheet_path(job)).await?;
    holds(&desk, "AC cable: length one way", "12").await?;
    desk.see("No figure differs.").await?;
    desk.fill("AC cable: length one way", "80").await?;
    desk.see("AC cable: length one way: 12").await?;
    desk.see("Voltage drop, AC cable: Passes became Fails").await?;
    save(&desk).await?;
    until_all_sent(&desk, WITHIN).await
}

/// One reading whose limit is the design's.
const LOOP: &str = r#"
[[design]]
key = "loop_max_ohm"
label = { en = "Highest loop impedance" }
unit = "ohm"
sanity = ["0.01", "2000"]

[[step]]
id = "supply"
stage = "work"
title = { en = "Loop of the circuit" }
act = { en = "Measure." }
[[step.require]]
kind = "reading"
id = "loop"
label = { en = "Loop impedance" }
unit = "ohm"
sanity = ["0.01", "2000"]
limit = { from = "design", at_most = "loop_max_ohm" }
"#;

/// Waits until a figure that the method asks for stands so: `missing`, `follows`, `entered`, or `otherwise` than computed.
async fn asked(desk: &Browser, key: &str, state: &str, words: &str) -> Result<()> {
    let script = "const row = document.querySelector(`[data-testid=asked][data-key=${arguments[0]}]`); return row?.dataset.state === arguments[1] && words(row).includes(arguments[2])";
    let args = [json!(key), json!(state), json!(words)];
    desk.until(&format!("{key} to be {state}: {words}"), WITHIN, script, &args).await.map(drop)
}

/// Nobody types the limit: it follows from the breaker on the sheet, the phone judges by it without a network, and after another
/// breaker by another one.
#[tokio::test(flavor = "multi_thread")]
async fn a_limit_that_follows_from_the_sheet_judges_the_reading_on_the_phone() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan_of(&rig, from_toml(&method_text("test-loop", LOOP))?, &[TECHNICIAN], Vec::new()).await?;
    let desk = desk_on_sheet(&rig, job).await?;
    asked(&desk, "loop_max_ohm", "missing", "its limit stays open").await?;
    desk.fill("Nominal AC voltage", "230").await?;
    desk.choose("AC breaker: characteristic", "B").await?;
    desk.fill("AC breaker: rating", "32").await?;
    asked(&desk, "loop_max_ohm", "follows", "0.958333").await?;
    save(&desk).await?;
    until_all_sent(&desk, WITHIN).await?;

    let phone = phone_on_step(&rig, job, "supply", "Loop of the circuit").await?;
    rig.server.road.cut().await;
    for (typed, state) in [("0.9584", "failed"), ("0.9583", "met")] {
        read(&phone, "loop", typed).await?;
        let is = |now: &StepView| now.need("loop").is_some_and(|need| need.state == state);
        until(&phone, &format!("{typed} to be {state}"), WITHIN, is).await?;
    }
    rig.server.road.heal().await;
    until_all_sent(&phone, WITHIN * 2).await?;

    desk.fill("AC breaker: rating", "40").await?;
    asked(&desk, "loop_max_ohm", "follows", "0.766667").await?;
    desk.see("Highest loop impedance: 0.958333").await?;
    save(&desk).await?;
    until_all_sent(&desk, WITHIN).await?;
    phone.open(&step_path(job, "supply")).await?;
    let fails = |now: &StepView| now.need("loop").is_some_and(|need| need.state == "failed");
    until(&phone, "the reading to be judged by the other breaker", WITHIN * 2, fails).await.map(drop)
}

/// The same designs, judged by this machine and by WebAssembly: the phone and the server never come to two verdicts.
#[tokio::test(flavor = "multi_thread")]
async fn chromium_judges_ten_thousand_designs_as_this_machine_does() -> Result<()> {
    const SEEDS: std::ops::Range<u32> = 5..15;
    /// Of each seed: a script has its time, however busy the machine is.
    const DESIGNS: u32 = 1_000;
    let folder = std::env::var_os("WITNESSMARK_DESIGN_DIGEST").map(PathBuf::from);
    let folder = folder.context("WITNESSMARK_DESIGN_DIGEST: `cargo xtask web --digest` prints it")?;
    let glue = std::fs::read_to_string(folder.join("design_digest.js"))?;
    let module = BASE64.encode(std::fs::read(folder.join("design_digest_bg.wasm"))?);
    let rig = Rig::empty().await?;
    let browser = Browser::start("digest", &rig.server.address(), DESK).await?;
    browser.open("/sign-in").await?;
    let here = tokio::task::spawn_blocking(|| SEEDS.map(|seed| digest(u64::from(seed), DESIGNS).to_string()).collect());
    let script = format!(
        "{glue}
        wasm_bindgen.initSync({{ module: Uint8Array.from(atob(arguments[0]), (one) => one.charCodeAt(0)) }});
        return wasm_bindgen.design_digest(arguments[1], arguments[2]);"
    );
    let mut there = Vec::new();
    for seed in SEEDS {
        there.push(browser.js(&script, &[json!(module), json!(seed), json!(DESIGNS)]).await?);
    }
    let here: Vec<String> = here.await?;
    browser.check(json!(there) == json!(here), &format!("{there:?} in Chromium to be {here:?}")).await
}

/// A lead who looks at a design in the van: what fails first, all else folded, and whatever leads to a figure unfolds it.
#[tokio::test(flavor = "multi_thread")]
async fn on_a_phone_the_sheet_is_folded_and_a_link_unfolds_what_it_leads_to() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = browser_of(&rig, LEAD, PHONE).await?;
    until_all_sent(&phone, WITHIN).await?;
    phone.open(&sheet_path(job)).await?;
    phone.see("Design sheet").await?;
    let screens =
        "return document.querySelector('#single-line') && document.documentElement.scrollHeight / innerHeight";
    let tall = phone.until("the sheet to stand", WITHIN, screens, &[]).await?;
    phone.check(tall.as_f64().is_some_and(|tall| tall <= 6.0), &format!("{tall} screens when folded")).await?;
    look_at_this(&phone, "design-sheet-folded").await?;
    let rows = "return [...document.querySelectorAll('#checks .sheet-row')].filter(inSight).length";
    let failing = phone.js(rows, &[]).await?;
    phone.check(failing == json!(0), &format!("nothing fails yet, and {failing} rows are in sight")).await?;
    phone.press("Show all").await?;
    let all = phone.js(rows, &[]).await?;
    phone.check(all.as_u64().is_some_and(|all| all > 15), &format!("{all} checks")).await?;
    // Opening every computation unfolds no part.
    let parts = "return document.querySelectorAll('details.sheet-part[open]').length";
    let before = phone.js(parts, &[]).await?;
    phone.press("Open all computations").await?;
    phone.see("Close all computations").await?;
    let after = phone.js(parts, &[]).await?;
    phone.check(before == after, &format!("{before} parts unfolded before, {after} after")).await?;
    phone.press("Close all computations").await?;
    phone.press_css("#checks .to-field").await?;
    let unfolded = "const own = document.activeElement; return own.matches('input, select') && inSight(own) && !!own.closest('details[open]') || null";
    phone.until("the field that a check waits for", WITHIN, unfolded, &[]).await?;
    let part = phone.js("return document.activeElement.closest('details').id", &[]).await?;
    let part = part.as_str().unwrap_or_default().to_owned();
    phone.press_css(&format!("#{part} > summary")).await?;
    let shut = "return !document.getElementById(arguments[0]).open || null";
    phone.until("the part to be folded again", WITHIN, shut, &[json!(part)]).await?;
    // On paper nobody unfolds anything.
    phone.js("window.print = () => {}", &[]).await?;
    phone.press("Print").await?;
    let whole = "return !document.querySelector('details.sheet-part:not([open])')";
    phone.until("every part to be unfolded for paper", WITHIN, whole, &[]).await.map(drop)
}
