//! A preview stands upright whichever way a camera held its picture: it is unpacked at a part of its size by one decoder where the
//! browser has it, and by another where not.

use anyhow::{Context as _, Result, ensure};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use camera::{Picture, stands_upright};
use image::ImageReader;
use serde_json::json;
use tests::browser::Browser;
use tests::browser::WITHIN;

use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, step_path};
use crate::step::{look, until};

/// Long edge of a preview at most.
const EDGE: u32 = 1_280;
/// Every orientation that a camera writes.
const ORIENTATIONS: u8 = 8;

#[tokio::test(flavor = "multi_thread")]
async fn every_orientation_has_an_upright_preview_by_either_decoder() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    let has_decoder = phone.js("return typeof ImageDecoder === 'function'", &[]).await?;
    ensure!(
        has_decoder == json!(true),
        "this browser has no decoder for single pictures: half of this test would be empty"
    );
    let folder = tempfile::tempdir()?;
    for (round, without) in ["", "delete globalThis.ImageDecoder;"].into_iter().enumerate() {
        phone.open(&step_path(job, "arrive")).await?;
        look(&phone).await?;
        phone.js(&format!("{without} return true"), &[]).await?;
        for orientation in 1..=ORIENTATIONS {
            let seed = u32::try_from(round).unwrap_or(0) * 100 + u32::from(orientation);
            let file = folder.path().join(format!("{seed}.jpg"));
            // Lying and standing ones.
            let (width, height) = if orientation % 2 == 0 { (2_048, 1_536) } else { (1_536, 2_048) };
            std::fs::write(&file, Picture { width, height, orientation, seed }.jpeg())?;
            let before = look(&phone).await?.need("photo").map_or(0, |need| need.photos);
            if before > 0 && look(&phone).await?.at.as_deref() != Some("photo") {
                phone.press("One more photo").await?;
            }
            let chooser = "input[type=file][data-photo=photo]:not([data-gallery])";
            phone.choose_files(chooser, &[&file]).await?;
            until(&phone, "the photo to be kept", WITHIN, |now| {
                now.need("photo").is_some_and(|need| need.photos == before + 1)
            })
            .await?;
        }
        let previews = previews(&phone).await?;
        ensure!(previews.len() == usize::from(ORIENTATIONS) * (round + 1), "{} previews", previews.len());
        for bytes in previews {
            let picture = ImageReader::new(std::io::Cursor::new(bytes)).with_guessed_format()?.decode()?.to_rgb8();
            let (width, height) = picture.dimensions();
            ensure!(width.max(height) == EDGE, "a preview has {width} by {height} pixels");
            phone.check(stands_upright(&picture), "a preview stands upright").await?;
        }
    }
    Ok(())
}

/// Bytes of every preview in the device's database.
async fn previews(phone: &Browser) -> Result<Vec<Vec<u8>>> {
    let script = format!(
        r#"await (async () => {{
          const names = (await indexedDB.databases()).map((one) => one.name).filter((name) => name.startsWith("witnessmark-"));
          const db = await new Promise((good, bad) => {{ const open = indexedDB.open(names[0]); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); }});
          const all = await new Promise((good, bad) => {{ const all = db.transaction("photo_bytes").objectStore("photo_bytes").getAll(); all.onsuccess = () => good(all.result); all.onerror = () => bad(all.error); }});
          const key = await new Promise((good, bad) => {{ const get = db.transaction("keys").objectStore("keys").get("rows"); get.onsuccess = () => good(get.result); get.onerror = () => bad(get.error); }});
          db.close();
          // The mark of sealed bytes is 8 long, the number after it 12.
          const opened = (buffer) => new Uint8Array(buffer)[0] === 1
            ? crypto.subtle.decrypt({{ name: "AES-GCM", iv: buffer.slice(8, 20) }}, key, buffer.slice(20))
            : buffer;
          const text = (buffer) => {{ let out = ""; for (const byte of new Uint8Array(buffer)) out += String.fromCharCode(byte); return btoa(out); }};
          const small = [];
          for (const kept of all) {{
            const buffer = await opened(kept);
            const picture = await createImageBitmap(new Blob([buffer]));
            if (Math.max(picture.width, picture.height) <= {EDGE}) small.push(text(buffer));
            picture.close();
          }}
          return small;
        }})()"#
    );
    let found = phone.js_promise(&script).await?;
    let found = found.as_array().context("a list of previews")?;
    found.iter().map(|text| Ok(STANDARD.decode(text.as_str().context("text")?)?)).collect()
}
