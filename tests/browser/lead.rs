//! The lead at the desk: plans a job, passes it.

use anyhow::{Context as _, Result};
use domain::ids::JobId;
use serde_json::json;
use tests::browser::{Browser, DESK, PHONE};

use crate::answers::{DESIGN, MODULES, built_in_method};
use crate::looks::look_at_this;
use crate::people::{LEAD_NAME, TECHNICIAN_NAME};

/// Who lives at the planned site.
pub const HOUSEHOLDER: &str = "Alma Ferrow";

/// Plans the whole job on the form and gives its id.
pub async fn plan_job(lead: &mut Browser) -> Result<JobId> {
    lead.open("/plan/new").await?;
    lead.see("Plan a job").await?;
    for (label, text) in [
        ("Householder", HOUSEHOLDER),
        ("Street and house", "Kiln Lane 4"),
        ("Postcode and town", "00417 Larkfield"),
        ("Telephone", "+1 202-555-0117"),
        ("E-mail", "alma@ferrow.example"),
        ("Connection point", "LF-000-417"),
    ] {
        lead.fill(label, text).await?;
    }
    let method = built_in_method()?;
    lead.choose("By which plan of work", &method.title.en).await?;
    for (kind, model, count) in [
        ("Battery module", "Cell Stack M5", MODULES),
        ("Control unit", "Cell Stack Head H1", 1),
        ("Inverter, already on site", "Hybrid 4", 1),
    ] {
        lead.choose_in(kind, "Model", model).await?;
        lead.fill_in(kind, "How many", &count.to_string()).await?;
    }
    for (key, text) in DESIGN {
        let field =
            method.design.iter().find(|field| field.key == *key).with_context(|| format!("no design figure {key}"))?;
        lead.fill(&field.label.en, text).await?;
    }
    lead.choose("Where it stands", "Consent given").await?;
    lead.fill("The operator's reference", "LF-2026-0417").await?;
    lead.choose(TECHNICIAN_NAME, "technician").await?;
    lead.choose(LEAD_NAME, "lead").await?;
    let today = lead.js("const now = new Date(); return `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, '0')}-${String(now.getDate()).padStart(2, '0')}`", &[]).await?;
    lead.fill("Day", today.as_str().unwrap_or_default()).await?;
    // This design stops here until the lead has said why a crew gets it.
    lead.see("2 checks of the design fail:").await?;
    lead.press("Save the job").await?;
    lead.see("1 field needs another look before this can be saved.").await?;
    lead.set_screen(PHONE).await?;
    look_at_this(lead, "plan-why").await?;
    lead.set_screen(DESK).await?;
    lead.fill("Why it goes ahead anyway", "A larger cable is on the van.").await?;
    lead.see("Everything is there that a crew needs.").await?;
    let failing = lead.js("return [...document.querySelectorAll('[data-testid=live-check]')].map(words).filter((text) => text.includes('Fails'))", &[]).await?;
    lead.check(failing == json!([]), &format!("the plan's own computations pass: {failing}")).await?;
    lead.press("Save the job").await?;
    let path = lead
        .until(
            "the desk of the new job",
            tests::browser::WITHIN,
            "return location.pathname.startsWith('/desk/') ? location.pathname : null",
            &[],
        )
        .await?;
    let path = path.as_str().unwrap_or_default();
    // Whoever plans the week sees it without opening the job.
    lead.open("/plan").await?;
    lead.see("Design: 2 fail").await?;
    lead.open(path).await?;
    let id = path.trim_start_matches("/desk/");
    id.parse().map_err(|_| anyhow::anyhow!("{id} is no job"))
}
