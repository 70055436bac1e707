//! A form that cannot be saved leads to what is wrong with it, and nothing beside it says otherwise.

use anyhow::Result;
use serde_json::json;
use tests::browser::{DESK, WITHIN};

use crate::people::{LEAD, browser_of};
use crate::rig::Rig;

#[tokio::test(flavor = "multi_thread")]
async fn a_refused_save_leads_to_the_first_fault_and_names_them_all() -> Result<()> {
    let rig = Rig::demo().await?;
    let lead = browser_of(&rig, LEAD, DESK).await?;
    lead.open("/plan/new").await?;
    lead.see("Cannot be saved yet").await?;
    lead.fill("Telephone", "not a phone").await?;
    lead.press("Save the job").await?;
    lead.see("This is not a telephone number.").await?;
    lead.see("need another look before this can be saved").await?;
    let first = r#"
      const wrong = [...document.querySelectorAll("[aria-invalid=true]")];
      return wrong.length > 1 && document.activeElement === wrong[0] && wrong.some((one) => one.tagName === "SELECT");"#;
    lead.until("the focus on the first fault, and a select among the marked", WITHIN, first, &[]).await?;
    let words = lead.words().await?;
    lead.check(
        !words.contains("Can be saved") && !words.contains("Everything is there"),
        "nothing says that it can be saved",
    )
    .await?;
    lead.press("Telephone").await?;
    let there = "return document.activeElement === findField('Telephone')";
    lead.until("the focus on the field that the message names", WITHIN, there, &[]).await?;
    // A zone is chosen out of a list.
    let zone = lead.js("return findField('Time zone')?.tagName", &[]).await?;
    lead.check(zone == json!("SELECT"), &format!("the time zone is a {zone}")).await
}
