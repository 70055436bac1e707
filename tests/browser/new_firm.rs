//! A firm that begins with nothing: its owner enters what the manufacturers state, plans a job and fills in its design, by the words of
//! the screen alone, until every check is decided.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use anyhow::{Context as _, Result};
use domain::design::{Design, FIELDS, MODEL_FIGURES, ModelFigure, model_figures};
use domain::electrical::codes::designation;
use domain::job_file::body::UnitKind;
use serde_json::json;
use tests::browser::{Browser, DESK, PHONE, WITHIN, target_folder};

use crate::answers::built_in_method;
use crate::looks::look_at_this;
use crate::people::{sign_in, until_all_sent};
use crate::rig::Rig;

const OWNER: (&str, &str) = ("rowan@hedge.example", "seven grey herons waiting");
/// What the house's papers say; its checks are all decided by hand.
const HOUSE: &str = include_str!("../../domain/tests/golden/designs/hand-uk.design.txt");
/// What the manufacturers state and the sheet does not hold. What is in neither is stated nowhere.
const STATED: &[(UnitKind, &str, &str)] = &[
    (UnitKind::Module, "ocv_min", "42"),
    (UnitKind::Module, "ocv_max", "54.4 V"),
    (UnitKind::Module, "spread_max", "200 mV"),
    (UnitKind::Module, "temp_min", "-10"),
    (UnitKind::Module, "temp_max", "45"),
    (UnitKind::Module, "torque_link_nm_min", "5"),
    (UnitKind::Module, "torque_link_nm_max", "6"),
    (UnitKind::Inverter, "torque_ac_nm_min", "1.5"),
    (UnitKind::Inverter, "torque_ac_nm_max", "2"),
];

type Words = BTreeMap<String, String>;

fn words() -> Result<Words> {
    Ok(serde_json::from_str(include_str!("../../web/locales/en.json"))?)
}

fn word<'a>(words: &'a Words, key: &str) -> Result<&'a str> {
    words.get(key).map(String::as_str).with_context(|| format!("no word for {key}"))
}

fn name_of(words: &Words, figure: &ModelFigure) -> Result<String> {
    let key = figure.fills.map_or_else(|| format!("model.{}", figure.key), |field| format!("design.field.{field}"));
    word(words, &key).map(str::to_owned)
}

/// A figure of the house as a person types or chooses it.
fn said(words: &Words, field: &str, design: &Design) -> Result<Option<(String, bool)>> {
    let (Some(micro), Some(known)) = (design.get(field), domain::design::field(field)) else { return Ok(None) };
    Ok(Some(match known.choice(micro) {
        Some(code) => {
            let chosen = words.get(&format!("design.choice.{code}")).cloned();
            (chosen.unwrap_or_else(|| designation(code)), true)
        }
        None => (domain::electrical::Quantity::of(known.unit, micro).plain(), false),
    }))
}

async fn answer(browser: &Browser, label: &str, (text, is_choice): (String, bool)) -> Result<()> {
    if is_choice { browser.choose(label, &text).await } else { browser.fill(label, &text).await }
}

/// Enters a model and gives how many figures its manufacturer does not state.
async fn enter_model(desk: &Browser, words: &Words, kind: UnitKind, kind_word: &str, name: &str) -> Result<usize> {
    let design = house()?;
    desk.press("Add a model").await?;
    desk.choose("Kind", kind_word).await?;
    desk.fill("Maker", "Alder Cells (test)").await?;
    desk.fill("Model name", name).await?;
    let mut unstated = 0;
    for figure in model_figures(kind) {
        let label = name_of(words, figure)?;
        let of_house = match figure.fills {
            Some(field) => said(words, field, &design)?,
            None => None,
        };
        let stated = STATED.iter().find(|(of, key, _)| (*of, *key) == (kind, figure.key));
        match of_house.or_else(|| stated.map(|(.., text)| ((*text).to_owned(), false))) {
            Some(known) => answer(desk, &label, known).await?,
            None => {
                unstated += 1;
                let script = "const box = document.querySelector(`input[type=checkbox][aria-label=${JSON.stringify(arguments[0])}]`); box?.click(); return box?.checked";
                desk.until(
                    &format!("{label} not to be stated"),
                    WITHIN,
                    script,
                    &[json!(format!("{label}: Not stated"))],
                )
                .await?;
            }
        }
    }
    no_bare_keys(desk).await?;
    picture(desk, &name.to_lowercase()).await?;
    desk.press("Save").await?;
    desk.see(&format!("Alder Cells (test) {name}")).await?;
    let open = desk.js("return [...document.querySelectorAll('td .chip')].map(words)", &[]).await?;
    desk.check(open == json!([]), &format!("no figure of {name} is open: {open}")).await?;
    Ok(unstated)
}

/// For a person to look at.
async fn picture(desk: &Browser, name: &str) -> Result<()> {
    for (dark, light) in [(false, "light"), (true, "dark")] {
        desk.set_dark(dark).await?;
        desk.picture(&target_folder().join(format!("looks/new-firm-{name}-desk-{light}.png"))).await?;
    }
    desk.set_dark(false).await
}

/// Nobody is asked for a name that only a program has.
async fn no_bare_keys(browser: &Browser) -> Result<()> {
    let script = "return words(document.querySelector('main')).match(/[a-z]+_[a-z_]+/g)";
    let found = browser.js(script, &[]).await?;
    browser.check(found.is_null(), &format!("no name of a program is on the screen: {found}")).await
}

fn house() -> Result<Design> {
    Design::parse(HOUSE).map_err(|fault| anyhow::anyhow!("{fault:?}"))
}

async fn verdicts(desk: &Browser, verdict: &str) -> Result<usize> {
    let script =
        "return document.querySelectorAll(`#checks [data-testid=design-check][data-verdict=${arguments[0]}]`).length";
    let count = desk.js(script, &[json!(verdict)]).await?;
    Ok(usize::try_from(count.as_u64().context("a count")?)?)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_new_firm_comes_from_nothing_to_a_job_with_every_check_decided() -> Result<()> {
    let rig = Rig::empty().await?;
    let words = words()?;
    let desk = Browser::start("owner", &rig.server.address(), DESK).await?;
    desk.open(&rig.server.first_owner_link().await?).await?;
    desk.fill("Name of the firm", "Hedge & Spark (test)").await?;
    desk.fill("Your e-mail", OWNER.0).await?;
    desk.fill("Your name", "Rowan Hedge").await?;
    desk.fill("New password", OWNER.1).await?;
    desk.press("Save and go on").await?;
    desk.press("Go to sign-in").await?;
    sign_in(&desk, OWNER.0, OWNER.1).await?;
    desk.see("Rowan Hedge").await?;

    desk.open("/catalogue?part=models").await?;
    desk.see("No model is here yet.").await?;
    let module = enter_model(&desk, &words, UnitKind::Module, "Battery module", "Brick").await?;
    let control = enter_model(&desk, &words, UnitKind::ControlUnit, "Control unit", "Head").await?;
    let inverter = enter_model(&desk, &words, UnitKind::Inverter, "Inverter", "Hybrid").await?;
    desk.check((1..MODEL_FIGURES.len()).contains(&(module + control + inverter)), "some things are stated nowhere")
        .await?;

    // A device hears of what was added with its next reference data.
    let offered = "return [...document.querySelectorAll('option')].some((one) => words(one).includes('Hybrid'))";
    let began = Instant::now();
    loop {
        desk.open("/plan/new").await?;
        desk.choose("By which plan of work", &built_in_method()?.title.en).await?;
        desk.see("Control unit").await?;
        if desk.js(offered, &[]).await? == json!(true) {
            break;
        }
        desk.check(began.elapsed() < WITHIN, "the plan offers what was entered").await?;
        tokio::time::sleep(Duration::from_secs(2)).await;
    }
    desk.fill("Street and house", "Kiln Lane 4").await?;
    desk.fill("Postcode and town", "00417 Larkfield").await?;
    desk.choose("By which rule set", "United Kingdom").await?;
    for (kind, model, count) in
        [("Battery module", "Brick", 4), ("Control unit", "Head", 1), ("Inverter, already on site", "Hybrid", 1)]
    {
        desk.choose_in(kind, "Model", model).await?;
        desk.fill_in(kind, "How many", &count.to_string()).await?;
    }
    desk.press("Save the job").await?;
    let script = "return location.pathname.startsWith('/desk/') ? location.pathname : null";
    let job = desk.until("the desk of the new job", WITHIN, script, &[]).await?;
    let job = job.as_str().unwrap_or_default().to_owned();

    desk.open(&format!("{job}/design")).await?;
    desk.see("Computed by rule set uk 1").await?;
    no_bare_keys(&desk).await?;
    let design = house()?;
    let of_models: Vec<&str> = MODEL_FIGURES.iter().filter_map(|figure| figure.fills).collect();
    for field in FIELDS.iter().filter(|field| !of_models.contains(&field.key)) {
        let Some(known) = said(&words, field.key, &design)? else { continue };
        let label = match field.key.strip_prefix("load_").and_then(|rest| rest.split_once('_')) {
            Some((n, part)) => word(&words, &format!("design.field.load_{part}"))?.replace("{n}", n),
            None => word(&words, &format!("design.field.{}", field.key))?.to_owned(),
        };
        answer(&desk, &label, known).await?;
    }
    let script = "return !document.querySelector('#checks [data-testid=design-check][data-verdict=open]') || null";
    let open =
        "return [...document.querySelectorAll('#checks [data-testid=design-check][data-verdict=open]')].map(words)";
    if desk.until("every check to be decided", WITHIN, script, &[]).await.is_err() {
        anyhow::bail!("not decided: {}", desk.js(open, &[]).await?);
    }
    let (pass, fail) = (verdicts(&desk, "pass").await?, verdicts(&desk, "fail").await?);
    desk.check(pass >= 20, &format!("{pass} checks pass")).await?;
    // The house has its three faults by design.
    desk.check(fail >= 1, &format!("{fail} checks fail")).await?;
    picture(&desk, "design").await?;
    crate::design_sheet::save(&desk).await?;
    until_all_sent(&desk, WITHIN).await?;
    desk.open(&job).await?;
    let script = "return words(document.querySelector('.job-head'))";
    let head = desk.js(script, &[]).await?;
    let head = head.as_str().unwrap_or_default();
    desk.check(!head.contains("not determined"), &format!("nothing is undecided: {head}")).await?;
    drop(desk);

    // The same form on a phone is as wide as the phone.
    let phone = Browser::start("owner-phone", &rig.server.address(), PHONE).await?;
    phone.open("/sign-in").await?;
    sign_in(&phone, OWNER.0, OWNER.1).await?;
    phone.see("Needs you").await?;
    phone.open("/catalogue?part=models").await?;
    phone.press("Add a model").await?;
    let wide = phone.js("return document.documentElement.scrollWidth - innerWidth", &[]).await?;
    phone.check(wide.as_i64().is_some_and(|over| over <= 0), &format!("it is {wide} too wide")).await?;
    look_at_this(&phone, "new-firm-phone").await
}
