//! The benches that need a server: `cargo xtask bench` builds this for release, gives it a Postgres of its own and reads the
//! one flat object that it prints. Figures are printed and never asserted: a busy machine must not turn a build red.
//!
//! Arguments are the names of figures; none means all. [`push`] and [`pull`] compare two things that take turns, so that
//! whatever else the machine does meets both.

#![allow(clippy::unwrap_used, reason = "a bench that panics has failed")]

#[path = "../../domain/tests/built_in/mod.rs"]
mod built_in;
#[path = "../../domain/tests/rehearsal/mod.rs"]
mod domain_rehearsal;

// What is counted by hand is done as the browser suite does it.
#[allow(dead_code, unused_imports, reason = "the browser suite uses the rest")]
#[path = "../browser/answers.rs"]
mod answers;
#[allow(dead_code, unused_imports, reason = "the browser suite uses the rest")]
#[path = "../browser/lead.rs"]
mod lead;
#[allow(dead_code, unused_imports, reason = "the browser suite uses the rest")]
#[path = "../browser/looks.rs"]
mod looks;
#[allow(dead_code, unused_imports, reason = "the browser suite uses the rest")]
#[path = "../browser/people.rs"]
mod people;
#[allow(dead_code, unused_imports, reason = "the browser suite uses the rest")]
#[path = "../browser/photos.rs"]
mod photos;
#[allow(dead_code, unused_imports, reason = "the browser suite uses the rest")]
#[path = "../browser/rehearsal.rs"]
mod rehearsal;
#[allow(dead_code, unused_imports, reason = "the browser suite uses the rest")]
#[path = "../browser/reproof.rs"]
mod reproof;
#[allow(dead_code, unused_imports, reason = "the browser suite uses the rest")]
#[path = "../browser/rig.rs"]
mod rig;
#[allow(dead_code, unused_imports, reason = "the browser suite uses the rest")]
#[path = "../browser/small_job.rs"]
mod small_job;
#[allow(dead_code, unused_imports, reason = "the browser suite uses the rest")]
#[path = "../browser/step.rs"]
mod step;

mod browser;
mod design;
mod drain;
mod firm;
mod first_look;
mod live;
mod load;
mod pull;
mod push;
mod queries;
mod stats;
mod wire;
mod work;

use anyhow::Result;
use serde_json::{Map, Value, json};

#[tokio::main(flavor = "multi_thread")]
async fn main() -> Result<()> {
    let wished: Vec<String> = std::env::args().skip(1).collect();
    let wanted = |name: &str| wished.is_empty() || wished.iter().any(|wish| wish == name);
    let mut figures = Map::new();
    if wanted("push_ratio_to_bare_insert") {
        note(&mut figures, "push_ratio_to_bare_insert", push::ratio_to_bare_insert().await);
    }
    if wanted("pull_ratio_1m_to_1k") {
        note(&mut figures, "pull_ratio_1m_to_1k", pull::ratio_1m_to_1k().await);
    }
    if wanted("pull_first_look_ms") {
        match first_look::ms().await {
            Ok(ms) => note(&mut figures, "pull_first_look_ms", ms.round()),
            Err(error) => eprintln!("bench: {error:?}"),
        }
    }
    if [
        "start_cold_ms",
        "start_offline_ms",
        "start_offline_at_work_ms",
        "tap_reading_saved_ms_p95",
        "photo_12mp_saved_ms_p95",
    ]
    .iter()
    .any(|name| wanted(name))
        && let Err(error) = in_a_browser(&mut figures, &wanted).await
    {
        eprintln!("bench: {error:?}");
    }
    if wanted("first_screen_wire_bytes") {
        match browser::first_screen_wire_bytes().await {
            Ok(bytes) => note(&mut figures, "first_screen_wire_bytes", bytes),
            Err(error) => eprintln!("bench: {error:?}"),
        }
    }
    if wanted("reproof_taps") {
        match reproof_taps().await {
            Ok(taps) => note(&mut figures, "reproof_taps", taps),
            Err(error) => eprintln!("bench: {error:?}"),
        }
    }
    if wanted("design_recompute_ms_p95") {
        match design::recompute_ms_p95().await {
            Ok(ms) => note(&mut figures, "design_recompute_ms_p95", ms),
            Err(error) => eprintln!("bench: {error:?}"),
        }
    }
    if wanted("live_ms_p95") {
        match live::shown_ms_p95().await {
            Ok(ms) => note(&mut figures, "live_ms_p95", ms),
            Err(error) => eprintln!("bench: {error:?}"),
        }
    }
    if let Err(error) = on_the_line(&mut figures, &wanted).await {
        eprintln!("bench: {error:?}");
    }
    if let Err(error) = with_many(&mut figures, &wished).await {
        eprintln!("bench: {error:?}");
    }
    println!("{}", Value::Object(figures));
    Ok(())
}

/// `reproof_taps`: presses for proving one board dead again, from the first card to the last; no keyboard.
async fn reproof_taps() -> Result<f64> {
    let rig = rig::Rig::demo().await?;
    let taps = reproof::prove_again(&rig).await?.one_board();
    Ok(f64::from(u32::try_from(taps)?))
}

/// Bytes and requests.
async fn on_the_line(figures: &mut Map<String, Value>, wanted: &impl Fn(&str) -> bool) -> Result<()> {
    if wanted("wire_ratio_day") || wanted("backlog_requests_500") {
        let (ratio, requests) = wire::day_and_requests().await?;
        note(figures, "wire_ratio_day", ratio);
        note(figures, "backlog_requests_500", requests);
    }
    if wanted("upload_bytes_ratio_drop30s") {
        note(figures, "upload_bytes_ratio_drop30s", wire::ratio_of_a_dropping_link().await?);
    }
    Ok(())
}

/// What takes minutes and most of the machine: by name only.
async fn with_many(figures: &mut Map<String, Value>, wished: &[String]) -> Result<()> {
    for phones in [1, 50, 500] {
        let ending = format!("_ms_{phones}");
        let times: Vec<&String> = wished.iter().filter(|name| name.ends_with(&ending)).collect();
        let memory = phones == 500 && wished.iter().any(|name| name == "server_rss_mb_500");
        if times.is_empty() && !memory {
            continue;
        }
        let measured = load::with(phones).await?;
        for name in times {
            note(figures, name, measured.figure(name.trim_end_matches(&format!("_{phones}")))?);
        }
        if memory {
            note(figures, "server_rss_mb_500", measured.resident_mb);
        }
    }
    if wished.iter().any(|name| name == "drain_500x200_ratio") {
        note(figures, "drain_500x200_ratio", drain::ratio().await?);
    }
    Ok(())
}

/// What a browser gives; what was measured before something failed stays.
async fn in_a_browser(figures: &mut Map<String, Value>, wanted: &impl Fn(&str) -> bool) -> Result<()> {
    let mut bench = browser::Bench::start().await?;
    if wanted("start_cold_ms") {
        note(figures, "start_cold_ms", bench.cold().await?.0.round());
    }
    if wanted("start_offline_ms") || wanted("start_offline_at_work_ms") {
        let (row_ms, at_work_ms) = bench.offline().await?;
        note(figures, "start_offline_ms", row_ms.round());
        note(figures, "start_offline_at_work_ms", at_work_ms.round());
    }
    if wanted("tap_reading_saved_ms_p95") || wanted("photo_12mp_saved_ms_p95") {
        let (photo_ms, tap_ms) = bench.photos_and_taps().await?;
        note(figures, "tap_reading_saved_ms_p95", tap_ms.round());
        note(figures, "photo_12mp_saved_ms_p95", photo_ms.round());
    }
    Ok(())
}

/// Ratios with three digits: more would be noise.
fn note(figures: &mut Map<String, Value>, name: &str, value: f64) {
    figures.insert(name.to_owned(), json!((value * 1_000.0).round() / 1_000.0));
}
