//! The crew plan with much to do after this week, and the list in which every job is found.

use anyhow::Result;
use domain::ids::{JobId, PersonId};
use domain::job_file::Body;
use domain::job_file::body::{Plain, Schedule, SiteDetails};
use serde_json::json;
use tests::browser::{Browser, DESK, PHONE, WITHIN};
use tests::phone::{TestPhone, all_stored, small_method};

use crate::people::{LEAD, OFFICE, TECHNICIAN, browser_of};
use crate::rig::Rig;
use crate::small_job::plan_of;

/// So many jobs are planned for after the next week.
const LATER: usize = 40;
const FAR: &str = "2099-12-01";

fn site(name: &str, street: &str) -> Body {
    Body::SiteDetails(SiteDetails {
        householder: name.into(),
        street: street.into(),
        town: "10000 Exampleton".into(),
        zone: "Europe/Berlin".into(),
        ..SiteDetails::default()
    })
}

fn on(day: &str, start: &str) -> Body {
    Body::Schedule(Schedule { day: day.into(), start: start.into() })
}

/// Today at the desk, and the day that is so many days later.
async fn day(desk: &Browser, ahead: i32) -> Result<String> {
    let script = "const day = new Date(); day.setDate(day.getDate() + arguments[0]); return `${day.getFullYear()}-${String(day.getMonth() + 1).padStart(2, '0')}-${String(day.getDate()).padStart(2, '0')}`";
    Ok(desk.js(script, &[json!(ahead)]).await?.as_str().unwrap_or_default().to_owned())
}

/// Waits until the rows of the list are these householders, in this order.
async fn lists(desk: &Browser, names: &[&str]) -> Result<()> {
    let script = "const rows = all('[data-testid=job-list] tbody th').map(words); return JSON.stringify(rows) === JSON.stringify(arguments[0])";
    desk.until(&format!("the list to be {names:?}"), WITHIN, script, &[json!(names)]).await.map(drop)
}

#[tokio::test(flavor = "multi_thread")]
async fn this_week_stands_first_and_two_jobs_at_one_hour_are_told() -> Result<()> {
    let rig = Rig::demo().await?;
    let desk = browser_of(&rig, LEAD, DESK).await?;
    let today = day(&desk, 0).await?;
    let crew = [PersonId::of(rig.server.sign_in(TECHNICIAN, server::demo::PASSWORD).await?.person())];
    plan_of(&rig, small_method(), &[TECHNICIAN], vec![site("Alma Ferrow", "Quay 1"), on(&today, "08:30")]).await?;
    let mut lead = TestPhone::of(rig.server.sign_in(LEAD, server::demo::PASSWORD).await?);
    let second = lead.plan_job(&small_method(), &crew);
    lead.write(second, site("Bo Tarn", "Quay 2"));
    lead.write(second, on(&today, "08:00"));
    for number in 0..LATER {
        let job = lead.plan_job(&small_method(), &crew);
        lead.write(job, site(&format!("House {number}"), "Lane 7"));
        lead.write(job, on(FAR, &format!("{:02}:00", number % 24)));
        all_stored(&lead.push().await)?;
    }
    desk.open("/plan").await?;
    let counted = "return words(document.querySelector('[data-testid=fold-later] .count')) === String(arguments[0])";
    desk.until("all later jobs to be counted", WITHIN * 3, counted, &[json!(LATER)]).await?;
    let top = desk.js("return document.querySelector('table.week').getBoundingClientRect().top + scrollY", &[]).await?;
    desk.check(top.as_f64().is_some_and(|top| top < 700.0), &format!("this week begins at {top} px")).await?;
    let order = "return !!(document.querySelector('table.week').compareDocumentPosition(document.querySelector('.folds')) & Node.DOCUMENT_POSITION_FOLLOWING)";
    desk.check(desk.js(order, &[]).await? == json!(true), "what is folded stands below this week").await?;
    desk.check(desk.js("return all('.fold .row-link').length", &[]).await? == json!(0), "what is folded is not built")
        .await?;
    desk.press("Later").await?;
    desk.until(
        "the later jobs",
        WITHIN,
        "return all('[data-testid=fold-later] .row-link').length === arguments[0]",
        &[json!(LATER)],
    )
    .await?;

    let told = "return words(document.querySelector('[data-testid=twice]'))";
    let told = desk.js(told, &[]).await?;
    let told = told.as_str().unwrap_or_default();
    for part in ["Wren Ashdown is planned twice on", "at 08:30:", "08:00 Bo Tarn", "08:30 Alma Ferrow"] {
        desk.check(told.contains(part), &format!("“{told}” says “{part}”")).await?;
    }
    desk.see("Wren Ashdown is also planned for Bo Tarn").await?;
    desk.see("Wren Ashdown is also planned for Alma Ferrow").await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_is_found_by_what_a_caller_says_withdrawn_ones_too() -> Result<()> {
    let rig = Rig::demo().await?;
    let named = |name: &str, street: &str, day: &str| vec![site(name, street), on(day, "")];
    let first = plan_of(&rig, small_method(), &[TECHNICIAN], named("Alma Ferrow", "Quay 1", "2026-12-01")).await?;
    plan_of(&rig, small_method(), &[], named("Bo Tarn", "Harbour Road 9", "2026-12-02")).await?;
    let mut over = named("Cem Pascoe", "Quay 3", "2026-12-03");
    over.push(Body::Withdrawn(Plain {}));
    plan_of(&rig, small_method(), &[], over).await?;

    let mut office = browser_of(&rig, OFFICE, DESK).await?;
    office.open("/menu").await?;
    office.press("Jobs").await?;
    office.at("/jobs").await?;
    lists(&office, &["Cem Pascoe", "Bo Tarn", "Alma Ferrow"]).await?;
    office.see("Wren Ashdown").await?;
    let search = "Name, street, town or job number";
    office.fill(search, "quay").await?;
    lists(&office, &["Cem Pascoe", "Alma Ferrow"]).await?;
    office.choose("State", "Not finished").await?;
    lists(&office, &["Alma Ferrow"]).await?;
    let address = "return location.pathname + location.search === '/jobs?q=quay&state=open'";
    office.until("the address to say what is looked for", WITHIN, address, &[]).await?;
    office.press("Alma Ferrow").await?;
    office.at(&format!("/desk/{first}")).await?;
    office.js("history.back()", &[]).await?;
    office.until("the address to be as it was", WITHIN, address, &[]).await?;
    lists(&office, &["Alma Ferrow"]).await?;
    office.choose("State", "Withdrawn").await?;
    lists(&office, &["Cem Pascoe"]).await?;
    office.choose("State", "All jobs").await?;
    office.fill(search, &JobId::short(first)).await?;
    lists(&office, &["Alma Ferrow"]).await?;
    office.fill(search, "nobody of this name").await?;
    office.see("No job has “nobody of this name” in its name").await?;
    // On a phone the same list is one of cards, and nothing reaches beyond the edge.
    office.set_screen(PHONE).await?;
    office.open("/jobs").await?;
    lists(&office, &["Cem Pascoe", "Bo Tarn", "Alma Ferrow"]).await?;
    let width = office.js("return document.documentElement.scrollWidth <= innerWidth", &[]).await?;
    office.check(width == json!(true), "the list fits a phone").await?;

    rig.server.road.cut().await;
    office.fill(search, "tarn").await?;
    office.see("Only the server has all jobs, and it cannot be reached now.").await?;
    rig.server.road.heal().await;
    office.press("Try again").await?;
    lists(&office, &["Bo Tarn"]).await
}
