//! What a person must hear before they drive off with a phone that does not hold the app: that it opens only where there is a network, and
//! why.

use gloo_timers::callback::Timeout;
use leptos::prelude::*;

use crate::adapters::shell::{self, Ground, Shell, Why};
use crate::app::ShellStatus;
use crate::i18n::{Words, use_words};
use crate::t;
use crate::ui::{Banner, Button, Tone};

/// So long nothing is said of an app that is on its way: on a good line it is stored by then.
const PATIENCE_MS: u32 = 8_000;

/// The ground in a sentence.
pub fn ground(w: Words, why: &Why) -> String {
    let file = &why.file;
    match why.ground {
        Ground::Redirect => t!(w, "risk.not_stored.redirect", file = file),
        Ground::Elsewhere => t!(w, "risk.not_stored.elsewhere", file = file),
        Ground::Status(status) => t!(w, "risk.not_stored.status", file = file, status = status),
        Ground::Bytes => t!(w, "risk.not_stored.bytes", file = file),
        Ground::Unreachable => t!(w, "risk.not_stored.unreachable", file = file),
        Ground::Full => t!(w, "risk.not_stored.full").to_owned(),
        Ground::NoWorkers => t!(w, "risk.not_stored.no_workers").to_owned(),
        Ground::Unknown => t!(w, "risk.not_stored.unknown").to_owned(),
    }
}

/// Stands on the day sheet and on the first step; nothing once the app is stored.
#[component]
pub fn NotStored() -> impl IntoView {
    let w = use_words();
    let status = use_context::<ShellStatus>();
    let is_late = RwSignal::new(false);
    // Ends with the page.
    let _waiting = StoredValue::new_local(Timeout::new(PATIENCE_MS, move || {
        let _ = is_late.try_set(true);
    }));
    move || match status?.0.get() {
        Shell::Stored => None,
        Shell::Asked => is_late.get().then(|| {
            view! {
                <Banner tone=Tone::Wait title=t!(w, "risk.not_stored.title")>
                    <p data-not-stored="asked">{t!(w, "risk.not_stored.coming")}</p>
                </Banner>
            }
            .into_any()
        }),
        Shell::Refused(why) => {
            let again = (why.ground != Ground::NoWorkers).then(|| {
                view! {
                    <p>{t!(w, "risk.not_stored.again")}</p>
                    <Button label=t!(w, "ui.retry") on_press=shell::try_again />
                }
            });
            let banner = view! {
                <Banner tone=Tone::Stop title=t!(w, "risk.not_stored.title")>
                    <p data-not-stored="refused">{ground(w, &why)}</p>
                    <p>{t!(w, "risk.not_stored.text")}</p>
                    {again}
                </Banner>
            };
            Some(banner.into_any())
        }
    }
}
