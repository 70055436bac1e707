//! What is only on a device is at risk there: the app says so before the work starts, louder with each day, and also after the browser
//! has thrown everything away.

use std::time::{Duration, Instant};

use anyhow::{Context as _, Result};
use domain::ids::JobId;
use serde_json::{Value, json};
use tests::browser::{Browser, PHONE, WITHIN};

use crate::looks::look_at_this;
use crate::people::{TECHNICIAN, browser_of, sign_in};
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, used_phone};
use crate::tray::tick;
use crate::wifi::take_photo;

/// Runs before each page from now on.
pub async fn before_each_page(phone: &Browser, script: &str) -> Result<()> {
    phone.cdp("Page.enable", json!({})).await?;
    phone.cdp("Page.addScriptToEvaluateOnNewDocument", json!({"source": script})).await.map(drop)
}

/// The clock of each page from now on is so many days further ahead.
async fn days_pass(phone: &Browser, days: u32) -> Result<()> {
    let script = format!(
        "(() => {{
           const Before = Date, ahead = {days} * 86400000;
           globalThis.Date = class extends Before {{
             constructor(...given) {{ if (given.length) super(...given); else super(Before.now() + ahead); }}
             static now() {{ return Before.now() + ahead; }}
           }};
         }})();"
    );
    before_each_page(phone, &script).await
}

/// Puts the page away, so that nothing of it runs.
async fn leave(phone: &Browser) -> Result<()> {
    phone.open(crate::old_store::QUIET).await
}

async fn value_of(phone: &Browser, name: &str) -> Result<Value> {
    phone
        .js(
            "return document.querySelector(`[data-${arguments[0]}]`)?.getAttribute(`data-${arguments[0]}`) ?? null",
            &[json!(name)],
        )
        .await
}

async fn see_value(phone: &Browser, name: &str, value: &str) -> Result<()> {
    phone.see_css(&format!("[data-{name}='{value}']")).await
}

/// Fault 13: what waits has an age, and the warning grows with it.
#[tokio::test(flavor = "multi_thread")]
async fn what_waits_for_days_is_told_louder_with_each() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    tick(&phone).await?;
    phone.open("/tray").await?;
    phone.see_css("[data-oldest]").await?;
    let calm = value_of(&phone, "age").await?;
    phone.check(calm == Value::Null, &format!("on the first day nobody is warned: {calm}")).await?;
    for (days, urgency, title, what_now) in [
        (2, "warn", "Not sent for 2 days", "Find a connection"),
        (
            4,
            "urgent",
            "Not sent for 6 days: it may be lost any day",
            "Some browsers delete an app's data after seven days",
        ),
    ] {
        days_pass(&phone, days).await?;
        for address in ["/day", "/tray"] {
            phone.open(address).await?;
            see_value(&phone, "age", urgency).await?;
            phone.see(title).await?;
            phone.see("2 things are only on this device, the oldest since").await?;
            phone.see(what_now).await?;
            look_at_this(&phone, &format!("at-risk{}-{urgency}", address.replace('/', "-"))).await?;
        }
    }
    phone.see("See what this device holds, and save it").await?;
    rig.server.road.heal().await;
    let calm = "return document.querySelector('[data-age]') === null";
    phone.until("the warning to go with what waited", WITHIN * 2, calm, &[]).await.map(drop)
}

/// Fault 13: in a browser that promises nothing the app asks to be installed before somebody works offline.
#[tokio::test(flavor = "multi_thread")]
async fn an_app_that_is_not_installed_says_what_is_at_risk() -> Result<()> {
    let rig = Rig::demo().await?;
    let phone = browser_of(&rig, TECHNICIAN, PHONE).await?;
    let offer = "Object.defineProperty(window, 'witnessmarkInstall', { value: { prompt: async () => { window.asked = true; } } });";
    before_each_page(&phone, offer).await?;
    phone.open("/day").await?;
    see_value(&phone, "concern", "not-promised").await?;
    phone.see("Some browsers delete unsent work after seven days").await?;
    look_at_this(&phone, "not-installed").await?;
    phone.press("Install now").await?;
    phone.until("the browser to be asked", WITHIN, "return window.asked === true", &[]).await?;
    phone.press("Not now").await?;
    phone.open("/day").await?;
    until_tried(&phone).await?;
    let gone = value_of(&phone, "concern").await?;
    phone.check(gone == Value::Null, &format!("not now is for a while: {gone}")).await?;
    phone.open("/tray").await?;
    see_value(&phone, "concern", "not-promised").await?;
    let installed = "const media = matchMedia; window.matchMedia = (query) => query.includes('display-mode: standalone') ? media('all') : media(query);";
    before_each_page(&phone, installed).await?;
    phone.open("/tray").await?;
    until_tried(&phone).await?;
    let gone = value_of(&phone, "concern").await?;
    phone.check(gone == Value::Null, &format!("an installed app has nothing to say: {gone}")).await
}

/// Waits until this page has made its trial write, and what it says of it has been drawn.
async fn until_tried(phone: &Browser) -> Result<()> {
    phone
        .until("the trial write", WITHIN, "return document.querySelector('.at-risk')?.dataset.tried === 'yes'", &[])
        .await
        .map(drop)
}

/// Waits until the server has heard that so many things wait on some device.
async fn until_reported(rig: &Rig, phone: &Browser, waiting: i32) -> Result<()> {
    let pool = rig.server.db.owner_pool().await;
    let began = Instant::now();
    loop {
        let most: Option<i32> = sqlx::query_scalar(
            "select waiting from devices where person_id is not null order by created_us desc limit 1",
        )
        .fetch_optional(&pool)
        .await?;
        if most == Some(waiting) {
            pool.close().await;
            return Ok(());
        }
        phone.check(began.elapsed() < WITHIN, &format!("the server to hear of {waiting}, not {most:?}")).await?;
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

/// A full photo stays on this phone, and the server knows it.
async fn keep_a_photo_back(rig: &Rig, phone: &Browser, job: JobId, seed: u32) -> Result<()> {
    phone.open("/tray").await?;
    phone.see("Photos and mobile data").await?;
    // What a browser left of its small store may have it on already.
    let is_on = phone.js("return findTick('Keep photos on this phone until Wi-Fi').checked", &[]).await?;
    if is_on == json!(false) {
        phone.tick("Keep photos on this phone until Wi-Fi").await?;
    }
    take_photo(phone, job, seed).await?;
    until_reported(rig, phone, 1).await
}

async fn thrown_away(phone: &Browser, origin: &str, kinds: &str) -> Result<()> {
    leave(phone).await?;
    phone.cdp("Storage.clearDataForOrigin", json!({"origin": origin, "storageTypes": kinds})).await?;
    phone.open("/day").await?;
    phone.at("/sign-in").await?;
    sign_in(phone, TECHNICIAN, server::demo::PASSWORD).await?;
    phone.at("/day").await
}

/// Fault 13: a browser that threw all of it away meets no cheerful empty list. Where it left a mark the app is sure; where it left
/// nothing, it may have been another device, and the app says that too.
#[tokio::test(flavor = "multi_thread")]
async fn a_device_that_was_emptied_hears_what_its_last_report_listed() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    let origin = phone.js("return location.origin", &[]).await?;
    let origin = origin.as_str().context("an origin")?;

    keep_a_photo_back(&rig, &phone, job, 81).await?;
    // As some phones throw the store of an app away when room runs short.
    thrown_away(&phone, origin, "indexeddb,cache_storage,service_workers,file_systems").await?;
    see_value(&phone, "lost", "here").await?;
    phone.see("The browser removed this device's data").await?;
    phone.see("listed 1 unsent item.").await?;
    phone.see("record again what is missing").await?;
    look_at_this(&phone, "lost-here").await?;
    phone.open("/tray").await?;
    see_value(&phone, "lost", "here").await?;
    phone.press("I have read this").await?;
    phone.open("/day").await?;
    until_tried(&phone).await?;
    let gone = value_of(&phone, "lost").await?;
    phone.check(gone == Value::Null, &format!("it was read: {gone}")).await?;

    let pool = rig.server.db.owner_pool().await;
    sqlx::query("update devices set waiting = 0").execute(&pool).await?;
    pool.close().await;
    phone.press("Lane 7").await?;
    keep_a_photo_back(&rig, &phone, job, 82).await?;
    // Everything: nothing here can know that this is the same device.
    thrown_away(&phone, origin, "all").await?;
    see_value(&phone, "lost", "maybe").await?;
    phone.see("The browser may have removed this device's data").await?;
    phone.see("last reported 1 unsent item,").await?;
    phone.see("If it was another phone").await?;
    look_at_this(&phone, "lost-maybe").await
}

/// Fault 16: a real write counts, whatever the browser names.
#[tokio::test(flavor = "multi_thread")]
async fn a_browser_that_boasts_of_room_it_has_not_is_found_out_at_the_start() -> Result<()> {
    let rig = Rig::demo().await?;
    let mut phone = used_phone(&rig).await?;
    phone.open("/day").await?;
    until_tried(&phone).await?;
    let origin = phone.js("return location.origin", &[]).await?;
    let concern = value_of(&phone, "concern").await?;
    phone.check(concern == json!("not-promised"), &format!("there is room as yet: {concern}")).await?;
    let figures = phone.cdp("Storage.getUsageAndQuota", json!({"origin": origin})).await?;
    let room = figures["usage"].as_f64().context("usage")? + 200_000.0;
    // A browser that is open remembers for a while how much room there was.
    phone.close().await?;
    phone.reopen().await?;
    leave(&phone).await?;
    let boast = "navigator.storage.estimate = async () => ({ usage: 1e6, quota: 30e9 });";
    before_each_page(&phone, boast).await?;
    phone.cdp("Storage.overrideQuotaForOrigin", json!({"origin": origin, "quotaSize": room})).await?;
    phone.open("/day").await?;
    see_value(&phone, "concern", "full").await?;
    phone.see("This device keeps nothing more").await?;
    look_at_this(&phone, "storage-full").await?;
    phone.cdp("Storage.overrideQuotaForOrigin", json!({"origin": origin})).await?;
    phone.open("/day").await?;
    until_tried(&phone).await?;
    let concern = value_of(&phone, "concern").await?;
    phone.check(concern == json!("not-promised"), &format!("there is room again: {concern}")).await?;

    before_each_page(&phone, "navigator.storage.estimate = async () => ({ usage: 1e6, quota: 300e6 });").await?;
    phone.open("/day").await?;
    see_value(&phone, "concern", "small").await?;
    phone.see("A private window deletes everything when it is closed.").await
}

/// Fault 16: a private window of this browser cannot be told from an ordinary one that promises nothing, so the start screen says what
/// becomes of either.
#[tokio::test(flavor = "multi_thread")]
async fn a_private_window_is_warned_of_before_the_work_starts() -> Result<()> {
    let rig = Rig::demo().await?;
    let phone = Browser::start_private("private", &rig.server.address(), PHONE).await?;
    phone.open("/sign-in").await?;
    sign_in(&phone, TECHNICIAN, server::demo::PASSWORD).await?;
    phone.at("/day").await?;
    see_value(&phone, "concern", "not-promised").await?;
    phone.see("a private window deletes it when it is closed").await
}
