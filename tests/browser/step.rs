//! The technician's step screen: asks the page what the step needs, and answers it as a person does.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;

use anyhow::{Context as _, Result, bail};
use domain::electrical::Quantity;
use domain::electrical::units::Prefix;
use domain::job_file::Body;
use domain::method::Method;
use domain::method::plan::Requirement;
use serde::Deserialize;
use serde_json::json;
use tests::browser::{Browser, WITHIN};

use crate::answers;
use crate::people::LEAD_NAME;

/// The longest wait of the method, and a busy machine's share on top.
const WAIT_WITHIN: Duration = Duration::from_secs(100);
const LOOK: &str = r#"
  const frame = document.querySelector("[data-step]");
  if (!frame) return null;
  const at = document.querySelector("section.at-work[data-requirement]");
  const main = document.querySelector(".bottom .act.main");
  return {
    step: frame.dataset.step, slot: Number(frame.dataset.slot), state: frame.dataset.state,
    needs: [...document.querySelectorAll("section[data-requirement]")].map((one) => ({
      id: one.dataset.requirement, kind: one.dataset.kind, state: one.dataset.state, photos: one.querySelectorAll("li.thumb").length,
    })),
    at: at?.dataset.requirement ?? null,
    list: [...document.querySelectorAll("[data-list] [data-reading]")].map((one) => one.dataset.reading),
    main: main ? actWords(main) : null,
    saving: !!document.querySelector(".bottom .busy"),
  };"#;

/// A requirement as the page shows it.
#[derive(Clone, Debug, Deserialize, PartialEq, Eq)]
pub struct Need {
    pub id: String,
    pub kind: String,
    pub state: String,
    pub photos: usize,
}

/// The page of a step as it stands.
#[derive(Clone, Debug, Deserialize, PartialEq, Eq)]
pub struct StepView {
    pub step: String,
    pub slot: u16,
    pub state: String,
    pub needs: Vec<Need>,
    /// The requirement at work.
    pub at: Option<String>,
    /// Readings that are asked for on one card.
    pub list: Vec<String>,
    /// The word on the main action.
    pub main: Option<String>,
    saving: bool,
}

impl StepView {
    pub fn need(&self, id: &str) -> Option<&Need> {
        self.needs.iter().find(|need| need.id == id)
    }

    fn name(&self) -> String {
        format!("{}/{}", self.step, self.slot)
    }
}

/// What the technician has with them.
pub struct Hands<'a> {
    pub method: &'a Method,
    pub photos: std::vec::IntoIter<PathBuf>,
    /// Files that were given to the app, in order.
    pub given: Vec<PathBuf>,
    /// What a rehearsal would write at the step at work, by requirement.
    pub good: BTreeMap<String, Body>,
    /// What a thumb that only presses the bar would have met, where somebody looks.
    pub thumb: Option<Thumb>,
}

/// What a thumb meets at the bar.
#[derive(Clone, Debug, Default)]
pub struct Thumb {
    /// Photos for which the bar opened the camera.
    pub photos: usize,
    /// Statements to which the bar led.
    pub statements: usize,
    /// Those of which the heading was out of sight when the bar could be pressed.
    pub unseen: Vec<String>,
    /// Statements that a press of the bar confirmed, or whose button it did not bring into sight.
    pub confirmed: Vec<String>,
}

impl<'a> Hands<'a> {
    pub fn new(method: &'a Method, photos: Vec<PathBuf>) -> Self {
        Self { method, photos: photos.into_iter(), given: Vec::new(), good: BTreeMap::new(), thumb: None }
    }

    pub fn reading(&self, seen: &StepView, id: &str) -> Result<String> {
        match self.good_body(id)? {
            Body::Reading(reading) => {
                let need = self.method.step(&seen.step).and_then(|step| step.requirement(id));
                let Some(Requirement::Reading(need)) = need else { bail!("{id} is no reading of {}", seen.name()) };
                let micro = reading.micro.context("a rehearsed value")?;
                let prefix = Prefix::from_symbol(&need.prefix).context("a prefix")?;
                Ok(Quantity::of(need.unit, micro)
                    .format(9, prefix, '.')
                    .trim_end_matches('0')
                    .trim_end_matches('.')
                    .to_owned())
            }
            other => bail!("{id} is rehearsed as {other:?}"),
        }
    }

    fn serial(&self, id: &str) -> Result<String> {
        match self.good_body(id)? {
            Body::Serial(read) => Ok(read.stored.clone()),
            other => bail!("{id} is rehearsed as {other:?}"),
        }
    }

    fn words(&self, id: &str) -> Result<String> {
        match self.good_body(id)? {
            Body::Words(words) => Ok(words.text.clone()),
            other => bail!("{id} is rehearsed as {other:?}"),
        }
    }

    pub fn choice(&self, seen: &StepView, id: &str) -> Result<String> {
        match self.good_body(id)? {
            Body::Choice(choice) => answers::option_words(self.method, &seen.step, id, &choice.option),
            other => bail!("{id} is rehearsed as {other:?}"),
        }
    }

    fn good_body(&self, id: &str) -> Result<&Body> {
        self.good.get(id).with_context(|| format!("the rehearsal knows nothing of {id}"))
    }
}

/// Reads the page; waits until there is one and nothing is being saved.
pub async fn look(phone: &Browser) -> Result<StepView> {
    let script = format!("const seen = (() => {{ {LOOK} }})(); return seen && !seen.saving && seen.main ? seen : null");
    let seen = phone.until("the screen of a step", WITHIN, &script, &[]).await?;
    serde_json::from_value(seen).context("the screen of a step")
}

/// Waits until the page has changed in a way that `good` says, and gives it.
pub async fn until(
    phone: &Browser,
    what: &str,
    within: Duration,
    good: impl Fn(&StepView) -> bool,
) -> Result<StepView> {
    let began = std::time::Instant::now();
    loop {
        let seen = look(phone).await?;
        if good(&seen) {
            return Ok(seen);
        }
        if began.elapsed() > within {
            return Err(phone.failed(&format!("waited for {what}; the screen is {seen:?}")).await);
        }
        tokio::time::sleep(Duration::from_millis(80)).await;
    }
}

/// Reads the cautions where they ask for it.
pub async fn read_cautions(phone: &Browser) -> Result<StepView> {
    let seen = look(phone).await?;
    if seen.main.as_deref() != Some("I have read this") {
        return Ok(seen);
    }
    phone.press_css(".bottom .act.main").await?;
    until(phone, "the evidence to open after the cautions", WITHIN, |now| {
        now.main.as_deref() != Some("I have read this")
    })
    .await
}

/// Works the step that is on the screen until it is done, and gives it as it stands then.
pub async fn work(phone: &Browser, hands: &mut Hands<'_>) -> Result<StepView> {
    let mut seen = read_cautions(phone).await?;
    while seen.state == "open" || seen.state == "failed" {
        let Some(at) = seen.at.clone() else {
            return Err(phone
                .failed(&format!("{} is {} and asks for nothing: {seen:?}", seen.name(), seen.state))
                .await);
        };
        seen = answer(phone, hands, &seen, &at).await?;
    }
    Ok(seen)
}

/// Answers the requirement at work, and gives the page as it stands then.
pub async fn answer_next(phone: &Browser, hands: &mut Hands<'_>) -> Result<StepView> {
    let seen = look(phone).await?;
    let at = seen.at.clone().with_context(|| format!("nothing is at work: {seen:?}"))?;
    answer(phone, hands, &seen, &at).await
}

/// Answers one requirement well.
async fn answer(phone: &Browser, hands: &mut Hands<'_>, seen: &StepView, id: &str) -> Result<StepView> {
    let before = seen.need(id).context("the requirement at work is on the page")?.clone();
    if let Some(thumb) = &mut hands.thumb {
        press_of_a_thumb(phone, thumb, &seen.name(), &before).await?;
    }
    let within = match before.kind.as_str() {
        "photo" => {
            give_photo(phone, hands, id).await?;
            WITHIN
        }
        "reading" => {
            read(phone, id, &hands.reading(seen, id)?).await?;
            WITHIN
        }
        "serial" => {
            let serial = hands.serial(id)?;
            phone.fill("Serial number", &serial).await?;
            phone.fill("Serial number once more", &serial).await?;
            press_main(phone, "Save the serial number").await?;
            WITHIN
        }
        "confirmation" => {
            confirm(phone).await?;
            WITHIN
        }
        "choice" => {
            phone.tick(&hands.choice(seen, id)?).await?;
            press_main(phone, "Save the choice").await?;
            WITHIN
        }
        "words" => {
            phone.fill("Exactly as it is shown", &hands.words(id)?).await?;
            press_main(phone, "Save the text").await?;
            WITHIN
        }
        "countersign" => {
            countersign(phone, LEAD_NAME, server::demo::PIN).await?;
            WITHIN
        }
        "signature" => {
            if phone.js("return !!findField('Name of the householder')", &[]).await? == json!(true) {
                phone.fill("Name of the householder", crate::lead::HOUSEHOLDER).await?;
            }
            draw(phone).await?;
            press_main(phone, "Save the signature").await?;
            WITHIN
        }
        "wait" => {
            // One that was begun before a kill goes on by itself.
            if seen.main.as_deref() != Some("Waiting") {
                phone.press_css(".bottom .act.main").await?;
            }
            WAIT_WITHIN
        }
        other => bail!("a requirement of kind {other} at {}/{id}", seen.name()),
    };
    let what = format!("{}/{id} to be recorded", seen.name());
    let after = until(phone, &what, within, |now| now.need(id).is_some_and(|now| *now != before)).await?;
    let now = after.need(id).context("the requirement is still there")?;
    let good = now.state == "met" || (now.kind == "photo" && now.photos == before.photos + 1);
    phone.check(good, &format!("{}/{id} does with a good answer: {now:?}", seen.name())).await?;
    // The word comes with the write's end, the state of the requirement with the reading of the job: either may be first.
    let saved = "const word = document.querySelector('[data-saved=yes]'); return !!word && words(word).includes('Saved on this device at')";
    phone.until(&format!("the screen to say that {}/{id} is saved", seen.name()), WITHIN, saved, &[]).await?;
    Ok(after)
}

/// Whether an element is whole between the head of the page and its bar.
const IN_SIGHT: &str = r#"
  const inView = (one) => {
    const box = one?.getBoundingClientRect();
    return !!box && box.height > 0 && box.top >= document.querySelector(".page-top").getBoundingClientRect().bottom - 1
      && box.bottom <= document.querySelector(".bottom").getBoundingClientRect().top + 1;
  };
  if (document.querySelector(".act-row.rests")) return null;"#;

/// The bar can be pressed: is the heading of what it acts on in sight? At a statement it is pressed, and must sign nothing.
async fn press_of_a_thumb(phone: &Browser, thumb: &mut Thumb, step: &str, before: &Need) -> Result<()> {
    let what = format!("{step}/{}", before.id);
    let heading = format!(r#"{IN_SIGHT} return [inView(document.querySelector("section.at-work h2"))];"#);
    let is_seen = phone.until("the bar to take a press", WITHIN, &heading, &[]).await?;
    match before.kind.as_str() {
        "photo" => thumb.photos += 1,
        "confirmation" | "countersign" | "signature" => thumb.statements += 1,
        _ => return Ok(()),
    }
    if is_seen != json!([true]) {
        thumb.unseen.push(what.clone());
    }
    if before.kind != "photo" {
        phone.press_css(".bottom .act.main").await?;
        let button = format!(r#"{IN_SIGHT} return inView(document.querySelector(".sign-here .act")) || null;"#);
        let led = phone.until("the button under the statement", WITHIN, &button, &[]).await.is_ok();
        let now = look(phone).await?;
        if !led || now.need(&before.id) != Some(before) {
            thumb.confirmed.push(what);
        }
    }
    Ok(())
}

/// Presses the main action, or the button under a statement, once it can be pressed and says this.
pub async fn press_main(phone: &Browser, words: &str) -> Result<()> {
    let script = "const says = (css) => [...document.querySelectorAll(css)].some((one) => !one.disabled && actWords(one) === arguments[0]); \
                  return ['.sign-here .act', '.bottom .act.main'].find(says) ?? null";
    let css = phone.until(&format!("the action {words:?} to be ready"), WITHIN, script, &[json!(words)]).await?;
    phone.press_css(css.as_str().unwrap_or_default()).await
}

/// Hands the next photo to the camera of the requirement at work.
pub async fn give_photo(phone: &Browser, hands: &mut Hands<'_>, id: &str) -> Result<()> {
    let photo = hands.photos.next().context("the technician has no photo left")?;
    phone.choose_files(&format!("input[type=file][data-photo='{id}']:not([data-gallery])"), &[&photo]).await?;
    hands.given.push(photo);
    Ok(())
}

/// Types a reading with its instrument and saves it.
pub async fn read(phone: &Browser, id: &str, value: &str) -> Result<()> {
    let script = r#"
      const part = document.querySelector(`section.at-work[data-requirement="${arguments[0]}"]`);
      const list = part?.querySelector("select");
      if (!part || (list && list.options.length < 2)) return null;
      if (list && !list.value) {
        const option = [...list.options].find((one) => one.value && words(one).includes("calibrated until"));
        if (!option) return "no instrument in calibration";
        list.value = option.value;
        list.dispatchEvent(new Event("change", { bubbles: true }));
      }
      return "ready";"#;
    let ready = phone.until(&format!("the box of the reading {id}"), WITHIN, script, &[json!(id)]).await?;
    phone.check(ready == json!("ready"), &ready.to_string()).await?;
    phone.fill("Measured value", value).await?;
    let wants_voltage = phone.js("return !!findField('Test voltage')", &[]).await?;
    if wants_voltage == json!(true) {
        phone.fill("Test voltage", "500").await?;
    }
    press_main(phone, "Save the reading").await
}

/// A second person types their PIN.
pub async fn countersign(phone: &Browser, name: &str, pin: &str) -> Result<()> {
    phone.choose("Who confirms", name).await?;
    phone.fill("PIN of the second person", pin).await?;
    press_main(phone, "Countersign").await
}

/// Some strokes across the field of a signature.
pub async fn draw(phone: &Browser) -> Result<()> {
    let script = r#"
      const field = document.querySelector(".sign-field");
      if (!field) return null;
      const box = field.getBoundingClientRect();
      const send = (type, at) => field.dispatchEvent(new PointerEvent(type, {
        bubbles: true, cancelable: true, pointerId: 1, isPrimary: true, pointerType: "touch",
        clientX: box.left + box.width * at, clientY: box.top + box.height * (0.5 + 0.2 * Math.sin(at * 20)),
      }));
      send("pointerdown", 0.1);
      for (let at = 0.1; at < 0.9; at += 0.02) send("pointermove", at);
      send("pointerup", 0.9);
      return true;"#;
    phone.until("a field to sign in", WITHIN, script, &[]).await.map(drop)
}

async fn confirm(phone: &Browser) -> Result<()> {
    if phone.js("return !!findField('Name of the householder')", &[]).await? == json!(true) {
        phone.fill("Name of the householder", crate::lead::HOUSEHOLDER).await?;
    }
    if phone.js("return !!findField('Who confirms')", &[]).await? == json!(true) {
        phone.choose("Who confirms", LEAD_NAME).await?;
    }
    press_main(phone, "Confirm").await
}
