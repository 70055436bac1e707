//! Serial numbers are scanned where a browser has no reader of codes, and where the camera sees none there are other ways. The camera
//! is the browser's own fake one and shows a clip that is made here.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use anyhow::{Context as _, Result};
use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder as _};
use rxing::{BarcodeFormat, EncodeHints, MultiFormatWriter, Writer as _};
use serde_json::json;
use tests::browser::{Browser, WITHIN};

use crate::odd_devices::{SERIAL, before_each_page};
use crate::people::{TECHNICIAN, until_all_sent};
use crate::rig::Rig;
use crate::small_job::{plan_of, used_phone};
use crate::step::{look, until};

/// What the camera shows, in pixels.
const WIDE: usize = 1_280;
const HIGH: usize = 720;
/// Pixels a module of the code.
const MODULE: usize = 5;
const CODE_HIGH: usize = 220;
const NO_READER: &str = "delete globalThis.BarcodeDetector;";
const READ: &str = "return document.querySelector('dialog[open] .read-value')?.innerText ?? null";
/// How long the app waits before it offers other ways, and what a busy machine may add.
const OFFERED: [Duration; 2] = [Duration::from_millis(4_900), Duration::from_secs(30)];

/// Grey values of a plate with a code of bars in its middle, and grain all over.
fn plate(text: &str, [black, white]: [u8; 2]) -> Result<Vec<u8>> {
    let hints = EncodeHints { Margin: Some("0".to_owned()), ..EncodeHints::default() };
    let code = MultiFormatWriter.encode_with_hints(text, &BarcodeFormat::CODE_128, 0, 0, &hints)?;
    let wide = code.width() as usize * MODULE;
    let (left, top) = ((WIDE - wide) / 2, (HIGH - CODE_HIGH) / 2);
    let mut grain = 1_u32;
    let pixel = |at: usize| {
        let (x, y) = ((at % WIDE).wrapping_sub(left), (at / WIDE).wrapping_sub(top));
        let bar = (x < wide && y < CODE_HIGH).then_some(x / MODULE).and_then(|module| u32::try_from(module).ok());
        grain = grain.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let paper = if bar.is_some_and(|bar| code.get(bar, 0)) { black } else { white };
        paper.saturating_add(grain.to_be_bytes()[0] % 6)
    };
    Ok((0..WIDE * HIGH).map(pixel).collect())
}

/// A clip as the browser's fake camera reads it: one picture, over and over.
fn clip(folder: &Path, grey: &[u8]) -> Result<PathBuf> {
    let mut bytes = format!("YUV4MPEG2 W{WIDE} H{HIGH} F10:1 Ip A1:1 C420mpeg2\n").into_bytes();
    for _ in 0..2 {
        bytes.extend(b"FRAME\n");
        bytes.extend(grey);
        // No colour.
        bytes.extend(std::iter::repeat_n(128, grey.len() / 2));
    }
    let file = folder.join("camera.y4m");
    std::fs::write(&file, bytes)?;
    Ok(file)
}

fn photo(folder: &Path, name: &str, grey: &[u8]) -> Result<PathBuf> {
    let mut bytes = Vec::new();
    let (wide, high) = (u32::try_from(WIDE)?, u32::try_from(HIGH)?);
    JpegEncoder::new_with_quality(&mut bytes, 80).write_image(grey, wide, high, ExtendedColorType::L8)?;
    let file = folder.join(name);
    std::fs::write(&file, bytes)?;
    Ok(file)
}

/// A phone that was installed just now, with this before its camera, without a network, on a step that asks for a serial number.
async fn phone_on_plate(rig: &Rig, clip: PathBuf, script: &str) -> Result<Browser> {
    let method = domain::method::load::from_toml(&tests::phone::method_text("test-serial", SERIAL))?;
    let job = plan_of(rig, method, &[TECHNICIAN], Vec::new()).await?;
    let mut phone = used_phone(rig).await?;
    phone.close().await?;
    phone.put_before_camera(clip);
    phone.reopen().await?;
    phone.open("/day").await?;
    phone.press("Lane 7").await?;
    until_all_sent(&phone, WITHIN).await?;
    rig.server.road.cut().await;
    before_each_page(&phone, script).await?;
    phone.open(&format!("/jobs/{job}/steps/plates/1")).await?;
    look(&phone).await?;
    Ok(phone)
}

/// Fault 10: without a reader of the browser's own, or with one that only says that it is there, on a fresh install and without a
/// network, a code is read by the reader of the shell. What was read counts once a person has looked at it.
#[tokio::test(flavor = "multi_thread")]
async fn a_code_is_read_offline_where_the_browser_has_no_reader() -> Result<()> {
    let folder = tempfile::tempdir()?;
    let rig = Rig::demo().await?;
    let clip = clip(folder.path(), &plate("WM-2600417", [20, 230])?)?;
    let phone = phone_on_plate(&rig, clip, NO_READER).await?;
    let loaded = "return performance.getEntriesByType('resource').some((one) => one.name.includes('part-reader'))";
    let early = phone.js(loaded, &[]).await?;
    phone.check(early == json!(false), "the reader is not loaded before somebody scans").await?;

    phone.press("Scan the label").await?;
    let read = phone.until("the code", WITHIN, READ, &[]).await?;
    phone.check(read == json!("WM-2600417"), &format!("what is on the label: {read}")).await?;
    // Nothing is taken unseen.
    let field = phone.js("return document.querySelector('section.at-work input')?.value ?? 'none'", &[]).await?;
    phone.check(field == json!(""), &format!("nothing is taken before a person says so: {field}")).await?;
    phone.press("Look again").await?;
    phone.until("the code once more", WITHIN, READ, &[]).await?;
    phone.press("Yes, take it").await?;
    let again = phone.js("return !!findField('Serial number once more')", &[]).await?;
    phone.check(again == json!(false), "what a machine read is not typed").await?;
    phone.press_css(".bottom .act.main").await?;
    let met = |now: &crate::step::StepView| now.need("serial").is_some_and(|need| need.state == "met");
    until(&phone, "the serial to be kept", WITHIN, met).await?;
    phone.see("read by camera").await?;

    // One that sees nothing and says that it sees everything.
    let pretends = "globalThis.BarcodeDetector = class { static async getSupportedFormats() { return ['data_matrix', 'qr_code', 'code_128', 'code_39', 'itf']; } async detect() { return []; } };";
    before_each_page(&phone, pretends).await?;
    let next = phone.path().await?.replace("/plates/1", "/plates/2");
    phone.open(&next).await?;
    look(&phone).await?;
    phone.press("Scan the label").await?;
    let read = phone.until("the code", WITHIN, READ, &[]).await?;
    phone.check(read == json!("WM-2600417"), &format!("what is on the label: {read}")).await
}

/// Fault 11: in the dark nobody searches for ever. After five seconds there are a photo and the keys; what is typed is called typed.
/// A light is offered where the camera has one, and only there.
#[tokio::test(flavor = "multi_thread")]
async fn in_the_dark_there_are_other_ways_after_five_seconds() -> Result<()> {
    let folder = tempfile::tempdir()?;
    let rig = Rig::demo().await?;
    // All alike but for grain.
    let clip = clip(folder.path(), &plate("WM-2600417", [14, 14])?)?;
    let phone = phone_on_plate(&rig, clip, NO_READER).await?;
    let offered = "return !!findPressable('Type the serial number')";
    let light = "return !!findPressable('Light on')";
    phone.press("Scan the label").await?;
    let began = Instant::now();
    let live = "const video = findCss('video.scan'); return video?.videoWidth > 0 && !video.paused";
    phone.until("the picture of the camera", WITHIN, live, &[]).await?;
    phone.check(phone.js(light, &[]).await? == json!(false), "no light is offered where there is none").await?;
    phone.until("another way", WITHIN, offered, &[]).await?;
    let after = began.elapsed();
    let in_time = after >= OFFERED[0] && after <= OFFERED[1];
    phone.check(in_time, &format!("other ways are offered after five seconds: {after:?}")).await?;
    phone.check(phone.js(live, &[]).await? == json!(true), "the camera looks on meanwhile").await?;

    let chooser = "dialog[open] input[data-label-photo]";
    let blank = photo(folder.path(), "blank.jpg", &plate("WM-1", [200, 200])?)?;
    phone.choose_files(chooser, &[&blank]).await?;
    phone.see("No code can be read in this photo.").await?;
    let closed = phone.js("return !findCss('video.scan')", &[]).await?;
    phone.check(closed == json!(true), "the camera is closed while a photo is read").await?;
    let label = photo(folder.path(), "label.jpg", &plate("WM-2600417", [30, 220])?)?;
    phone.choose_files(chooser, &[&label]).await?;
    let read = phone.until("the code of the photo", WITHIN, READ, &[]).await?;
    phone.check(read == json!("WM-2600417"), &format!("what is on the label: {read}")).await?;
    phone.press("Yes, take it").await?;

    // Changed by hand, it was typed.
    phone.fill("Serial number", "WM-2600418").await?;
    phone.fill("Serial number once more", "WM-2600418").await?;
    phone.press_css(".bottom .act.main").await?;
    let met = |now: &crate::step::StepView| now.need("serial").is_some_and(|need| need.state == "met");
    until(&phone, "the serial to be kept", WITHIN, met).await?;
    phone.see("typed twice").await?;
    lit(&phone).await
}

/// A camera with a light: offered, switched, and let go with its camera.
async fn lit(phone: &Browser) -> Result<()> {
    let light = "const track = MediaStreamTrack.prototype, real = track.stop; window.wished = []; window.stopped = 0;
        track.getCapabilities = () => ({ torch: true, focusMode: ['manual', 'continuous'] });
        track.applyConstraints = async (wish) => { window.wished.push(...wish.advanced); };
        track.stop = function () { window.stopped += 1; real.call(this); };";
    before_each_page(phone, light).await?;
    let next = phone.path().await?.replace("/plates/1", "/plates/2");
    phone.open(&next).await?;
    look(phone).await?;
    phone.press("Scan the label").await?;
    phone.press("Light on").await?;
    phone.press("Light off").await?;
    let wished = "return window.wished.length === 3 ? JSON.stringify(window.wished) : null";
    let wished = phone.until("three wishes of the camera", WITHIN, wished, &[]).await?;
    let wished: serde_json::Value = serde_json::from_str(wished.as_str().context("a text")?)?;
    let right = json!([{"focusMode": "continuous"}, {"torch": true}, {"torch": false}]);
    phone.check(wished == right, &format!("what the camera was asked for: {wished}")).await?;
    phone.press("Cancel").await?;
    phone.until("the camera to be closed", WITHIN, "return window.stopped > 0", &[]).await.map(drop)
}
