//! "Keep photos on this phone until Wi-Fi": full photos wait with words, everything else goes, and "Send now" sends them once.

use anyhow::{Result, ensure};
use camera::Picture;
use domain::ids::JobId;
use serde_json::{Value, json};
use tests::browser::{Browser, WITHIN};

use crate::at_risk::before_each_page;
use crate::looks::look_at_this;
use crate::people::until_all_sent;
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, step_path};
use crate::step::{look, until};
use crate::tray::tick;

/// A line whose kind the test chooses while the page stands; `none`: a browser that does not say.
const LINE: &str = "Object.defineProperty(Navigator.prototype, 'connection', { configurable: true, get: () => {
  const type = localStorage.getItem('test-line') ?? 'wifi';
  return type === 'none' ? undefined : { type, saveData: false };
} });";

async fn line(phone: &Browser, kind: &str) -> Result<()> {
    phone.js("localStorage.setItem('test-line', arguments[0]); return true", &[json!(kind)]).await.map(drop)
}

/// What is not confirmed: entries, then photo files.
const OPEN: &str = r#"await (async () => {
  const name = (await indexedDB.databases()).map((one) => one.name).find((name) => name.startsWith("witnessmark-"));
  const db = await new Promise((good, bad) => { const open = indexedDB.open(name); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); });
  const count = (store) => new Promise((good, bad) => { const all = db.transaction(store).objectStore(store).index("open").count(); all.onsuccess = () => good(all.result); all.onerror = () => bad(all.error); });
  const found = [await count("entries"), await count("photos")];
  db.close();
  return found;
})()"#;

async fn until_open(phone: &Browser, wanted: Value) -> Result<()> {
    let began = std::time::Instant::now();
    loop {
        let open = phone.js_promise(OPEN).await?;
        if open == wanted {
            return Ok(());
        }
        phone.check(began.elapsed() < WITHIN, &format!("{wanted} entries and photos to wait, not {open}")).await?;
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
}

/// A photo for the first step; no two seeds look alike.
pub async fn take_photo(phone: &Browser, job: JobId, seed: u32) -> Result<()> {
    phone.open(&step_path(job, "arrive")).await?;
    let before = look(phone).await?.need("photo").map_or(0, |need| need.photos);
    if before > 0 {
        phone.press("One more photo").await?;
    }
    let folder = tempfile::tempdir()?;
    let file = folder.path().join("photo.jpg");
    std::fs::write(&file, Picture { width: 1_632, height: 1_224, orientation: 1, seed }.jpeg())?;
    phone.choose_files("input[type=file][data-photo=photo]:not([data-gallery])", &[&file]).await?;
    let kept = |now: &crate::step::StepView| now.need("photo").is_some_and(|need| need.photos == before + 1);
    until(phone, "the photo to be kept", WITHIN, kept).await.map(drop)
}

/// Photo files of the job that are at the server.
async fn arrived(rig: &Rig, job: JobId) -> Result<i64> {
    let pool = rig.server.db.owner_pool().await;
    let count = sqlx::query_scalar("select count(*) from photo_arrivals where job_id = $1").bind(job.uuid());
    let count = count.fetch_one(&pool).await?;
    pool.close().await;
    Ok(count)
}

#[tokio::test(flavor = "multi_thread")]
async fn photos_wait_for_wifi_with_words_and_facts_go() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    before_each_page(&phone, LINE).await?;
    phone.open("/tray").await?;
    phone.see("Now: Wi-Fi or a cable.").await?;
    phone.tick("Keep photos on this phone until Wi-Fi").await?;

    line(&phone, "cellular").await?;
    take_photo(&phone, job, 70).await?;
    tick(&phone).await?;
    until_open(&phone, json!([0, 1])).await?;
    ensure!(arrived(&rig, job).await? == 1, "the preview, and not the photo");
    phone.open("/tray").await?;
    phone.see("Photos wait for Wi-Fi").await?;
    phone.see("the connection is mobile data, and you chose to wait for Wi-Fi.").await?;
    phone.see("Now: mobile data").await?;
    phone.see("1 waiting").await?;
    look_at_this(&phone, "photos-wait").await?;
    phone.js("document.querySelector('[data-line]').scrollIntoView({ block: 'center' }); return true", &[]).await?;
    look_at_this(&phone, "photos-switch").await?;

    phone.press("Send now").await?;
    until_all_sent(&phone, WITHIN).await?;
    ensure!(arrived(&rig, job).await? == 2);

    take_photo(&phone, job, 71).await?;
    until_open(&phone, json!([0, 1])).await?;
    phone.open("/tray").await?;
    phone.see("Photos wait for Wi-Fi").await?;
    // Nobody presses anything: the garage's Wi-Fi is there.
    line(&phone, "wifi").await?;
    until_all_sent(&phone, WITHIN).await?;

    line(&phone, "none").await?;
    take_photo(&phone, job, 72).await?;
    until_open(&phone, json!([0, 1])).await?;
    phone.open("/tray").await?;
    phone.see("this browser does not say whether it is on one").await?;
    phone.press("Send now").await?;
    until_all_sent(&phone, WITHIN).await?;

    phone.tick("Keep photos on this phone until Wi-Fi").await?;
    line(&phone, "cellular").await?;
    take_photo(&phone, job, 73).await?;
    until_all_sent(&phone, WITHIN).await
}
