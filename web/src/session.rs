//! Who works here. The profile (person, firm, device) is kept on the device's disk without any token, so that the app opens for its
//! person without a server; the access token lives in memory, inside [`Api`].
//!
//! - `Session::profile()`: the person at work, if there is one. Local work needs nothing else.
//! - `Session::standing()`: may we send? [`Standing::Unknown`] until the server was asked, [`Standing::Ended`] when it wants a
//!   new sign-in. None of them stops work on the device.

use domain::ids::{DeviceId, FirmId, PersonId};
use domain::people::Role;
use domain::people::pin::SlipCheck;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::{Deserialize, Serialize};

use crate::adapters::fetch::{Api, Call, Renewal};
use crate::adapters::{browser, kept};
use crate::i18n::{self, Decimal, Lang};
use crate::prefs::Prefs;
use crate::refusal::Refusal;

const PROFILE: &str = "profile";
const ENROLMENTS: &str = "enrolments";
/// In the browser's small store, which some browsers leave alone when they throw the database away: which enrolments it has had.
const WAS_HERE: &str = "enrolled";
/// The enrolment that was made anew here: whether an earlier one went silent with something unsent is still to be asked.
const IS_NEW: &str = "enrolled-anew";
/// Where the day sheet keeps its lines for the next start; leaves with the person.
pub const LAST_LOOK: &str = "day";
/// What must be read before a session can start.
pub const KEPT: [&str; 3] = [PROFILE, ENROLMENTS, LAST_LOOK];

/// A licence or competence.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ticket {
    /// What it permits.
    pub kind: String,
    /// Last valid day, `YYYY-MM-DD`; empty when it does not end.
    pub expires: String,
}

/// Somebody at the firm, as the server tells it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Person {
    /// Who.
    pub id: PersonId,
    /// As the firm calls them.
    pub display_name: String,
    /// What they are.
    pub roles: Vec<Role>,
    /// `en`, `de` or `es`.
    pub language: String,
    /// How they write numbers.
    pub decimal: Decimal,
    /// May sign in.
    pub active: bool,
    /// Their tickets.
    #[serde(default)]
    pub tickets: Vec<Ticket>,
    /// What a phone may know of their PIN; absent while they have none.
    #[serde(default)]
    pub pin: Option<SlipCheck>,
    /// For themselves and for owners.
    #[serde(default)]
    pub email: Option<String>,
    /// For owners, once the firm shows such things.
    #[serde(default)]
    pub last_seen_us: Option<i64>,
}

/// The firm.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Firm {
    /// Which.
    pub id: FirmId,
    /// Its name.
    pub name: String,
    /// Do owners see when somebody was last in contact? Everybody is told.
    #[serde(default)]
    pub shows_last_seen: bool,
}

/// What the server answers to a sign-in and to a renewal.
#[derive(Clone, Debug, Deserialize)]
pub struct SessionAnswer {
    /// For the next minutes.
    pub access_token: String,
    /// The person.
    pub person: Person,
    /// Their firm.
    pub firm: Firm,
    /// This enrolment.
    pub device: DeviceId,
    /// The server's clock, microseconds since 1970.
    pub server_us: i64,
}

/// What stays in the browser: enough to open local work, nothing to get in with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Profile {
    /// The person.
    pub person: Person,
    /// Their firm.
    pub firm: Firm,
    /// This enrolment.
    pub device: DeviceId,
}

impl SessionAnswer {
    fn profile(&self) -> Profile {
        Profile { person: self.person.clone(), firm: self.firm.clone(), device: self.device }
    }
}

impl Profile {
    fn text(&self) -> Option<String> {
        serde_json::to_string(self).ok()
    }
}

/// An enrolment that this browser had: the next sign-in with this e-mail takes it up again.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Enrolment {
    email: String,
    device: DeviceId,
}

/// How things stand with the server.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Standing {
    /// Not asked yet, or not reached.
    #[default]
    Unknown,
    /// It knows us.
    Open,
    /// It wants a new sign-in.
    Ended,
}

/// Who works here; a context, `Copy`.
#[derive(Clone, Copy)]
pub struct Session {
    profile: RwSignal<Option<Profile>>,
    standing: RwSignal<Standing>,
    /// Server clock minus device clock at the last answer, microseconds.
    clock_ahead_us: RwSignal<Option<i64>>,
    /// Somebody has left: a renewal that was under way then brings nobody back.
    is_left: StoredValue<bool>,
    api: Api,
    prefs: Prefs,
}

/// The [`Session`] of the app.
pub fn use_session() -> Session {
    expect_context::<Session>()
}

#[derive(Serialize)]
struct SignIn<'a> {
    email: &'a str,
    password: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    device: Option<DeviceId>,
    device_label: String,
}

impl Session {
    /// Opens what the browser kept, and asks the server in the background.
    pub fn start(api: Api, prefs: Prefs) -> Self {
        let kept = kept::kept(PROFILE).and_then(|text| serde_json::from_slice::<Profile>(text.as_bytes()).ok());
        let has_profile = kept.is_some();
        if let Some(profile) = &kept {
            mark_was_here(profile.device);
        }
        let this = Self {
            profile: RwSignal::new(kept),
            standing: RwSignal::default(),
            clock_ahead_us: RwSignal::default(),
            is_left: StoredValue::new(false),
            api,
            prefs,
        };
        api.watch(move |renewal| match renewal {
            Renewal::Renewed(_) if this.is_left.get_value() => api.set_token(None),
            Renewal::Renewed(answer) => this.take(*answer),
            Renewal::Ended(_) => this.standing.set(Standing::Ended),
        });
        if has_profile {
            spawn_local(async move {
                // Not reached is no news: the profile is open already, and each later call tries again.
                let _ = api.renew(None).await;
            });
        }
        this
    }

    /// The person at work. Tracked: changes also when their name or roles change.
    pub fn profile(self) -> Option<Profile> {
        self.profile.get()
    }

    /// The person at work, read once.
    pub fn profile_now(self) -> Option<Profile> {
        self.profile.get_untracked()
    }

    /// How things stand with the server. Tracked.
    pub fn standing(self) -> Standing {
        self.standing.get()
    }

    /// Server clock minus device clock at the last answer, microseconds; `None` before the first one.
    pub fn clock_ahead_us(self) -> Option<i64> {
        self.clock_ahead_us.get_untracked()
    }

    /// Does the person hold this role? Tracked.
    pub fn has(self, role: Role) -> bool {
        self.profile.with(|profile| profile.as_ref().is_some_and(|profile| profile.person.roles.contains(&role)))
    }

    /// Takes in what changed about the firm.
    pub fn set_firm(self, firm: Firm) {
        if let Some(profile) = self.profile_now() {
            self.keep_profile(Profile { firm, ..profile });
        }
    }

    /// Signs in.
    ///
    /// # Errors
    /// [`Refusal`]; `sign_in_refused` for a wrong e-mail or password.
    pub async fn sign_in(self, email: String, password: String) -> Result<(), Refusal> {
        let email = email.trim().to_ascii_lowercase();
        let device =
            enrolments().into_iter().find(|enrolment| enrolment.email == email).map(|enrolment| enrolment.device);
        let body =
            SignIn { email: &email, password: &password, device, device_label: device_label(&browser::user_agent()) };
        let answer: SessionAnswer =
            self.api.send(Call::new("POST", "/api/session").json(&body).anonymous()).await?.json()?;
        self.is_left.set_value(false);
        remember(&email, answer.device).await;
        if device != Some(answer.device) {
            browser::keep(IS_NEW, Some(&answer.device.to_string()));
        }
        mark_was_here(answer.device);
        self.api.set_token(Some(answer.access_token.clone()));
        // The door counts as open once it would open again without a server.
        kept::keep(PROFILE, answer.profile().text()).await;
        self.take(answer);
        Ok(())
    }

    /// Leaves. `forget` leaves nothing of the person on the device and says so, or keeps what still waits; the server is told if it
    /// can be reached.
    ///
    /// # Errors
    /// [`Refusal`] when the server could not be told: the person is signed out here all the same.
    pub async fn sign_out(self, forget: impl Future<Output = bool>) -> Result<(), Refusal> {
        self.is_left.set_value(true);
        self.api.set_token(None);
        let device = self.profile_now().map(|profile| profile.device);
        kept::keep(PROFILE, None).await;
        kept::keep(LAST_LOOK, None).await;
        kept::drop_key().await;
        self.standing.set(Standing::Unknown);
        // Store and sync are closed by it.
        self.profile.set(None);
        if let (true, Some(device)) = (forget.await, device) {
            // Its key and its chains went with it: whoever comes back gets a new enrolment.
            self.forget_enrolment(device).await;
        }
        self.api.send(Call::new("DELETE", "/api/session").anonymous()).await.map(|_| ())
    }

    /// The next sign-in makes a new enrolment and does not take this one up again.
    pub async fn forget_enrolment(self, device: DeviceId) {
        let mut all = enrolments();
        all.retain(|enrolment| enrolment.device != device);
        keep_enrolments(&all).await;
        unmark_was_here(device);
    }

    /// Whether the enrolment at work was made anew here and nobody has looked for an earlier one since.
    pub fn is_new_here(self) -> bool {
        let device = self.profile_now().map(|profile| profile.device.to_string());
        device.is_some() && browser::kept(IS_NEW) == device
    }

    /// Somebody has looked.
    pub fn has_looked_for_earlier(self) {
        browser::keep(IS_NEW, None);
    }

    /// Changes the person's own language and number format: here at once, at the server when it can be reached.
    ///
    /// # Errors
    /// [`Refusal`] when the server does not know yet; it is told at the next renewal.
    pub async fn prefer(self, lang: Lang, decimal: Decimal) -> Result<(), Refusal> {
        self.prefs.choose(lang, decimal);
        self.prefs.set_untold(true);
        self.tell_preferences().await
    }

    /// Takes over what the server has just said of the person at work.
    pub fn know(self, person: Person) {
        if let Some(profile) = self.profile_now().filter(|profile| profile.person.id == person.id) {
            self.keep_profile(Profile { person, ..profile });
        }
    }

    async fn tell_preferences(self) -> Result<(), Refusal> {
        let Some(profile) = self.profile_now() else { return Ok(()) };
        let words = self.prefs.words_now();
        let body = serde_json::json!({ "language": words.lang.code(), "decimal": words.decimal });
        self.api.send(Call::new("PATCH", format!("/api/people/{}", profile.person.id)).json(&body)).await?;
        self.prefs.set_untold(false);
        Ok(())
    }

    fn take(self, answer: SessionAnswer) {
        self.clock_ahead_us.set(Some(answer.server_us - browser::now_us()));
        let profile = answer.profile();
        if self.prefs.is_untold() {
            spawn_local(async move {
                // Stays untold and is tried again at the next renewal.
                let _ = self.tell_preferences().await;
            });
        } else {
            let person = &profile.person;
            self.speak(Lang::from_code(&person.language).unwrap_or_default(), person.decimal);
        }
        self.keep_profile(profile);
        if self.standing.get_untracked() != Standing::Open {
            self.standing.set(Standing::Open);
        }
    }

    /// As the server knows the person; in the language of before until the words have come, and if they do not come.
    fn speak(self, lang: Lang, decimal: Decimal) {
        if i18n::is_whole(lang) || self.prefs.words_now().lang == lang {
            return self.prefs.choose(lang, decimal);
        }
        spawn_local(async move {
            // What the person chose here meanwhile goes before.
            if self.prefs.bring(lang).await && !self.prefs.is_untold() {
                self.prefs.choose(lang, decimal);
            }
        });
    }

    fn keep_profile(self, profile: Profile) {
        let text = profile.text();
        if kept::kept(PROFILE) != text {
            spawn_local(kept::keep(PROFILE, text));
        }
        if self.profile.with_untracked(|own| own.as_ref() != Some(&profile)) {
            self.profile.set(Some(profile));
        }
    }
}

fn enrolments() -> Vec<Enrolment> {
    kept::kept(ENROLMENTS).and_then(|text| serde_json::from_slice(text.as_bytes()).ok()).unwrap_or_default()
}

async fn remember(email: &str, device: DeviceId) {
    let mut all = enrolments();
    all.retain(|enrolment| enrolment.email != email);
    all.push(Enrolment { email: email.to_owned(), device });
    keep_enrolments(&all).await;
}

async fn keep_enrolments(all: &[Enrolment]) {
    if let Ok(text) = serde_json::to_string(all) {
        kept::keep(ENROLMENTS, Some(text)).await;
    }
}

/// Enrolments that this browser has had and did not forget on purpose.
pub fn were_here() -> Vec<DeviceId> {
    let marks = browser::kept(WAS_HERE).unwrap_or_default();
    marks.split(' ').filter_map(|mark| mark.parse().ok()).collect()
}

fn mark_was_here(device: DeviceId) {
    let mut all = were_here();
    if !all.contains(&device) {
        all.push(device);
        keep_marks(&all);
    }
}

fn unmark_was_here(device: DeviceId) {
    let mut all = were_here();
    all.retain(|own| *own != device);
    keep_marks(&all);
}

fn keep_marks(all: &[DeviceId]) {
    let words: Vec<String> = all.iter().map(ToString::to_string).collect();
    browser::keep(WAS_HERE, Some(words.join(" ").as_str()).filter(|words| !words.is_empty()));
}

/// A name by which its person knows a device again: system and browser, nothing that identifies.
fn device_label(user_agent: &str) -> String {
    const SYSTEMS: [(&str, &str); 7] = [
        ("Android", "Android"),
        ("iPhone", "iPhone"),
        ("iPad", "iPad"),
        ("Windows", "Windows"),
        ("Mac OS", "Mac"),
        ("CrOS", "ChromeOS"),
        ("Linux", "Linux"),
    ];
    // The more particular name first: each browser also claims to be its ancestors.
    const BROWSERS: [(&str, &str); 5] = [
        ("Edg", "Edge"),
        ("Firefox", "Firefox"),
        ("SamsungBrowser", "Samsung Internet"),
        ("Chrome", "Chrome"),
        ("Safari", "Safari"),
    ];
    let found = |table: &[(&str, &'static str)]| {
        table.iter().find(|(sign, _)| user_agent.contains(sign)).map(|(_, name)| *name)
    };
    [found(&SYSTEMS), found(&BROWSERS)].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_device_is_named_by_system_and_browser() {
        let phone =
            "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/126.0 Mobile Safari/537.36";
        assert_eq!(device_label(phone), "Android, Chrome");
        assert_eq!(
            device_label("Mozilla/5.0 (X11; Linux x86_64; rv:127.0) Gecko/20100101 Firefox/127.0"),
            "Linux, Firefox"
        );
        assert_eq!(device_label(""), "");
    }

    #[test]
    fn a_profile_survives_the_browser_and_has_no_token() {
        let text = r#"{"access_token":"secret","expires_in_s":600,"person":{"id":"0198c2a0-0000-7000-8000-000000000001",
            "display_name":"Ada","roles":["lead","technician"],"language":"de","decimal":",","active":true,"tickets":[]},
            "firm":{"id":"0198c2a0-0000-7000-8000-000000000002","name":"Firm"},"device":"0198c2a0-0000-7000-8000-000000000003","server_us":1}"#;
        let answer: SessionAnswer = serde_json::from_str(text).expect("the answer of the server is read");
        let profile = Profile { person: answer.person, firm: answer.firm, device: answer.device };
        let kept = serde_json::to_string(&profile).expect("a profile is written");
        assert!(!kept.contains("secret"));
        assert_eq!(serde_json::from_str::<Profile>(&kept).ok(), Some(profile));
    }
}
