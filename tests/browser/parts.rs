//! The app comes in parts: one that cannot be fetched says so and comes at the next try, and what comes ahead is here when the
//! network goes.

use anyhow::{Result, ensure};
use serde_json::{Value, json};
use tests::browser::{Browser, DESK, WITHIN};

use crate::people::{LEAD, browser_of, sign_in};
use crate::rig::Rig;
use crate::small_job::{plan, used_phone};

#[tokio::test(flavor = "multi_thread")]
async fn a_part_that_cannot_be_fetched_says_so_and_comes_at_the_next_try() -> Result<()> {
    let rig = Rig::demo().await?;
    let desk = Browser::start("half-an-app", &rig.server.address(), DESK).await?;
    // Past the service worker, which would have it.
    desk.cdp("Network.enable", json!({})).await?;
    desk.cdp("Network.setBypassServiceWorker", json!({"bypass": true})).await?;
    desk.cdp("Network.setBlockedURLs", json!({"urls": ["*part-split_desk*"]})).await?;
    desk.open("/sign-in").await?;
    sign_in(&desk, LEAD, server::demo::PASSWORD).await?;
    desk.until("the first screen behind the door", WITHIN, "return location.pathname !== '/sign-in'", &[]).await?;
    desk.open("/plan").await?;
    desk.see("This screen is not on the device yet").await?;
    desk.press("Try again").await?;
    desk.see("This screen is not on the device yet").await?;

    // It comes by itself once it can be had.
    desk.cdp("Network.setBlockedURLs", json!({"urls": []})).await?;
    desk.see("This week").await
}

#[tokio::test(flavor = "multi_thread")]
async fn the_last_look_is_there_before_the_job_files_are_read() -> Result<()> {
    let rig = Rig::demo().await?;
    plan(&rig).await?;
    let phone = used_phone(&rig).await?;
    phone.open("/day").await?;
    let live = "return [...document.querySelectorAll('.stop-work')].some((button) => !button.disabled)";
    phone.until("the day sheet at work", WITHIN, live, &[]).await?;
    phone.see("Lane 7").await?;

    // Each page writes down which job rows it drew, and whether "Stop work" could be pressed then.
    let watch = r"
        window.__looks = [];
        new MutationObserver(() => {
          const rows = [...document.querySelectorAll('.job-row')].map((row) => row.innerText).join(' | ');
          const stop = [...document.querySelectorAll('.stop-work')].some((button) => !button.disabled);
          if (rows) window.__looks.push([stop, rows]);
        }).observe(document, { childList: true, subtree: true, attributes: true });";
    phone.cdp("Page.addScriptToEvaluateOnNewDocument", json!({"source": watch})).await?;
    rig.server.road.cut().await;
    phone.open("/day").await?;
    phone.until("the day sheet at work without a network", WITHIN, live, &[]).await?;
    let looks = phone.js("return window.__looks", &[]).await?;
    let looks = looks.as_array().cloned().unwrap_or_default();
    ensure!(looks.first().is_some_and(|look| look[0] == json!(false)), "nothing was there before: {looks:?}");
    ensure!(looks.iter().all(|look| look[1].to_string().contains("Lane 7")), "a job was gone for a moment: {looks:?}");
    rig.server.road.heal().await;

    // Whoever leaves takes it along.
    phone.open("/sign-out").await?;
    phone.press("Sign out").await?;
    phone.until("the door", WITHIN, "return location.pathname === '/sign-in'", &[]).await?;
    let kept = r"
        const request = indexedDB.open('witnessmark.doors');
        request.onsuccess = () => {
          const store = [...request.result.objectStoreNames];
          const tx = request.result.transaction(store);
          Promise.all(store.map((name) => new Promise((ok) => { const all = tx.objectStore(name).getAll(); all.onsuccess = () => ok(all.result); })))
            .then((all) => { request.result.close(); window.__doors = JSON.stringify(all, (_, value) => value instanceof Uint8Array ? new TextDecoder().decode(value) : value); });
        };
        return true;";
    phone.js(kept, &[]).await?;
    let doors = phone.until("what is kept", WITHIN, "return window.__doors ?? null", &[]).await?;
    ensure!(!doors.to_string().contains("Lane 7"), "an address stays behind: {doors}");
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn every_part_of_a_technician_is_here_before_it_is_asked_for() -> Result<()> {
    let rig = Rig::demo().await?;
    plan(&rig).await?;
    let phone = used_phone(&rig).await?;
    phone.open("/day").await?;
    phone.see("Lane 7").await?;
    let loaded = "return performance.getEntriesByType('resource').map((one) => one.name).filter((name) => name.includes('/part-'))";
    let both = "const loaded = performance.getEntriesByType('resource').map((one) => one.name); return ['part-split_site', 'part-split_own'].every((part) => loaded.some((name) => name.includes(part)))";
    phone.until("the parts of a technician", WITHIN, both, &[]).await?;
    let names: Value = phone.js(loaded, &[]).await?;
    ensure!(!names.to_string().contains("part-split_desk"), "a phone loads the desk as well: {names}");
    drop(phone);

    let lead = browser_of(&rig, LEAD, DESK).await?;
    let desk = "return performance.getEntriesByType('resource').some((one) => one.name.includes('/part-split_desk'))";
    lead.until("the desk's part", WITHIN, desk, &[]).await.map(drop)
}
