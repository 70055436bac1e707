//! The way in: the first owner's link, an invitation, a wrong password, and out again.

use anyhow::Result;
use tests::browser::{Browser, DESK, PHONE};

use crate::rig::Rig;

const OWNER: (&str, &str) = ("rowan@hedge.example", "seven grey herons waiting");
const TECHNICIAN: (&str, &str) = ("imke@hedge.example", "bread on a tin roof");

#[tokio::test(flavor = "multi_thread")]
async fn first_owner_sets_up_the_firm_invites_somebody_and_both_come_in() -> Result<()> {
    let rig = Rig::empty().await?;
    let mut owner = Browser::start("owner", &rig.server.address(), DESK).await?;
    owner.open("/").await?;
    owner.see("Nobody has set up this server yet").await?;
    owner.open(&rig.server.first_owner_link().await?).await?;
    owner.see("Set up your firm").await?;
    owner.fill("Name of the firm", "Hedge & Spark (test)").await?;
    owner.fill("Your e-mail", OWNER.0).await?;
    owner.fill("Your name", "Rowan Hedge").await?;
    owner.fill("New password", "short").await?;
    owner.press("Save and go on").await?;
    owner.see("This has 5 characters").await?;
    owner.fill("New password", OWNER.1).await?;
    owner.press("Save and go on").await?;
    owner.see("Done. Now sign in").await?;
    owner.press("Go to sign-in").await?;

    sign_in(&owner, OWNER.0, "a wrong password here").await?;
    owner.see("E-mail and password do not belong together.").await?;
    owner.fill("Password", OWNER.1).await?;
    owner.press("Sign in").await?;
    owner.see("Rowan Hedge").await?;

    owner.press("People and devices").await?;
    owner.press("Invite a person").await?;
    owner.fill("Name", "Imke Brand").await?;
    owner.fill("E-mail", TECHNICIAN.0).await?;
    owner.press("Make the invitation").await?;
    owner.see("Give this link to Imke Brand").await?;
    let link = owner.js("return words(document.querySelector('.one-time'))", &[]).await?;
    let link = link.as_str().unwrap_or_default().to_owned();

    // The cookie survives the process: the browser that was closed comes in again without a password.
    owner.close().await?;
    owner.reopen().await?;
    owner.open("/people").await?;
    owner.see("Imke Brand").await?;
    drop(owner);

    let phone = Browser::start("technician", &rig.server.address(), PHONE).await?;
    phone.open(&link).await?;
    phone.see("You were invited to Hedge & Spark (test)").await?;
    phone.fill("New password", TECHNICIAN.1).await?;
    phone.press("Save and go on").await?;
    phone.press("Go to sign-in").await?;
    sign_in(&phone, TECHNICIAN.0, TECHNICIAN.1).await?;
    phone
        .until(
            "the first screen behind the door",
            tests::browser::WITHIN,
            "return location.pathname !== '/sign-in'",
            &[],
        )
        .await?;
    phone.open("/sign-out").await?;
    phone.see("Everything on this device has been sent.").await?;
    phone.press("Sign out").await?;
    phone.at("/sign-in").await?;
    phone.open("/menu").await?;
    phone.at("/sign-in").await?;

    phone.open(&link).await?;
    phone.see("This link was used already").await
}

async fn sign_in(browser: &Browser, email: &str, password: &str) -> Result<()> {
    browser.fill("E-mail", email).await?;
    browser.fill("Password", password).await?;
    browser.press("Sign in").await
}
