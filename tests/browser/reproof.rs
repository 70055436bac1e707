//! Boards that are proved dead again after the crew has left with the locks on: the readings of each stand on one card, the next step comes by
//! itself, and the presses are counted as a hand makes them.

use std::collections::BTreeMap;

use anyhow::{Context as _, Result, ensure};
use domain::method::plan::BoardPart;
use serde_json::json;
use tests::browser::{Browser, WITHIN};

use crate::looks::look_at_this;
use crate::people::until_all_sent;
use crate::photos;
use crate::rehearsal::Rehearsal;
use crate::rig::Rig;
use crate::small_job::used_phone;
use crate::step::{Hands, StepView, give_photo, look, press_main, until};

/// The shutter and the word that keeps the picture: the camera's own.
const CAMERA: usize = 2;

/// What it takes to prove boards dead again.
#[derive(Clone, Debug)]
pub struct Reproof {
    /// Presses by step: a tap into a box, an action, the camera's two; no keyboard.
    pub presses: BTreeMap<String, usize>,
}

impl Reproof {
    fn of(&self, step: &str) -> usize {
        self.presses.get(step).copied().unwrap_or_default()
    }

    /// One board alone: its pairs between the two proofs of the tester.
    pub fn one_board(&self) -> usize {
        self.of("prove-tester-before") + self.of("prove-dead-ac") + self.of("prove-tester-after")
    }

    /// Each further board.
    fn further_boards(&self) -> impl Iterator<Item = (&str, usize)> {
        let further = self.presses.iter().filter(|(step, _)| step.starts_with("prove-dead-"));
        further.map(|(step, presses)| (step.as_str(), *presses))
    }
}

/// Works a job up to its first work inside a board, leaves and comes back, and proves again by hand without a network.
pub async fn prove_again(rig: &Rig) -> Result<Reproof> {
    let folder = tempfile::tempdir()?;
    let mut job = Rehearsal::plan(rig, "series-stack-floor.toml").await?;
    let method = job.method.clone();
    let is_inside = |step: &str| {
        let duties = method.step(step).map(domain::method::plan::Step::duties).unwrap_or_default();
        duties.iter().any(|duty| duty.part == BoardPart::Inside)
    };
    let good = job.whole()?;
    job.work(|step| !is_inside(step)).await?;
    let phone = used_phone(rig).await?;
    let page = format!("/jobs/{}", job.job);
    phone.open(&page).await?;
    phone.see_within("Leave the site", WITHIN * 2).await?;
    until_all_sent(&phone, WITHIN * 2).await?;
    rig.server.road.cut().await;

    phone.press("Leave the site").await?;
    phone.tick("Every source isolated and locked, covers closed").await?;
    phone.press("Record it and leave").await?;
    phone.press("Resume the work").await?;
    phone.press("Go on: Prove the tester, first time").await?;
    let mut hands = Hands::new(&method, photos::make_small(folder.path(), 12)?);
    let mut presses = BTreeMap::<String, usize>::new();
    let mut seen = look(&phone).await?;
    phone.see("Since then the site was left").await?;
    while seen.step.starts_with("prove-") && (seen.at.is_some() || !seen.list.is_empty()) {
        hands.good = good.get(&(seen.step.clone(), seen.slot)).context("a step that good work knows")?.clone();
        let count = answer(&phone, &mut hands, &seen).await?;
        *presses.entry(seen.step.clone()).or_default() += count;
        let before = seen.clone();
        seen = until(&phone, &format!("what {}/{:?} leads to", before.step, before.at), WITHIN, |now| {
            let is_last = now.step == "prove-tester-after" && now.state == "satisfied";
            *now != before && (now.at.is_some() || !now.list.is_empty() || is_last)
        })
        .await?;
    }
    let here = format!("the last proof is done and nobody is led on: {seen:?}");
    phone.check(seen.step == "prove-tester-after", &here).await?;
    phone.check(seen.main.as_deref().is_some_and(|main| main.starts_with("Go on: ")), &here).await?;
    phone.press_css(".bottom .act.main").await?;
    let inside = until(&phone, "the work inside", WITHIN, |now| now.step != "prove-tester-after").await?;
    phone.check(is_inside(&inside.step) && inside.state == "open", &format!("it is open again: {inside:?}")).await?;
    rig.server.road.heal().await;
    until_all_sent(&phone, WITHIN * 2).await?;
    let breaches = job.breaches().await;
    ensure!(breaches.is_empty(), "{breaches:?}");
    Ok(Reproof { presses })
}

/// Answers what is asked for next, and says with how many presses.
async fn answer(phone: &Browser, hands: &mut Hands<'_>, seen: &StepView) -> Result<usize> {
    if !seen.list.is_empty() {
        return answer_list(phone, hands, seen).await;
    }
    let at = seen.at.clone().context("nothing is asked for")?;
    let need = seen.need(&at).context("it is on the page")?;
    match need.kind.as_str() {
        "photo" => {
            give_photo(phone, hands, &at).await?;
            Ok(CAMERA)
        }
        "choice" => {
            phone.tick(&hands.choice(seen, &at)?).await?;
            press_main(phone, "Save the choice").await?;
            Ok(2)
        }
        "reading" => {
            instrument_is_there(phone, seen).await?;
            phone.fill("Measured value", &hands.reading(seen, &at)?).await?;
            press_main(phone, "Save the reading").await?;
            Ok(2)
        }
        other => anyhow::bail!("a proof asks for {other}"),
    }
}

/// A tap into the first box, the next ones with the keyboard's own key, and one press for all of them.
async fn answer_list(phone: &Browser, hands: &mut Hands<'_>, seen: &StepView) -> Result<usize> {
    instrument_is_there(phone, seen).await?;
    if seen.step == "prove-dead-ac" {
        look_at_this(phone, "proof-again").await?;
    }
    for (number, id) in seen.list.iter().enumerate() {
        let step = hands.method.step(&seen.step).and_then(|step| step.requirement(id)).context("the reading")?;
        phone.fill(&step.label().en, &hands.reading(seen, id)?).await?;
        let enter = "const box = document.querySelector(`[data-list] [data-reading='${arguments[0]}'] input`); box.focus(); box.dispatchEvent(new KeyboardEvent('keydown', { key: 'Enter', bubbles: true, cancelable: true })); return document.activeElement.closest('[data-reading]')?.dataset.reading";
        let there = phone.js(enter, &[json!(id)]).await?;
        let next = seen.list.get(number + 1).unwrap_or(id);
        phone.check(there == json!(next), &format!("after {id} comes {next}: {there}")).await?;
    }
    press_main(phone, "Save the readings").await?;
    Ok(2)
}

/// The one that was used last stands there by itself. A rehearsal's own is in no catalogue, so it is chosen once, as it would have been.
async fn instrument_is_there(phone: &Browser, seen: &StepView) -> Result<()> {
    let chosen = "const list = document.querySelector('section.at-work select'); return !!list && list.value !== ''";
    let choose = "const list = document.querySelector('section.at-work select'); const own = [...(list?.options ?? [])].find((one) => one.value); if (!own) return false; list.value = own.value; list.dispatchEvent(new Event('change', { bubbles: true })); return true";
    let script = if seen.step == "prove-tester-before" { choose } else { chosen };
    phone.until("the tester to be there", WITHIN, script, &[]).await.map(drop)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_board_is_proved_dead_again_with_twelve_presses() -> Result<()> {
    let rig = Rig::demo().await?;
    let reproof = prove_again(&rig).await?;
    ensure!(reproof.one_board() <= 12, "{reproof:?}");
    let boards: Vec<(&str, usize)> = reproof.further_boards().collect();
    ensure!(boards.len() >= 3 && boards.iter().all(|(_, presses)| *presses <= 8), "{reproof:?}");
    Ok(())
}
