//! The test sheet: for the technician without a network, for the lead beside the design, and on paper.

use anyhow::{Result, ensure};
use domain::design::Design;
use domain::ids::JobId;
use domain::job_file::Place;
use domain::job_file::body::{Body, DesignInputs, Reading, ReadingQuality, Sign};
use domain::method::load::from_toml;
use domain::wire::sync::PushVerdict;
use serde_json::json;
use tests::browser::{Browser, DESK, WITHIN};
use tests::phone::{TestPhone, method_text};

use crate::people::{LEAD, TECHNICIAN, TECHNICIAN_NAME, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::{plan_of, used_phone};

/// Two of the tests, as the built-in methods name their steps.
const STEPS: &str = r#"
[[step]]
id = "bus-termination"
stage = "work"
title = { en = "Measure the bus termination" }
act = { en = "Measure." }
[[step.require]]
kind = "reading"
id = "resistance"
label = { en = "Between the data lines" }
unit = "ohm"
sanity = ["0", "100000"]

[[step]]
id = "pe-continuity"
stage = "work"
title = { en = "Continuity of the protective earth" }
act = { en = "Measure." }
[[step.require]]
kind = "reading"
id = "resistance"
label = { en = "Main earth bar to control unit" }
unit = "ohm"
sanity = ["0", "200"]
limit = { from = "constant", at_most = "0.5", source = "house rule" }
"#;
const DESIGN: &str = include_str!("../../domain/tests/golden/designs/uk-terrace.design.txt");

fn measured(step: &str, micro: i64) -> Body {
    Body::Reading(Reading {
        at: Place::of(step, 0, "resistance"),
        raw: "as shown".into(),
        micro: Some(micro),
        unit: domain::electrical::Unit::Ohm.code(),
        sign: Sign::Equal,
        quality: ReadingQuality::Ok,
        instrument: None,
        corrects: None,
        test_voltage: None,
    })
}

/// A designed job whose technician measured a good termination, and after it an earth that fails this design's limit
/// although the step's own would let it through.
async fn measured_job(rig: &Rig) -> Result<JobId> {
    let design = Design::parse(DESIGN).map_err(|error| anyhow::anyhow!("{error}"))?;
    let values = design.values().map(|(key, micro)| (key.to_owned(), micro)).collect();
    let job = plan_of(
        rig,
        from_toml(&method_text("test-two-tests", STEPS))?,
        &[TECHNICIAN],
        vec![Body::DesignInputs(DesignInputs { values })],
    )
    .await?;
    let mut technician = TestPhone::of(rig.server.sign_in(TECHNICIAN, server::demo::PASSWORD).await?);
    technician.pull().await;
    technician.write(job, measured("bus-termination", 60_000_000));
    technician.write(job, measured("pe-continuity", 400_000));
    let verdicts = technician.push().await;
    ensure!(verdicts.iter().all(|own| matches!(own, PushVerdict::Stored(_))), "{verdicts:?}");
    Ok(job)
}

/// Waits until a test of the sheet stands so.
async fn stands(browser: &Browser, test: &str, standing: &str) -> Result<()> {
    let script = "return document.querySelector(`[data-testid=test][data-test=${arguments[0]}]`)?.dataset.standing === arguments[1]";
    browser.until(&format!("{test} to be {standing}"), WITHIN, script, &[json!(test), json!(standing)]).await.map(drop)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_failed_test_opens_those_before_it_again_offline_and_on_paper() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = measured_job(&rig).await?;

    let mut phone = used_phone(&rig).await?;
    phone.open("/day").await?;
    phone.press("Lane 7").await?;
    phone.see("2 of 2 steps done").await?;
    rig.server.road.cut().await;
    phone.kill().await?;
    phone.reopen().await?;
    phone.open(&format!("/jobs/{job}")).await?;
    phone.press("Test sheet").await?;
    phone.at(&format!("/jobs/{job}/tests")).await?;
    stands(&phone, "continuity", "failed").await?;
    stands(&phone, "bus_termination", "again").await?;
    stands(&phone, "insulation_dc", "not-made").await?;
    phone.see("failed after it.").await?;
    phone.see("Disconnect first: battery, inverter, surge protection").await?;
    phone.see("Limit of the step: at most 0.5 Ω (this program's own rule).").await?;
    phone.see(TECHNICIAN_NAME).await?;
    let limit = phone.js("return words(document.querySelector('[data-test=continuity]'))", &[]).await?;
    let limit = limit.as_str().unwrap_or_default();
    phone.check(limit.contains("at most 0.0") && limit.contains("By F04, IEC 60364-6"), limit).await?;
    drop(phone);

    rig.server.road.heal().await;
    let lead = browser_of(&rig, LEAD, DESK).await?;
    until_all_sent(&lead, WITHIN).await?;
    lead.open(&format!("/desk/{job}/design")).await?;
    lead.press("Test sheet").await?;
    stands(&lead, "continuity", "failed").await?;
    lead.cdp("Emulation.setEmulatedMedia", json!({"media": "print"})).await?;
    let paper =
        lead.js("return [all('.by-hand').length > 0, all('.no-print, .page-top, .rail').length > 0]", &[]).await?;
    lead.check(paper == json!([true, false]), &format!("room to write and nothing to press: {paper}")).await?;
    lead.cdp("Emulation.setEmulatedMedia", json!({"media": ""})).await?;
    lead.press("Back").await?;
    lead.at(&format!("/desk/{job}/design")).await
}
