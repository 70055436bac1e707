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
  // Words on a button are whole: each line of them lies inside it.
  for (const one of all("button, a.act, label.act")) {
    const frame = one.getBoundingClientRect();
    const text = document.createRange();
    text.selectNodeContents(one.querySelector("span:not(.unseen)") ?? one);
    const cut = [...text.getClientRects()].some((line) => line.width > 0
      && (line.left < frame.left - 1 || line.right > frame.right + 1 || line.top < frame.top - 1 || line.bottom > frame.bottom + 1));
    if (cut) faults.push(`words cut off: ${name(one)}`);
  }
  for (const one of all(".table-scroll")) if (one.scrollWidth > one.clientWidth + 1) faults.push(`columns beyond the edge: ${one.scrollWidth} in ${one.clientWidth}`);
  for (const part of all(".gate-road .post, .gate-road .leaf")) {
    const [own, frame] = [part, part.closest("svg")].map((one) => one.getBoundingClientRect());
    if (own.left < frame.left || own.right > frame.right || own.top < frame.top || own.bottom > frame.bottom) faults.push("the gate is not whole");
  }
  for (const line of all(".drawing .unit text")) {
    const room = line.parentElement.querySelector("rect").width.baseVal.value;
    const box = line.getBBox();
    if (box.x < 0 || box.x + box.width > room) faults.push(`"${line.textContent}" runs over its unit: ${box.x + box.width} in ${room}`);
  }
  const bottom = document.querySelector(".bottom")?.getBoundingClientRect();
  if (bottom && (bottom.left < -1 || bottom.right > innerWidth + 1 || bottom.bottom > innerHeight + 1)) faults.push("the bottom bar is out of sight");
  const skeleton = document.querySelector(".skeleton");
  if (skeleton && inSight(skeleton)) faults.push("still waits for its content");
  return faults;"#;
/// The screen stands still: its content is there.
const SETTLED: &str = "return !!document.querySelector('main h1') && words(document.querySelector('main h1')) !== '' && !all('.skeleton').length";

/// Has many columns beside the rail.
const TABLET: Screen = Screen { width: 1024, height: 768, scale: 1, mobile: false };
/// The narrowest phone that is still in use.
const NARROW: Screen = Screen { width: 320, height: 640, scale: 2, mobile: true };

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

/// Half of all people over fifty make the text of their phone larger; at twice the size nothing may be cut or pushed out of sight.
#[tokio::test(flavor = "multi_thread")]
async fn at_twice_the_text_and_on_the_narrowest_phone_nothing_is_lost() -> Result<()> {
    let rig = Rig::demo_with_jobs().await?;
    let mut phone = start(&rig, TECHNICIAN, PHONE).await?;
    phone.open("/day").await?;
    let job = first_href(&phone, "/jobs/").await?;
    phone.open(&job).await?;
    let step = first_href(&phone, &format!("{job}/steps/")).await?;
    // One of the last stage waits behind a gate.
    phone.js("all('.stage-head').forEach((one) => one.getAttribute('aria-expanded') === 'false' && one.click()); return true", &[]).await?;
    let last = "return [...document.querySelectorAll('main ol.steps a')].at(-1)?.getAttribute('href')";
    let behind = phone.until("the last step", WITHIN, last, &[]).await?.as_str().unwrap_or_default().to_owned();

    let mut faults = Vec::new();
    for (name, path) in [
        ("day-sheet", "/day"),
        ("job", job.as_str()),
        ("step", step.as_str()),
        ("gate", behind.as_str()),
        ("tray", "/tray"),
    ] {
        phone.open(path).await?;
        for (size, screen, text) in
            [("text-200", PHONE, "225%"), ("narrow", NARROW, ""), ("narrow-200", NARROW, "225%")]
        {
            phone.set_screen(screen).await?;
            phone.until(&format!("{name} to stand"), WITHIN, SETTLED, &[]).await?;
            phone.js("document.documentElement.style.fontSize = arguments[0]; return true", &[json!(text)]).await?;
            let found = phone.js(FAULTS, &[json!(true)]).await?;
            phone.picture(&target_folder().join(format!("looks/{name}-{size}.png"))).await?;
            let found = found.as_array().cloned().unwrap_or_default();
            faults.extend(found.iter().map(|fault| format!("{name} ({size}): {}", fault.as_str().unwrap_or_default())));
        }
    }
    anyhow::ensure!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults.join("\n"));
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn tables_are_whole_on_a_tablet() -> Result<()> {
    let rig = Rig::demo_with_jobs().await?;
    let office = start(&rig, OFFICE, TABLET).await?;
    let mut faults = Vec::new();
    for (name, path) in [
        ("units", "/units"),
        ("catalogue", "/catalogue"),
        ("instruments", "/catalogue?part=instruments"),
        ("registration", "/registration"),
    ] {
        office.open(path).await?;
        office.until(&format!("{name} to stand"), WITHIN, SETTLED, &[]).await?;
        office.until(&format!("rows of {name}"), WITHIN, "return all('main table tbody tr').length > 0", &[]).await?;
        let found = office.js(FAULTS, &[json!(false)]).await?;
        office.picture(&target_folder().join(format!("looks/{name}-tablet.png"))).await?;
        let found = found.as_array().cloned().unwrap_or_default();
        faults.extend(found.iter().map(|fault| format!("{name}: {}", fault.as_str().unwrap_or_default())));
    }
    anyhow::ensure!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults.join("\n"));
    Ok(())
}

/// Smoke in a garage: what can be chosen is on the screen, and the buttons leave it there.
#[tokio::test(flavor = "multi_thread")]
async fn stop_work_shows_its_causes_at_once() -> Result<()> {
    let rig = Rig::demo_with_jobs().await?;
    let phone = start(&rig, TECHNICIAN, PHONE).await?;
    phone.open("/day").await?;
    let job = first_href(&phone, "/jobs/").await?;
    phone.open(&job).await?;
    phone.press("Stop work").await?;
    let seen = r#"
      const body = document.querySelector("dialog[open] .sheet-body");
      if (!body) return null;
      const end = body.getBoundingClientRect().bottom;
      const causes = [...body.querySelectorAll(".stop-cause")].map((one) => one.getBoundingClientRect().bottom <= end && one.offsetHeight >= 56);
      const acts = [...document.querySelectorAll("dialog[open] .sheet-acts .act")].map((one) => one.getBoundingClientRect().height);
      return { causes, acts };"#;
    let seen = phone.until("the dialog", WITHIN, seen, &[]).await?;
    phone.picture(&target_folder().join("looks/stop-work-phone.png")).await?;
    phone
        .check(seen["causes"] == json!([true, true, true, true, true]), &format!("causes out of sight: {seen}"))
        .await?;
    let low = seen["acts"]
        .as_array()
        .is_some_and(|acts| acts.iter().all(|high| high.as_f64().is_some_and(|high| high < 90.0)));
    phone.check(low, &format!("buttons too high: {seen}")).await?;

    // The second tap stops the work; what follows it is whole on the screen as well.
    phone.press_css("dialog[open] .stop-cause").await?;
    phone.see("Emergency call").await?;
    phone.picture(&target_folder().join("looks/stopped-phone.png")).await
}
