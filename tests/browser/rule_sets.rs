//! The firm's own rules: copied and tightened at the desk, and a new job is designed by them where there is no network.

use anyhow::Result;
use domain::ids::JobId;
use serde_json::json;
use tests::browser::{Browser, DESK, WITHIN};

use crate::answers::built_in_method;
use crate::people::{LEAD, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::plan;

/// The firm's rules in lists of them.
const OURS: &str = "United Kingdom, our rules, version 2";

/// Waits until a limit of the form has this word beside it.
async fn stands(desk: &Browser, rule: &str, word: &str) -> Result<()> {
    let script =
        "return words(document.querySelector(`[data-testid=limit][data-rule=${arguments[0]}] .chip`)) === arguments[1]";
    desk.until(&format!("{rule} to be {word}"), WITHIN, script, &[json!(rule), json!(word)]).await.map(drop)
}

/// Waits until a check of the design sheet ends so.
async fn verdict(desk: &Browser, line: &str, wanted: &str) -> Result<()> {
    let script = "return document.querySelector(`[data-testid=design-check][data-line=${arguments[0]}]`)?.dataset.verdict === arguments[1]";
    desk.until(&format!("{line} to be {wanted}"), WITHIN, script, &[json!(line), json!(wanted)]).await.map(drop)
}

/// Plans a job with the least that the form asks for, by the firm's rules.
async fn plan_on_form(desk: &Browser) -> Result<JobId> {
    desk.open("/plan/new").await?;
    desk.fill("Street and house", "Kiln Lane 4").await?;
    desk.fill("Postcode and town", "00417 Larkfield").await?;
    desk.choose("By which plan of work", &built_in_method()?.title.en).await?;
    desk.choose("By which rule set", OURS).await?;
    desk.press("Save the job").await?;
    let script = "return location.pathname.startsWith('/desk/') ? location.pathname : null";
    let path = desk.until("the desk of the new job", WITHIN, script, &[]).await?;
    let id = path.as_str().unwrap_or_default().trim_start_matches("/desk/");
    id.parse().map_err(|_| anyhow::anyhow!("{id} is no job"))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_firm_tightens_its_rules_and_a_new_job_is_judged_by_them_offline() -> Result<()> {
    let rig = Rig::demo().await?;
    let before = plan(&rig).await?;
    let desk = browser_of(&rig, LEAD, DESK).await?;
    desk.until_it_opens_offline().await?;
    desk.open("/rule-sets").await?;
    desk.choose("Rules for", "United Kingdom").await?;
    desk.see("Jobs there follow the built-in rule set uk 1.").await?;
    desk.press("Copy it for our firm").await?;
    desk.see("New jobs can follow uk 1 firm 1.").await?;
    desk.fill("Our figure for UK-1M", "1.5 m").await?;
    stands(&desk, "UK-1M", "Stricter").await?;
    desk.fill("Our figure for UK-2M", "1.5").await?;
    stands(&desk, "UK-2M", "Looser").await?;
    desk.press("Save as version 2").await?;
    desk.see("1 limit needs another look before this can be saved.").await?;
    desk.see("This is looser than a standard says.").await?;
    desk.fill("Reason for loosening", "agreed with the fire officer").await?;
    desk.press("Save as version 2").await?;
    desk.see("New jobs can follow uk 1 firm 2.").await?;

    let job = plan_on_form(&desk).await?;
    // From now on a new job begins with them.
    desk.open("/plan/new").await?;
    let script = "return findField('By which rule set')?.value === 'uk 1 firm 2'";
    desk.until("the firm's only own rules to be chosen", WITHIN, script, &[]).await?;
    desk.open(&format!("/desk/{job}/design")).await?;
    desk.see("Computed by rule set uk 1 firm 2").await?;
    until_all_sent(&desk, WITHIN).await?;
    rig.server.road.cut().await;
    desk.open(&format!("/desk/{job}/design")).await?;
    desk.see("Computed by rule set uk 1 firm 2").await?;
    desk.see("UK-2M: 2 m became 1.5 m. Reason: agreed with the fire officer").await?;
    desk.choose("Kind of location", "outdoors at a wall").await?;
    desk.fill("Distance to doors and windows", "1.2").await?;
    verdict(&desk, "UK-1M", "fail").await?;
    desk.fill("Distance to doors and windows", "1.5").await?;
    verdict(&desk, "UK-1M", "pass").await?;
    // The same design by the built-in rules: their one metre is enough.
    desk.fill("Distance to doors and windows", "1.2").await?;
    desk.choose("Where the job is", "United Kingdom").await?;
    verdict(&desk, "UK-1M", "pass").await?;
    desk.choose("Where the job is", OURS).await?;
    verdict(&desk, "UK-1M", "fail").await?;
    crate::design_sheet::save(&desk).await?;
    // A job from before keeps the rules that it was planned by.
    desk.open(&format!("/desk/{before}/design")).await?;
    desk.see("Computed by rule set neutral 1").await?;
    desk.open(&format!("/jobs/{job}/tests")).await?;
    desk.see("Computed by rule set uk 1 firm 2").await?;
    rig.server.road.heal().await;
    until_all_sent(&desk, WITHIN * 2).await
}
