//! Leaving: over a full tray only with open eyes, in two separate acts.

use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos_router::NavigateOptions;
use leptos_router::hooks::use_navigate;

use crate::app::SyncStatus;
use crate::device::use_device;
use crate::i18n::use_words;
use crate::routes::Screen;
use crate::session::use_session;
use crate::ui::{Banner, Button, CheckRow, Look, Page, Toasts, Tone};
use crate::{t, tn};

/// The page.
#[component]
pub fn SignOutPage() -> impl IntoView {
    let (w, session) = (use_words(), use_session());
    let status = expect_context::<SyncStatus>();
    let toasts = expect_context::<Toasts>();
    let device = use_device();
    let staged = RwSignal::new(0_u32);
    Effect::new(move |_| {
        let Some(store) = device.store() else { return };
        spawn_local(async move {
            let count = store.staged_photos().await.map_or(0, |photos| photos.len());
            let _ = staged.try_set(u32::try_from(count).unwrap_or(u32::MAX));
        });
    });
    let known = RwSignal::new(false);
    let busy = RwSignal::new(false);
    let navigate = use_navigate();
    let leave = move || {
        busy.set(true);
        let navigate = navigate.clone();
        // What still waits must be opened again one day.
        let store = device.store_now().filter(|_| status.waiting.get_untracked() == 0 && staged.get_untracked() == 0);
        spawn_local(async move {
            let forget = async move {
                match store {
                    Some(store) => store.forget_all().await.is_ok(),
                    None => false,
                }
            };
            let told = session.sign_out(forget).await;
            navigate(&Screen::SignIn.href(), NavigateOptions { replace: true, ..NavigateOptions::default() });
            if told.is_err() {
                toasts.say(t!(w, "sign_out.not_told"));
            }
        });
    };
    let shut = Signal::derive(move || status.waiting.get() > 0 && !known.get());
    let bottom = move || {
        let leave = leave.clone();
        view! { <Button label=t!(w, "sign_out.action") look=Look::Main disabled=shut busy on_press=leave /> }
    };
    let state = move || match status.waiting.get() {
        0 if staged.get() > 0 => {
            view! { <Banner tone=Tone::Caution><p>{tn!(w, "sign_out.staged", staged.get())}</p></Banner> }.into_any()
        }
        0 => view! {
            <p>{t!(w, "sign_out.empty_tray")}</p>
            <p>{t!(w, "sign_out.forgets")}</p>
        }
        .into_any(),
        n => view! {
            <Banner tone=Tone::Caution title=tn!(w, "sign_out.full_tray", n)>
                <p>{t!(w, "sign_out.stays")}</p>
            </Banner>
            <CheckRow label=t!(w, "sign_out.confirm") checked=known />
        }
        .into_any(),
    };
    view! {
        <Page title=t!(w, "sign_out.title") back=Screen::Menu bottom=bottom>
            {state}
        </Page>
    }
}
