//! `design_recompute_ms_p95`: what one keystroke on a filled design sheet costs, from the figure to every verdict and both
//! drawings, at a quarter of the speed. The app notes each computation in the browser's timeline; here it is only read.

use std::time::Duration;

use anyhow::{Context as _, Result, ensure};
use domain::design::Design;
use domain::job_file::body::{Body, DesignInputs};
use serde_json::{Value, json};
use tests::browser::{Browser, DESK, WITHIN};
use tests::phone::TestPhone;
use tests::server_process::{Content, ServerProcess};

use crate::browser::{SLOWDOWN, built_in, shown};
use crate::stats::p95;
use crate::work::LEAD;

/// A whole design, with loads, distances and a deliberate fault or two.
const DESIGN: &str = include_str!("../../domain/tests/golden/designs/uk-terrace.design.txt");
/// Key of a field and what is typed into it: figures that many checks ask for, and some that few do.
const TYPED: [(&str, &str); 10] = [
    ("ac_cable_length_m", "27.45"),
    ("inverter_w", "3650.25"),
    ("dc_cable_length_m", "12.75"),
    ("pe_length_m", "118.25"),
    ("ac_nominal_v", "230.75"),
    ("supply_loop_ohm", "0.2875"),
    ("left_distance_m", "0.4525"),
    ("load_2_w", "1250.5"),
    ("dc_fault_a", "4250.75"),
    ("ambient_c", "27.25"),
];
const MEASURE: &str = "design-recompute";

/// Plans a job with that design, opens its sheet at the lead's desk and types.
pub async fn recompute_ms_p95() -> Result<f64> {
    let server = ServerProcess::start(Content::Firm).await?;
    let design = Design::parse(DESIGN).map_err(|error| anyhow::anyhow!("{error}"))?;
    let mut lead = TestPhone::of(server.sign_in(LEAD, server::demo::PASSWORD).await?);
    let job = lead.plan_job(&built_in()?, &[]);
    let values = design.values().map(|(key, micro)| (key.to_owned(), micro)).collect();
    lead.write(job, Body::DesignInputs(DesignInputs { values }));
    tests::phone::all_stored(&lead.push().await)?;

    let desk = Browser::start("bench-design", &server.address(), DESK).await?;
    desk.open("/sign-in").await?;
    desk.fill("E-mail", LEAD).await?;
    desk.fill("Password", server::demo::PASSWORD).await?;
    desk.press("Sign in").await?;
    desk.until("the first screen behind the door", WITHIN, "return location.pathname !== '/sign-in'", &[]).await?;
    desk.open(&format!("/desk/{job}/design")).await?;
    let filled = "return document.querySelector('#figure-inverter_w input')?.value === '3680'";
    desk.until("the design on the sheet", WITHIN, filled, &[]).await?;
    desk.cdp("Emulation.setCPUThrottlingRate", json!({"rate": SLOWDOWN})).await?;
    desk.js("performance.clearMeasures(arguments[0]); return true", &[json!(MEASURE)]).await?;
    for (key, text) in TYPED {
        desk.fill_css(&format!("#figure-{key} input"), text).await?;
        // What a key has set off is over before the next field.
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    let read = "return performance.getEntriesByName(arguments[0]).map((one) => one.duration)";
    let times = desk.js(read, &[json!(MEASURE)]).await?;
    let times: Option<Vec<f64>> = times.as_array().map(|all| all.iter().filter_map(Value::as_f64).collect());
    let times = times.context("the measures of the page")?;
    let keys: usize = TYPED.iter().map(|(_, text)| text.len()).sum();
    ensure!(times.len() >= keys, "{} computations for {keys} keystrokes", times.len());
    eprintln!("recomputed, ms: {}", shown(&times));
    Ok(p95(times))
}
