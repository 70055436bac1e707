//! A second person's PIN on a phone without a network: a slip is said at once, another PIN is found out by the server, and
//! what it had opened shuts again. A signature is drawn with a finger.

use anyhow::{Context as _, Result};
use domain::ids::PersonId;
use domain::method::load::from_toml;
use domain::people::pin::{SlipCheck, Typed};
use serde_json::json;
use server::demo::PASSWORD;
use tests::browser::{PHONE, WITHIN};
use tests::phone::method_text;

use crate::people::{TECHNICIAN, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::{phone_on_step, plan_of, step_path};
use crate::step::{countersign, draw, look, press_main, until};

const SECOND: &str = "solano@larkfield.example";
const SECOND_NAME: &str = "Mateo Solano";
/// Chosen on their own phone; the demo's is another.
const PIN: &str = "47180";
/// watch (countersigned) → after (tick); sign (signature) beside them.
const STEPS: &str = r#"
[[step]]
id = "watch"
stage = "work"
hold = true
title = { en = "Watch" }
act = { en = "Watch." }
[[step.require]]
kind = "countersign"
id = "second"
label = { en = "I have seen each lock." }

[[step]]
id = "after"
stage = "work"
needs = ["watch"]
title = { en = "After" }
act = { en = "Go on." }
[[step.require]]
kind = "confirmation"
id = "here"
label = { en = "I went on." }

[[step]]
id = "sign"
stage = "work"
title = { en = "Sign" }
act = { en = "Sign." }
[[step.require]]
kind = "signature"
id = "mark"
by = "recorder"
label = { en = "I have done this work." }
"#;

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_pin_is_found_out_and_shuts_what_it_opened() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan_of(&rig, from_toml(&method_text("test-second", STEPS))?, &[TECHNICIAN, SECOND], Vec::new()).await?;
    set_pin(&rig).await?;
    let (slip, wrong) = pins(&rig).await?;
    let phone = phone_on_step(&rig, job, "watch", "Watch").await?;
    rig.server.road.cut().await;

    countersign(&phone, SECOND_NAME, &slip).await?;
    phone.see("This is not the PIN of this person. Tries left: 4.").await?;
    // Reloading the page gives no new tries.
    phone.open(&step_path(job, "watch")).await?;
    look(&phone).await?;
    countersign(&phone, SECOND_NAME, &slip).await?;
    phone.see("Tries left: 3.").await?;
    countersign(&phone, SECOND_NAME, "12").await?;
    phone.see("A PIN has four to eight digits.").await?;

    countersign(&phone, SECOND_NAME, &wrong).await?;
    until(&phone, "the step to count for now", WITHIN, |now| now.state == "satisfied").await?;
    phone.see("Countersigned, to be confirmed").await?;
    phone.open(&step_path(job, "after")).await?;
    let open = look(&phone).await?;
    phone.check(open.state == "open", &format!("what follows is open for now: {open:?}")).await?;

    rig.server.road.heal().await;
    until(&phone, "what follows to be shut again", WITHIN * 2, |now| now.state == "locked").await?;
    phone.open(&step_path(job, "watch")).await?;
    until(&phone, "the countersignature to count for nothing", WITHIN, |now| now.state == "open").await?;

    countersign(&phone, SECOND_NAME, PIN).await?;
    until(&phone, "the step to be done", WITHIN, |now| now.state == "satisfied").await?;
    phone.see_within("The server has confirmed the PIN.", WITHIN * 2).await?;

    phone.open(&step_path(job, "sign")).await?;
    look(&phone).await?;
    draw(&phone).await?;
    press_main(&phone, "Save the signature").await?;
    until(&phone, "the signature to be kept", WITHIN, |now| now.state == "satisfied").await?;
    until_all_sent(&phone, WITHIN).await
}

/// The second person, whose app speaks Spanish, sets a PIN of their own, after a wrong password and a PIN that anybody would try.
async fn set_pin(rig: &Rig) -> Result<()> {
    let own = browser_of(rig, SECOND, PHONE).await?;
    own.open("/settings").await?;
    for (password, pin, answer) in [
        ("not this one", PIN, "La contraseña no es correcta. El PIN no ha cambiado."),
        (PASSWORD, "1234", "Este PIN es de los primeros que cualquiera prueba."),
        (PASSWORD, PIN, "El PIN está fijado."),
    ] {
        own.fill("Su contraseña", password).await?;
        own.fill("PIN nuevo", pin).await?;
        own.press("Fijar el PIN").await?;
        own.see(answer).await?;
    }
    let empty = "return [...document.querySelectorAll('input[type=password]')].every((field) => field.value === '')";
    own.until("the fields to be empty again", WITHIN, empty, &[]).await.map(drop)
}

/// A PIN that the phone knows to be wrong, and one that only the server can tell from the right one.
async fn pins(rig: &Rig) -> Result<(String, String)> {
    let second = rig.server.sign_in(SECOND, PASSWORD).await?;
    let reference = second.get("/api/reference").await.body;
    let id = json!(PersonId::of(second.person()));
    let people = reference["people"].as_array().context("people")?;
    let own = people.iter().find(|own| own["id"] == id).context("the second person")?;
    let check: SlipCheck = serde_json::from_value(own["pin"].clone())?;
    // The demo's own PIN still counts for a while.
    let mut others = (2_000..10_000).map(|n| n.to_string()).filter(|pin| pin != server::demo::PIN);
    let mut with = |typed: Typed| others.find(|pin| check.look(pin) == typed).context("a PIN");
    Ok((with(Typed::Slip)?, with(Typed::ToBeConfirmed)?))
}
