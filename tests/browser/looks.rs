//! The main screens of each role on a small phone and on a desk, light and dark: nothing scrolls sideways, everything can be hit with
//! a thumb, and a picture of each lies in `target/looks/` for a person to look at.

use anyhow::Result;
use serde_json::{Value, json};
use tests::browser::{Browser, DESK, PHONE, Screen, WITHIN, target_folder};

use crate::people::{LEAD, OFFICE, TECHNICIAN, browser_of};
use crate::rig::Rig;

/// What is wrong with the screen, in words; empty when nothing is. A target may be small inside a line of text.
const FAULTS: &str = r#"
  const faults = [];
  const root = document.documentElement;
  if (root.scrollWidth > root.clientWidth) faults.push(`scrolls sideways: ${root.scrollWidth} in ${root.clientWidth}`);
  const name = (one) => `${one.tagName.toLowerCase()}.${one.className} "${nameOf(one).slice(0, 40)}"`;
  const high = (one) => Math.round(one.getBoundingClientRect().height * 10) / 10;
  const phone = arguments[0];
  for (const one of all("button, a.act, a.row-link, a.icon-link, label.act, select, input:not([type=checkbox]):not([type=radio]):not([type=file]), label.tick")) {
    if (high(one) < 44) faults.push(`${high(one)} px high: ${name(one)}`);
  }
  if (phone) for (const one of all(".bottom .act.main")) if (high(one) < 56) faults.push(`main action ${high(one)} px high: ${name(one)}`);
  const skeleton = document.querySelector(".skeleton");
  if (skeleton && inSight(skeleton)) faults.push("still waits for its content");
  return faults;"#;
/// The screen stands still: its content is there.
const SETTLED: &str = "return !!document.querySelector('main h1') && words(document.querySelector('main h1')) !== '' && !all('.skeleton').length";

async fn look_at(browser: &mut Browser, name: &str, path: &str, faults: &mut Vec<String>) -> Result<()> {
    browser.open(path).await?;
    for (size, screen) in [("phone", PHONE), ("desk", DESK)] {
        browser.set_screen(screen).await?;
        for dark in [false, true] {
            browser.set_dark(dark).await?;
            browser.until(&format!("{name} to stand"), WITHIN, SETTLED, &[]).await?;
            let found = browser.js(FAULTS, &[json!(screen == PHONE)]).await?;
            let light = if dark { "dark" } else { "light" };
            browser.picture(&target_folder().join(format!("looks/{name}-{size}-{light}.png"))).await?;
            if let Value::Array(found) = found {
                faults.extend(
                    found
                        .iter()
                        .map(|fault| format!("{name} ({size}, {light}): {}", fault.as_str().unwrap_or_default())),
                );
            }
        }
    }
    Ok(())
}

/// The screen that a phone shows now, light and dark: nothing is wrong with it, and a picture of each lies with the others.
pub async fn look_at_this(phone: &Browser, name: &str) -> Result<()> {
    for (dark, light) in [(false, "light"), (true, "dark")] {
        phone.set_dark(dark).await?;
        phone.until(&format!("{name} to stand"), WITHIN, SETTLED, &[]).await?;
        let found = phone.js(FAULTS, &[json!(true)]).await?;
        phone.picture(&target_folder().join(format!("looks/{name}-phone-{light}.png"))).await?;
        phone.check(found == json!([]), &format!("{name}, {light}: {found}")).await?;
    }
    phone.set_dark(false).await
}

async fn first_href(browser: &Browser, starts: &str) -> Result<String> {
    let script = "return document.querySelector(`main a[href^='${arguments[0]}']`)?.getAttribute('href')";
    let href = browser.until(&format!("a link to {starts}"), WITHIN, script, &[json!(starts)]).await?;
    Ok(href.as_str().unwrap_or_default().to_owned())
}

async fn start(rig: &Rig, email: &str, screen: Screen) -> Result<Browser> {
    browser_of(rig, email, screen).await
}

#[tokio::test(flavor = "multi_thread")]
async fn screens_fit_and_can_be_hit() -> Result<()> {
    let rig = Rig::demo_with_jobs().await?;
    let mut faults = Vec::new();

    let mut nobody = Browser::start("nobody", &rig.server.address(), PHONE).await?;
    look_at(&mut nobody, "sign-in", "/sign-in", &mut faults).await?;
    drop(nobody);

    let mut phone = start(&rig, TECHNICIAN, PHONE).await?;
    look_at(&mut phone, "day-sheet", "/day", &mut faults).await?;
    phone.set_screen(PHONE).await?;
    let job = first_href(&phone, "/jobs/").await?;
    look_at(&mut phone, "job", &job, &mut faults).await?;
    look_at(&mut phone, "test-sheet", &format!("{job}/tests"), &mut faults).await?;
    phone.open(&job).await?;
    let step = first_href(&phone, &format!("{job}/steps/")).await?;
    look_at(&mut phone, "step", &step, &mut faults).await?;
    for (name, path) in [("tray", "/tray"), ("menu", "/menu"), ("settings", "/settings"), ("sign-out", "/sign-out")] {
        look_at(&mut phone, name, path, &mut faults).await?;
    }
    drop(phone);

    let mut lead = start(&rig, LEAD, DESK).await?;
    look_at(&mut lead, "crew-plan", "/plan", &mut faults).await?;
    let desk = first_href(&lead, "/desk/").await?;
    look_at(&mut lead, "job-desk", &desk, &mut faults).await?;
    look_at(&mut lead, "design-sheet", &format!("{desk}/design"), &mut faults).await?;
    for (name, path) in [("plan-job", "/plan/new"), ("people", "/people"), ("catalogue", "/catalogue")] {
        look_at(&mut lead, name, path, &mut faults).await?;
    }
    drop(lead);

    let mut office = start(&rig, OFFICE, DESK).await?;
    for (name, path) in [("registration", "/registration"), ("units", "/units")] {
        look_at(&mut office, name, path, &mut faults).await?;
    }
    drop(office);

    faults.sort();
    faults.dedup();
    anyhow::ensure!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults.join("\n"));
    Ok(())
}
