//! The app comes in parts: what draws a technician's first screen is one module, the rest are modules of their own that the page
//! loads once it stands. `cargo xtask web` cuts them apart along the functions that are marked here.
//!
//! What a first screen does not say are words of a file of their own; the parts that say them wait for it.
//!
//! A part that was loaded once stays. All of them belong to the shell that the service worker keeps, so a part is loaded without
//! a network as well.

use std::cell::RefCell;

use domain::people::Role;
use gloo_timers::future::TimeoutFuture;
use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos::wasm_split::SplitLoaderError;

use crate::features::day_sheet;
use crate::i18n::use_words;
use crate::prefs::bring_the_rest;
use crate::routes::Screen;
use crate::t;
use crate::ui::{Banner, Button, LinkButton, Look, Page, Tone, Waiting};

/// Long enough for a first frame, too short to be noticed.
const AFTER_THE_FRAME_MS: u32 = 30;
/// Between two tries to fetch what store and sync need.
const PAUSE_MIN_MS: u32 = 1_000;
const PAUSE_MAX_MS: u32 = 30_000;

/// What a part gives once it is here.
pub type Draw = fn(Screen) -> AnyView;

/// Screens that travel together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The day sheet, and with it what every other part stands on: store, sync and the fold.
    Day,
    /// Work on site: job, step, tests.
    Site,
    /// Planning, review, registration, the firm's lists.
    Desk,
    /// A person's own things: coming in, leaving, settings, the tray.
    Own,
}

impl Part {
    /// Every part, in the order in which a page that stands loads them.
    pub const ALL: [Self; 4] = [Self::Day, Self::Site, Self::Own, Self::Desk];

    /// Whether somebody with these roles can enter one of its screens.
    fn is_for(self, roles: &[Role]) -> bool {
        match self {
            Self::Day | Self::Site | Self::Own => true,
            Self::Desk => roles.iter().any(|role| *role != Role::Technician),
        }
    }

    /// Whether it says words of the later file.
    const fn says_later_words(self) -> bool {
        match self {
            Self::Site | Self::Desk => true,
            Self::Day | Self::Own => false,
        }
    }

    /// `None` where something of it cannot be had now.
    async fn load(self) -> Option<Draw> {
        if let Some(draw) = self.here() {
            return Some(draw);
        }
        stand_on_ground().await.ok()?;
        if self.says_later_words() && !bring_the_rest().await {
            return None;
        }
        let draw = match self {
            Self::Day => marked::day().await,
            Self::Site => marked::site().await,
            Self::Desk => marked::desk().await,
            Self::Own => marked::own().await,
        };
        let draw = draw.ok()?;
        HERE.with_borrow_mut(|here| here[self as usize] = Some(draw));
        Some(draw)
    }

    fn here(self) -> Option<Draw> {
        HERE.with_borrow(|here| here[self as usize])
    }

    /// A screen of this part: at once if the part is here, else as soon as it is.
    pub fn draw(self, screen: Screen) -> AnyView {
        match self.here() {
            Some(draw) => draw(screen),
            None => view! { <Coming part=self screen /> }.into_any(),
        }
    }
}

thread_local! {
    static HERE: RefCell<[Option<Draw>; 4]> = const { RefCell::new([None; 4]) };
    /// The app's own owner, and whether the ground has been laid below it.
    static APP: RefCell<(Option<Owner>, bool)> = const { RefCell::new((None, false)) };
}

/// Below whom the ground is laid: called once, by the app.
pub fn lay_ground_below(app: Option<Owner>) {
    APP.with_borrow_mut(|own| *own = (app, false));
}

/// Store and sync are opened as soon as their code is here, and stay as long as the app does.
async fn stand_on_ground() -> Result<(), SplitLoaderError> {
    let lay = marked::ground().await?;
    let app = APP.with_borrow_mut(|(app, is_laid)| if std::mem::replace(is_laid, true) { None } else { app.clone() });
    if let Some(app) = app {
        app.with(lay);
    }
    Ok(())
}

/// Lays the ground unasked, whichever screen is shown: what waits here must be sent. Without a network in the first seconds after a
/// sign-in its code may not be here yet, so it is tried until it is.
pub fn begin() {
    spawn_local(insist(async || stand_on_ground().await.ok(), |_| false));
}

/// Tries until there is an outcome or nobody wants it any more; each outcome is `told`, which says whether that is so. Timers are
/// served after the frame that is due, so the first screen is not kept waiting.
async fn insist<T>(attempt: impl AsyncFn() -> Option<T>, told: impl Fn(Option<T>) -> bool) {
    TimeoutFuture::new(AFTER_THE_FRAME_MS).await;
    let mut pause_ms = PAUSE_MIN_MS;
    loop {
        let outcome = attempt().await;
        let is_here = outcome.is_some();
        if told(outcome) || is_here {
            return;
        }
        TimeoutFuture::new(pause_ms).await;
        pause_ms = (pause_ms * 2).min(PAUSE_MAX_MS);
    }
}

/// Loads what this person may need next, one after the other, so that it is here when a network goes.
pub fn load_ahead(roles: Vec<Role>) {
    spawn_local(async move {
        for part in Part::ALL.into_iter().filter(|part| part.is_for(&roles)) {
            // The screen that needs it says so and offers another try.
            let _ = part.load().await;
        }
    });
}

#[component]
fn Coming(part: Part, screen: Screen) -> impl IntoView {
    let w = use_words();
    let come = RwSignal::new(None);
    let tries = StoredValue::new(0_u32);
    // Tried again unasked as well: somebody who walks back into a signal should not have to press.
    let ask = move || {
        come.set(None);
        tries.update_value(|tries| *tries += 1);
        let own = tries.get_value();
        // The screen may be gone by the time, or somebody pressed again: then nobody waits for this one.
        let told = move |outcome| tries.try_get_value() != Some(own) || come.try_set(Some(outcome)).is_some();
        spawn_local(insist(async move || part.load().await, told));
    };
    ask();
    move || {
        match come.get() {
        None if part == Part::Day => day_sheet::rows::draw_last_look().unwrap_or_else(still_coming),
        None => still_coming(),
        Some(Some(draw)) => draw(screen.clone()),
        Some(None) => view! {
            <Page
                title=t!(w, "part.missing.title")
                bottom=move || view! { <LinkButton label=t!(w, "page.home") href=Screen::Home.href() look=Look::Plain /> }
            >
                <Banner tone=Tone::Stop>
                    <p>{t!(w, "part.missing.text")}</p>
                    <Button label=t!(w, "ui.retry") on_press=ask />
                </Banner>
            </Page>
        }
        .into_any(),
    }
    }
}

fn still_coming() -> AnyView {
    view! { <main id="main" aria-busy="true"><Waiting /></main> }.into_any()
}

/// The marks. The macro writes an import and an export by hand, which is what makes the cut; nothing here reads or writes memory.
#[allow(unsafe_code, reason = "the macro of the splitting declares its imports and exports with `unsafe`")]
mod marked {
    use super::{Draw, SplitLoaderError};
    use crate::{device, routes};
    use leptos::wasm_split::wasm_split;

    // Two doors of one part.
    #[wasm_split(day, wasm_split_path = leptos::wasm_split, fallible)]
    pub(super) fn ground() -> Result<fn(), SplitLoaderError> {
        Ok(device::lay_ground)
    }

    #[wasm_split(day, wasm_split_path = leptos::wasm_split, fallible)]
    pub(super) fn day() -> Result<Draw, SplitLoaderError> {
        Ok(routes::draw_day)
    }

    #[wasm_split(site, wasm_split_path = leptos::wasm_split, fallible)]
    pub(super) fn site() -> Result<Draw, SplitLoaderError> {
        Ok(routes::draw_site)
    }

    #[wasm_split(desk, wasm_split_path = leptos::wasm_split, fallible)]
    pub(super) fn desk() -> Result<Draw, SplitLoaderError> {
        Ok(routes::draw_desk)
    }

    #[wasm_split(own, wasm_split_path = leptos::wasm_split, fallible)]
    pub(super) fn own() -> Result<Draw, SplitLoaderError> {
        Ok(routes::draw_own)
    }
}
