//! The app around all screens: contexts, the door (who may see what), the rail of a desk, news of a new version.

use domain::people::Role;
use domain::tray::Word;
use leptos::prelude::*;
use leptos_router::components::{A, FlatRoutes, Redirect, Route, Router};
use leptos_router::hooks::{use_location, use_navigate};
use leptos_router::{NavigateOptions, WildcardSegment};

use crate::adapters::browser;
use crate::adapters::fetch::Api;
use crate::adapters::shell::{self, Shell};
use crate::features::session::menu::NowherePage;
use crate::i18n::{Words, use_words};
use crate::parts;
use crate::prefs::{Prefs, use_prefs};
use crate::routes::{Screen, home_of, rooms_of};
use crate::session::{Session, use_session};
use crate::ui::{Banner, Button, Glyph, Icon, ToastList, Toasts};
use crate::{key, t};

/// What the sync loop says; it alone writes here. A context, `Copy`.
#[derive(Clone, Copy, Default)]
pub struct SyncStatus {
    /// For the corner; `None` until the device has been looked through and the server, or its silence, been heard.
    pub word: RwSignal<Option<Word>>,
    /// How many things are on this device only.
    pub waiting: RwSignal<u32>,
    /// False while a camera is open, a draft is unsaved or something is being written: no moment for a new version.
    pub busy: RwSignal<bool>,
}

impl SyncStatus {
    /// Nobody knows yet what there is to fetch: what looks empty may be on its way. Tracked.
    pub fn is_looking(self) -> bool {
        self.word.with(Option::is_none)
    }
}

/// Whether the app is stored on this device. A context, `Copy`.
#[derive(Clone, Copy)]
pub struct ShellStatus(pub RwSignal<Shell>);

/// A new version waits to be let in.
#[derive(Clone, Copy)]
struct UpdateReady(RwSignal<bool>);

/// Everything.
#[component]
pub fn App() -> impl IntoView {
    let api = Api::default();
    let prefs = Prefs::load();
    provide_context(api);
    provide_context(prefs);
    let (session, status) = (Session::start(api, prefs), SyncStatus::default());
    provide_context(session);
    provide_context(status);
    parts::lay_ground_below(Owner::current());
    provide_context(Toasts::default());
    let update = UpdateReady(RwSignal::new(false));
    provide_context(update);
    browser::on_update_ready(move || update.0.set(true));
    let stored = ShellStatus(RwSignal::new(shell::now()));
    provide_context(stored);
    shell::on_change(move || stored.0.set(shell::now()));
    parts::begin();
    // Once the first screen has what it shows: until then nothing else should want the phone.
    Effect::new(move |_| {
        if !status.is_looking()
            && let Some(profile) = session.profile()
        {
            parts::load_ahead(profile.person.roles);
        }
    });
    // One route for all: the table of screens is `routes.rs`, where it can be tested and costs no types.
    view! {
        <Router>
            <FlatRoutes fallback=|| ()>
                <Route path=WildcardSegment("path") view=Door />
            </FlatRoutes>
        </Router>
    }
}

/// Draws the screen of the address, for those who may see it.
#[component]
fn Door() -> impl IntoView {
    let (session, prefs) = (use_session(), use_prefs());
    let path = use_location().pathname;
    let is_wide = RwSignal::new(false);
    browser::on_media("(min-width: 1000px)", move |applies| is_wide.set(applies));
    // A renewed token must not build the screen anew; other roles or another person must.
    let who = Memo::new(move |_| session.profile().map(|profile| (profile.person.id, profile.person.roles)));
    // Home is drawn as what it stands for at once; the address follows, and finds its screen drawn already.
    let home = Memo::new(move |_| who.get().map(|(_, roles)| home_of(&roles)));
    let screen = Memo::new(move |_| match Screen::parse(&path.get()) {
        Screen::Home => home.get().unwrap_or(Screen::Home),
        screen => screen,
    });
    let navigate = use_navigate();
    Effect::new(move |_| {
        if let (Screen::Home, Some(home)) = (Screen::parse(&path.get()), home.get()) {
            navigate(&home.href(), NavigateOptions { replace: true, ..NavigateOptions::default() });
        }
    });
    move || {
        let (screen, who, words) = (screen.get(), who.get(), prefs.words());
        provide_context(words);
        expect_context::<Toasts>().clear();
        let roles = who.map(|(_, roles)| roles);
        frame(screen, roles, is_wide).into_any()
    }
}

fn frame(screen: Screen, roles: Option<Vec<Role>>, is_wide: RwSignal<bool>) -> impl IntoView {
    let w = use_words();
    let alone = screen.is_alone() || roles.is_none();
    let content = match (screen.access().admits(roles.as_deref()), &roles) {
        (false, None) => view! { <Redirect path=Screen::SignIn.href() /> }.into_any(),
        (false, Some(_)) => view! { <NowherePage words=key!("page.not_for_you") /> }.into_any(),
        (true, _) => screen.clone().draw(),
    };
    // A phone has no room for it, and building it would cost a tenth of the start.
    let rail = move || roles.as_ref().filter(|_| !alone && is_wide.get()).map(|roles| rail(w, &screen, roles));
    view! {
        <div class="frame" class:alone=alone>
            <a class="skip" href="#main">{t!(w, "ui.skip_to_main")}</a>
            {rail}
            <div class="beside">
                <UpdateNews />
                {content}
            </div>
            <ToastList />
        </div>
    }
}

fn rail(w: Words, screen: &Screen, roles: &[Role]) -> AnyView {
    let link = |target: Screen, name: &'static str, icon: Icon| {
        let current = (target == *screen).then_some("page");
        view! {
            <A href=target.href() attr:class="room" attr:aria-current=current>
                <Glyph icon />
                <span>{name}</span>
            </A>
        }
        .into_any()
    };
    let rooms: Vec<AnyView> =
        rooms_of(roles).map(|room| link(room.screen.clone(), w.say(room.name), room.icon)).collect();
    view! {
        <nav class="rail" aria-label=t!(w, "menu.title")>
            <a class="sign" href="/">
                <img src="/icons/mark.svg" alt="" />
                <span>"Witnessmark"</span>
            </a>
            {rooms}
            <span class="spring"></span>
            {link(Screen::Settings, t!(w, "settings.title"), Icon::Settings)}
            {link(Screen::About, t!(w, "about.title"), Icon::Info)}
            {link(Screen::SignOut, t!(w, "sign_out.title"), Icon::Leave)}
        </nav>
    }
    .into_any()
}

/// Offers a new version at a calm moment; takes it only when the person says so. Untouched, it is let in at the next start.
#[component]
fn UpdateNews() -> impl IntoView {
    let w = use_words();
    let update = expect_context::<UpdateReady>();
    let sync = expect_context::<SyncStatus>();
    move || {
        (update.0.get() && !sync.busy.get()).then(|| {
            view! {
                <div class="news">
                    <Banner>
                        <p>{t!(w, "update.ready")}</p>
                        <Button label=t!(w, "update.action") on_press=browser::take_over />
                    </Banner>
                </div>
            }
        })
    }
}
