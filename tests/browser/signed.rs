//! A phone signs what it records, without a network and through a kill, with a key that nobody can take out of it.

use anyhow::{Context as _, Result, ensure};
use domain::ids::{DeviceId, JobId};
use domain::job_file::Entry;
use domain::job_file::signature::{Signed, check};
use serde_json::json;
use sqlx::Row as _;
use tests::browser::{Browser, WITHIN};
use uuid::Uuid;

use crate::people::{until_all_sent, until_sent};
use crate::photos;
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, step_path};
use crate::step::{Hands, give_photo, look, press_main, until};

/// What the browser says when it is asked for the bytes of the keys that it keeps, in every form.
const EXPORT: &str = r#"await (async () => {
  const name = (await indexedDB.databases()).map((one) => one.name).find((name) => name.startsWith("witnessmark-"));
  const db = await new Promise((good, bad) => { const open = indexedDB.open(name); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); });
  const all = (work) => new Promise((good, bad) => { const asked = work(db.transaction("keys").objectStore("keys")); asked.onsuccess = () => good(asked.result); asked.onerror = () => bad(asked.error); });
  const names = await all((keys) => keys.getAllKeys());
  const kept = await all((keys) => keys.get(names.find((one) => one.startsWith("sign/"))));
  db.close();
  const told = {};
  for (const form of ["raw", "pkcs8", "jwk"]) {
    told[form] = await crypto.subtle.exportKey(form, kept.private).then(() => "given", (refused) => refused.name);
  }
  return { told, type: kept.private.type, extractable: kept.private.extractable, fields: Object.keys(kept).sort().join() };
})()"#;

/// The entries of the job by technicians' devices, with the key that the server knows of each device.
async fn at_server(rig: &Rig, job: JobId) -> Result<Vec<(DeviceId, Entry, Option<Vec<u8>>)>> {
    let pool = rig.server.db.owner_pool().await;
    let rows = sqlx::query(
        "select e.envelope, d.id, d.key from entries e join devices d on d.firm_id = e.firm_id and d.id = e.device_id
         where e.job_id = $1 and d.label <> 'server' order by e.position",
    )
    .bind(job.uuid())
    .fetch_all(&pool)
    .await?;
    pool.close().await;
    rows.iter()
        .map(|row| {
            let entry = Entry::read(row.get("envelope")).map_err(|why| anyhow::anyhow!("{why:?}"))?;
            Ok((DeviceId::of(row.get::<Uuid, _>("id")), entry, row.get("key")))
        })
        .collect()
}

async fn record_through_a_kill(phone: &mut Browser, job: JobId) -> Result<()> {
    let folder = tempfile::tempdir()?;
    let method = crate::answers::built_in_method()?;
    let mut hands = Hands::new(&method, photos::make_small(folder.path(), 1)?);
    give_photo(phone, &mut hands, "photo").await?;
    until(phone, "the photo to be kept", WITHIN, |now| now.need("photo").is_some_and(|need| need.state == "met"))
        .await?;
    phone.kill().await?;
    phone.reopen().await?;
    phone.open(&step_path(job, "arrive")).await?;
    look(phone).await?;
    press_main(phone, "Confirm").await?;
    until(phone, "the step to be done", WITHIN, |now| now.state == "satisfied").await.map(drop)
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_phone_records_offline_and_through_a_kill_is_signed_with_a_key_that_stays_in_it() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut phone = phone_on_first_step(&rig, job).await?;
    until_all_sent(&phone, WITHIN).await?;
    rig.server.road.cut().await;
    record_through_a_kill(&mut phone, job).await?;
    rig.server.road.heal().await;
    until_sent(&phone).await?;

    let entries = at_server(&rig, job).await?;
    let (device, ..) = entries.last().context("entries of the phone")?;
    let own: Vec<_> = entries.iter().filter(|(by, ..)| by == device).collect();
    ensure!(own.len() >= 2, "photo and confirmation: {}", own.len());
    for (_, entry, key) in &own {
        let key = key.as_deref().context("the server knows the key of the phone")?;
        ensure!(check(entry, Some(key)) == Signed::Good, "entry {} verifies", entry.header.id);
        let mut other = key.to_vec();
        let last = other.len() - 1;
        other[last] ^= 1;
        ensure!(check(entry, Some(&other)) == Signed::Bad, "and under no other key");
    }
    let found =
        rig.server.sign_in(crate::people::LEAD, server::demo::PASSWORD).await?.get(&format!("/api/jobs/{job}")).await;
    ensure!(found.body["findings"] == json!(0), "{}", found.body);

    let export = phone.js_promise(EXPORT).await?;
    let refused = json!({ "raw": "InvalidAccessError", "pkcs8": "InvalidAccessError", "jwk": "InvalidAccessError" });
    ensure!(export["type"] == json!("private") && export["extractable"] == json!(false), "{export}");
    ensure!(export["fields"] == json!("private,public"), "nothing else of it lies there: {export}");
    ensure!(export["told"] == refused, "{export}");
    Ok(())
}
