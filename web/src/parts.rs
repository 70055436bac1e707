//! The app comes in parts: what draws a technician's first screen is one module, the rest are modules of their own that the page
//! loads once it stands. `cargo xtask web` cuts them apart along the functions that are marked here.
//!
//! A part that was loaded once stays. All of them belong to the shell that the service worker keeps, so a part is loaded without
//! a network as well.

use std::cell::RefCell;

use domain::people::Role;
use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos::wasm_split::SplitLoaderError;

use crate::i18n::use_words;
use crate::routes::Screen;
use crate::t;
use crate::ui::{Banner, Button, LinkButton, Look, Page, Tone, Waiting};

/// What a part gives once it is here.
pub type Draw = fn(Screen) -> AnyView;

/// Screens that travel together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Work on site: job, step, tests.
    Site,
    /// Planning, review, registration, the firm's lists.
    Desk,
    /// A person's own things: coming in, leaving, settings, the tray.
    Own,
}

impl Part {
    /// Every part, in the order in which a page that stands loads them.
    pub const ALL: [Self; 3] = [Self::Site, Self::Own, Self::Desk];

    /// Whether somebody with these roles can enter one of its screens.
    fn is_for(self, roles: &[Role]) -> bool {
        match self {
            Self::Site | Self::Own => true,
            Self::Desk => roles.iter().any(|role| *role != Role::Technician),
        }
    }

    async fn load(self) -> Result<Draw, SplitLoaderError> {
        if let Some(draw) = self.here() {
            return Ok(draw);
        }
        let draw = match self {
            Self::Site => marked::site().await?,
            Self::Desk => marked::desk().await?,
            Self::Own => marked::own().await?,
        };
        HERE.with_borrow_mut(|here| here[self as usize] = Some(draw));
        Ok(draw)
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
    static HERE: RefCell<[Option<Draw>; 3]> = const { RefCell::new([None; 3]) };
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
    let ask = move || {
        come.set(None);
        spawn_local(async move {
            let outcome = part.load().await.ok();
            // The screen may be gone by now; then nobody waits for it.
            let _ = come.try_set(Some(outcome));
        });
    };
    ask();
    move || {
        match come.get() {
        None => view! { <main id="main" aria-busy="true"><Waiting /></main> }.into_any(),
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

/// The marks. The macro writes an import and an export by hand, which is what makes the cut; nothing here reads or writes memory.
#[allow(unsafe_code, reason = "the macro of the splitting declares its imports and exports with `unsafe`")]
mod marked {
    use super::{Draw, SplitLoaderError};
    use crate::routes;
    use leptos::wasm_split::wasm_split;

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
