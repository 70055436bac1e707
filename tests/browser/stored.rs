//! The app is stored on the phone whatever stands before the server, or the phone says that it is not.

use anyhow::Result;
use serde_json::json;
use tests::browser::{Browser, DESK, PHONE, WITHIN};

use crate::looks::look_at_this;
use crate::people::{LEAD, TECHNICIAN, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, step_path};
use crate::tray::tick;

/// Each path at which a person may start, without a network.
async fn opens_everywhere(phone: &Browser) -> Result<()> {
    for path in ["/", "/day", "/tray", "/settings"] {
        phone.open(path).await?;
        phone.see_css("main h1").await?;
    }
    phone.open("/rescue.html").await?;
    phone.see("What this device holds").await
}

/// A front may answer any file with a redirect: what comes in the end is proven by its hash.
#[tokio::test(flavor = "multi_thread")]
async fn behind_a_front_that_redirects_the_app_opens_without_a_network() -> Result<()> {
    let rig = Rig::demo().await?;
    for part in ["/index.html", ".wasm", "/icons/mark-192"] {
        rig.server.road.moves(part).await;
        let phone = browser_of(&rig, TECHNICIAN, PHONE).await?;
        phone.until_it_opens_offline().await?;
        phone.see("Day sheet").await?;
        rig.server.road.cut().await;
        opens_everywhere(&phone).await?;
    }
    Ok(())
}

/// What must not be followed is told where somebody is about to rely on it, with the ground; and it comes right by itself.
#[tokio::test(flavor = "multi_thread")]
async fn an_app_that_cannot_be_stored_says_so_and_why() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    rig.server.road.moves("/sw.js").await;
    let phone = browser_of(&rig, TECHNICIAN, PHONE).await?;
    for path in [String::from("/day"), step_path(job, "arrive")] {
        phone.open(&path).await?;
        phone.see("Without a network this app does not open").await?;
        phone.see("The server answers /sw.js through a redirect.").await?;
        look_at_this(&phone, if path == "/day" { "not-stored-day" } else { "not-stored-step" }).await?;
    }
    rig.server.road.heal().await;
    phone.open("/day").await?;
    phone.until_it_opens_offline().await?;
    let gone = "return !document.querySelector('[data-not-stored]')";
    phone.until("nothing more to be said of it", WITHIN, gone, &[]).await?;
    rig.server.road.cut().await;
    opens_everywhere(&phone).await
}

/// One damaged file of the shell: the worker knows which, and the page says it.
#[tokio::test(flavor = "multi_thread")]
async fn a_file_that_is_not_of_this_version_is_named() -> Result<()> {
    let rig = Rig::demo().await?;
    let file = rig.server.web_folder().join("rescue.css");
    let whole = std::fs::read(&file)?;
    for name in ["rescue.css", "rescue.css.br", "rescue.css.gz"] {
        let _ = std::fs::remove_file(rig.server.web_folder().join(name));
    }
    std::fs::write(&file, b"body {}")?;
    let phone = browser_of(&rig, TECHNICIAN, PHONE).await?;
    phone.see("What the server sends as /rescue.css is not what belongs to this version.").await?;
    std::fs::write(&file, whole)?;
    phone.press("Try again").await?;
    phone.until_it_opens_offline().await
}

/// Only the words of the language in use travel before the first screen; the others are in the stored app.
#[tokio::test(flavor = "multi_thread")]
async fn words_come_one_language_at_a_time_and_all_of_them_work_offline() -> Result<()> {
    let rig = Rig::demo().await?;
    let desk = browser_of(&rig, LEAD, DESK).await?;
    // The later ones come with the first screen that says them.
    let loaded = "const files = performance.getEntriesByType('resource').map((one) => one.name.match(/(later-)?words-(..)/)?.[0]).filter(Boolean); return files.length < 2 ? null : files";
    let words = desk.until("two files of words", WITHIN, loaded, &[]).await?;
    desk.check(words == json!(["words-en", "later-words-en"]), &format!("{words}")).await?;
    desk.until_it_opens_offline().await?;
    rig.server.road.cut().await;
    desk.open("/settings").await?;
    for (language, title) in [("Deutsch", "Einstellungen"), ("Español", "Ajustes"), ("English", "Settings")] {
        desk.tick(language).await?;
        desk.until(
            "the title in that language",
            WITHIN,
            "return words(document.querySelector('main h1')) === arguments[0]",
            &[json!(title)],
        )
        .await?;
    }
    desk.tick("Deutsch").await?;
    desk.open("/about").await?;
    desk.until("the document to be German", WITHIN, "return document.documentElement.lang === 'de'", &[]).await?;
    // A caution keeps its English beside it, which is fetched for it.
    desk.see_css(".banner.caution .english").await
}

/// Another window of the app that has the turn to send and does nothing with it.
async fn window_with_the_turn(phone: &Browser) -> Result<()> {
    let other = "window.__other ??= window.open('/rescue.html', 'other'); return !!window.__other?.document?.querySelector('#main h1')";
    phone.until("another window", WITHIN, other, &[]).await?;
    let hold = "window.__held = false; window.__other.navigator.locks.request(arguments[0], { steal: true }, () => new Promise(() => { window.__held = true; })); return true";
    phone.js(hold, &[json!(format!("witnessmark-sync-{}", server::demo::ids::ASHDOWN))]).await?;
    phone.until("the turn to be held", WITHIN, "return window.__held", &[]).await.map(drop)
}

/// Sending never falls silent: a person is told why nothing moves, may take the turn, and need not.
#[tokio::test(flavor = "multi_thread")]
async fn a_turn_that_nobody_uses_is_taken_over() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    window_with_the_turn(&phone).await?;
    tick(&phone).await?;
    let go = "history.pushState(null, '', arguments[0]); dispatchEvent(new PopStateEvent('popstate')); return true";
    phone.js(go, &[json!("/tray")]).await?;
    phone.see("Another window of this app is sending").await?;
    look_at_this(&phone, "another-window-sends").await?;
    phone.press("Send now").await?;
    phone.see("This one goes on now.").await?;
    until_all_sent(&phone, WITHIN).await?;

    // Nobody presses anything: half a minute of the page's own clock, and what two cores need.
    window_with_the_turn(&phone).await?;
    crate::wifi::take_photo(&phone, job, 81).await?;
    until_all_sent(&phone, WITHIN * 4).await
}
