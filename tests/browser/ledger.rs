//! What the device says it saved, compared with what the server holds: by id and by hash, each exactly once.

use std::collections::BTreeMap;

use anyhow::{Context as _, Result, ensure};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use domain::ids::{Hash32, JobId};
use domain::tray::{Delivery, EntryRow, PhotoDelivery, PhotoRow};
use serde::Deserialize;
use sqlx::Row as _;
use tests::browser::Browser;
use tests::server_process::ServerProcess;

/// All rows of the device's database, bytes as base64.
const READ: &str = r#"
  const names = (await indexedDB.databases()).map((one) => one.name).filter((name) => name.startsWith("witnessmark-"));
  if (names.length !== 1) throw new Error(`databases: ${names}`);
  const db = await new Promise((good, bad) => { const open = indexedDB.open(names[0]); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); });
  const rows = (store) => new Promise((good, bad) => { const all = db.transaction(store).objectStore(store).getAll(); all.onsuccess = () => good(all.result); all.onerror = () => bad(all.error); });
  const asked = (work) => new Promise((good, bad) => { const one = work(); one.onsuccess = () => good(one.result); one.onerror = () => bad(one.error); });
  const key = await asked(() => db.transaction("keys").objectStore("keys").get("rows"));
  const part = (bytes, at) => {
    const wide = { 24: 1, 25: 2, 26: 4 }[bytes[at] & 31] ?? 0;
    let length = wide ? 0 : bytes[at] & 31;
    for (let n = 1; n <= wide; n++) length = length * 256 + bytes[at + n];
    return [at + 1 + wide, at + 1 + wide + length];
  };
  // The envelope of an entry in the clear, as the page itself opens it.
  const envelope = async (row) => {
    const kept = row.subarray(...part(row, 3));
    if (kept[0] !== 1) return kept;
    const [, header] = part(kept, 10);
    const sealed = kept.subarray(...part(kept, header + 1));
    return new Uint8Array(await crypto.subtle.decrypt({ name: "AES-GCM", iv: sealed.subarray(0, 12) }, key, sealed.subarray(12)));
  };
  const text = (bytes) => { let out = ""; for (const byte of bytes) out += String.fromCharCode(byte); return btoa(out); };
  const plain = (row) => ({ id: row.id ?? row.key, job: row.job, row: text(row.row) });
  const opened = async (row) => ({ ...plain(row), envelope: text(await envelope(row.row)) });
  const found = { entries: await Promise.all((await rows("entries")).map(opened)), photos: (await rows("photos")).map(plain) };
  db.close();
  return found;"#;

#[derive(Deserialize)]
struct Raw {
    id: String,
    job: String,
    row: String,
    /// Of an entry, in the clear.
    #[serde(default)]
    envelope: String,
}

#[derive(Deserialize)]
struct RawRows {
    entries: Vec<Raw>,
    photos: Vec<Raw>,
}

/// What is on a device.
pub struct OnDevice {
    /// Of the job: entry id to the hash of its bytes, and whether the server has confirmed it.
    pub entries: BTreeMap<String, (Hash32, bool)>,
    /// Of the job: hash to size, and whether the server has confirmed it.
    pub photos: BTreeMap<Hash32, (u64, bool)>,
}

impl OnDevice {
    /// Reads the device's own database.
    pub async fn read(browser: &Browser, job: JobId) -> Result<Self> {
        let value = browser.js_promise(&format!("await (async () => {{ {READ} }})()")).await?;
        let raw: RawRows = serde_json::from_value(value).context("the rows of the device")?;
        let of_job = |raw: &&Raw| raw.job == job.to_string();
        let mut entries = BTreeMap::new();
        for raw in raw.entries.iter().filter(of_job) {
            let row =
                EntryRow::read(&STANDARD.decode(&raw.row)?).map_err(|why| anyhow::anyhow!("{}: {why:?}", raw.id))?;
            entries.insert(
                raw.id.clone(),
                (Hash32::sha256(&STANDARD.decode(&raw.envelope)?), row.delivery == Delivery::Confirmed),
            );
        }
        let mut photos = BTreeMap::new();
        for raw in raw.photos.iter().filter(of_job) {
            let row =
                PhotoRow::read(&STANDARD.decode(&raw.row)?).map_err(|why| anyhow::anyhow!("{}: {why:?}", raw.id))?;
            let confirmed = matches!(row.delivery, PhotoDelivery::Confirmed { .. });
            photos.insert(row.file.hash, (row.file.bytes, confirmed));
        }
        Ok(Self { entries, photos })
    }

    /// Things that the server has not confirmed.
    pub fn waiting(&self) -> usize {
        let entries = self.entries.values().filter(|(_, confirmed)| !confirmed).count();
        entries + self.photos.values().filter(|(_, confirmed)| !confirmed).count()
    }

    /// Every entry and photo that is here is at the server once, with the same bytes.
    pub async fn is_held_by(&self, server: &ServerProcess, job: JobId) -> Result<()> {
        let pool = server.db.owner_pool().await;
        let rows = sqlx::query("select entry_id::text as id, envelope from entries where job_id = $1")
            .bind(job.uuid())
            .fetch_all(&pool)
            .await?;
        let mut at_server: BTreeMap<String, Vec<Hash32>> = BTreeMap::new();
        for row in &rows {
            at_server.entry(row.get("id")).or_default().push(Hash32::sha256(row.get::<&[u8], _>("envelope")));
        }
        for (id, (hash, _)) in &self.entries {
            ensure!(
                at_server.get(id) == Some(&vec![*hash]),
                "entry {id} of the device is at the server as {:?}",
                at_server.get(id)
            );
        }
        let held: i64 = sqlx::query_scalar("select count(*) from held_entries where job_id = $1")
            .bind(job.uuid())
            .fetch_one(&pool)
            .await?;
        ensure!(held == 0, "{held} entries are held");
        let arrived: Vec<Vec<u8>> =
            sqlx::query_scalar("select sha256 from photo_arrivals where job_id = $1 order by sha256")
                .bind(job.uuid())
                .fetch_all(&pool)
                .await?;
        for (hash, (bytes, _)) in &self.photos {
            ensure!(
                arrived.iter().filter(|own| own[..] == hash.bytes()[..]).count() == 1,
                "photo {hash} did not arrive once"
            );
            let file = stored_file(server, *hash)?;
            ensure!(
                file.len() as u64 == *bytes && Hash32::sha256(&file) == *hash,
                "photo {hash} lies in the store with other bytes"
            );
        }
        ensure!(
            arrived.len() == self.photos.len(),
            "{} photos at the server, {} on the device",
            arrived.len(),
            self.photos.len()
        );
        pool.close().await;
        Ok(())
    }
}

/// The bytes of a photo in the server's folder.
fn stored_file(server: &ServerProcess, hash: Hash32) -> Result<Vec<u8>> {
    for firm in std::fs::read_dir(server.photo_folder())? {
        let file = firm?.path().join(hash.hex());
        if file.is_file() {
            return Ok(std::fs::read(file)?);
        }
    }
    anyhow::bail!("photo {hash} is not in the store")
}
