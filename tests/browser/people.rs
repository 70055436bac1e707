//! The demo firm's people as these tests use them, and the way in.

use std::time::{Duration, Instant};

use anyhow::Result;
use serde_json::json;
use tests::browser::{Browser, Screen, WITHIN};

use crate::rig::Rig;

/// Owner and lead; works in English.
pub const LEAD: &str = "marlow@larkfield.example";
/// Her name on lists.
pub const LEAD_NAME: &str = "Ida Marlow";
/// Another lead; works in German.
pub const OTHER_LEAD: &str = "quill@larkfield.example";
/// Technician; works in English.
pub const TECHNICIAN: &str = "ashdown@larkfield.example";
/// Their name on lists.
pub const TECHNICIAN_NAME: &str = "Wren Ashdown";
/// Office; works in English.
pub const OFFICE: &str = "pendle@larkfield.example";

/// A browser of this person's own, signed in and on their first screen.
pub async fn browser_of(rig: &Rig, email: &str, screen: Screen) -> Result<Browser> {
    let name = email.split('@').next().unwrap_or(email);
    let browser = Browser::start(name, &rig.server.address(), screen).await?;
    browser.open("/sign-in").await?;
    sign_in(&browser, email, server::demo::PASSWORD).await?;
    browser.until("the first screen behind the door", WITHIN, "return location.pathname !== '/sign-in'", &[]).await?;
    Ok(browser)
}

/// Fills in the sign-in and sends it.
pub async fn sign_in(browser: &Browser, email: &str, password: &str) -> Result<()> {
    browser.fill("E-mail", email).await?;
    browser.fill("Password", password).await?;
    browser.press("Sign in").await
}

/// Rows of the device's database that the server has not confirmed.
const WAITING: &str = r#"await (async () => {
  let waiting = 0;
  for (const { name } of await indexedDB.databases()) {
    if (!name.startsWith("witnessmark-")) continue;
    const db = await new Promise((good, bad) => { const open = indexedDB.open(name); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); });
    for (const store of ["entries", "photos"]) {
      waiting += await new Promise((good, bad) => { const all = db.transaction(store).objectStore(store).index("open").count(); all.onsuccess = () => good(all.result); all.onerror = () => bad(all.error); });
    }
    db.close();
  }
  return waiting;
})()"#;

/// Waits until nothing waits in the device's database, and then until the corner says so. A phone that lay without a network for long asks
/// seldom; whoever waits for it takes it in hand.
pub async fn until_all_sent(browser: &Browser, within: Duration) -> Result<()> {
    browser.touch().await?;
    let began = Instant::now();
    while browser.js_promise(WAITING).await? != json!(0) {
        browser.check(began.elapsed() < within, "the device's database to be confirmed by the server").await?;
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    let script = "return words(document.querySelector('.corner .sync')) === 'All sent'";
    browser.until("the corner to say that all is sent", within, script, &[]).await.map(drop)
}

/// A hundred photos over the loopback, decoded and turned by a server that is not optimised.
pub const SENT_WITHIN: Duration = Duration::from_secs(180);

/// A session that was lost with the killed process is opened again, as the screen asks for it; then everything goes out.
pub async fn until_sent(phone: &Browser) -> Result<()> {
    phone.touch().await?;
    let script = "const corner = words(document.querySelector('.corner .sync')); return ['Offline', 'Looking', 'no answer yet'].some((word) => corner.includes(word)) ? null : corner";
    let corner = phone.until("the corner to know the server", WITHIN * 2, script, &[]).await?;
    if corner == json!("Sign in to send") {
        phone.open("/sign-in").await?;
        sign_in(phone, TECHNICIAN, server::demo::PASSWORD).await?;
        phone.until("the first screen behind the door", WITHIN, "return location.pathname !== '/sign-in'", &[]).await?;
    }
    until_all_sent(phone, SENT_WITHIN).await
}
