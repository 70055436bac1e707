//! What waits on a device: nobody leaves it by accident, a guest network is not taken for the server, and a sign-in that ran out
//! stops no work.

use anyhow::Result;
use serde_json::json;
use tests::browser::{Browser, DESK, PHONE, WITHIN};

use crate::people::{LEAD, TECHNICIAN, browser_of, sign_in, until_all_sent};
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, step_path, used_phone};
use crate::step::{press_main, until};

/// Ticks the one statement of the first step, out of turn. It is the first record of the day in its job, so the server's number stands
/// before it, and two things wait.
pub async fn tick(phone: &Browser) -> Result<()> {
    let seen = crate::step::look(phone).await?;
    if seen.at.as_deref() != Some("here") {
        phone.press("Do this now").await?;
    }
    press_main(phone, "Confirm").await?;
    until(phone, "the tick to be kept", WITHIN, |now| now.need("here").is_some_and(|need| need.state == "met")).await?;
    phone.see("Saved on this device").await
}

async fn corner(phone: &Browser, words_of_it: &str) -> Result<()> {
    let script = "return words(document.querySelector('.corner .sync')).includes(arguments[0])";
    phone
        .until(&format!("the corner to say {words_of_it:?}"), WITHIN * 2, script, &[json!(words_of_it)])
        .await
        .map(drop)
}

#[tokio::test(flavor = "multi_thread")]
async fn nobody_signs_out_over_a_full_tray_by_accident() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    tick(&phone).await?;
    corner(&phone, "2 kept here").await?;
    phone.open("/sign-out").await?;
    phone.see("2 things on this device have not reached the server.").await?;
    let shut = phone.js("return document.querySelector('.bottom .act.main').disabled", &[]).await?;
    phone.check(shut == json!(true), "signing out is shut while things wait").await?;
    phone.tick("I know that these are not sent yet").await?;
    phone.press("Sign out").await?;
    phone.at("/sign-in").await?;

    rig.server.road.heal().await;
    sign_in(&phone, TECHNICIAN, server::demo::PASSWORD).await?;
    phone.until("the first screen behind the door", WITHIN, "return location.pathname !== '/sign-in'", &[]).await?;
    until_all_sent(&phone, WITHIN).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_guest_network_is_not_taken_for_the_server() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.portal().await;
    tick(&phone).await?;
    corner(&phone, "Guest network").await?;
    phone.open("/tray").await?;
    phone.see("Something else answers in the server's place").await?;
    phone.see("2 kept here").await?;
    rig.server.road.heal().await;
    until_all_sent(&phone, WITHIN * 2).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sign_in_that_ran_out_stops_no_work() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    phone.kill().await?;
    let pool = rig.server.db.owner_pool().await;
    sqlx::query("delete from refresh_tokens").execute(&pool).await?;
    pool.close().await;

    phone.reopen().await?;
    phone.open(&step_path(job, "arrive")).await?;
    rig.server.road.heal().await;
    corner(&phone, "Sign in to send").await?;
    tick(&phone).await?;
    phone.open("/tray").await?;
    phone.see("Your sign-in has run out. Work goes on; 2 wait here until you sign in.").await?;
    phone.press("Sign in").await?;
    phone.see("Everything you recorded is still on this device").await?;
    phone.fill("Password", server::demo::PASSWORD).await?;
    phone.press_css(".bottom .act.main").await?;
    phone.until("the first screen behind the door", WITHIN, "return location.pathname !== '/sign-in'", &[]).await?;
    until_all_sent(&phone, WITHIN).await
}

/// What was typed at the door a moment ago is on the disk: a phone that ends the browser at once, in a place without a signal, still
/// opens for its person.
#[tokio::test(flavor = "multi_thread")]
async fn a_kill_right_after_the_sign_in_leaves_the_door_open() -> Result<()> {
    let rig = Rig::demo().await?;
    let mut phone = browser_of(&rig, TECHNICIAN, PHONE).await?;
    phone.until_it_opens_offline().await?;
    rig.server.road.cut().await;
    phone.kill().await?;
    phone.reopen().await?;
    phone.open("/day").await?;
    phone.see("Day sheet").await?;
    phone.at("/day").await?;
    corner(&phone, "Offline").await
}

/// A page that is left while it makes its database must not hold up the next one.
#[tokio::test(flavor = "multi_thread")]
async fn a_page_left_in_its_first_second_does_not_hold_up_the_next() -> Result<()> {
    let rig = Rig::demo().await?;
    let desk = browser_of(&rig, LEAD, DESK).await?;
    for _ in 0..3 {
        desk.js_promise("await (async () => { for (const { name } of await indexedDB.databases()) if (name.startsWith('witnessmark-')) indexedDB.deleteDatabase(name); })()").await?;
        desk.open("/plan").await?;
        desk.open("/plan/new").await?;
        desk.see("Plan a job").await?;
    }
    Ok(())
}

/// As when a page that is just being left holds the database: nobody has to press anything.
#[tokio::test(flavor = "multi_thread")]
async fn a_store_that_does_not_open_at_first_is_tried_again_unasked() -> Result<()> {
    let rig = Rig::demo().await?;
    plan(&rig).await?;
    let phone = used_phone(&rig).await?;
    let refuse_once = r#"
      const open = IDBFactory.prototype.open;
      let refused = false;
      IDBFactory.prototype.open = function (name, ...more) {
        if (name.startsWith("witnessmark-") && !refused) {
          refused = true;
          throw new DOMException("held by another page", "UnknownError");
        }
        return open.call(this, name, ...more);
      };"#;
    phone.cdp("Page.addScriptToEvaluateOnNewDocument", json!({"source": refuse_once})).await?;
    phone.open("/day").await?;
    phone.see("The records on this device cannot be opened").await?;
    phone.see("Lane 7").await
}
