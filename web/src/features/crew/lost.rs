//! After the browser threw this device's data away nothing here could say so: the server's last word about the earlier enrolment does.

use domain::ids::DeviceId;
use domain::tray::{Enrolled, silent_since};
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::Deserialize;

use crate::adapters::browser;
use crate::adapters::fetch::use_api;
use crate::i18n::{Words, use_words};
use crate::session::{Standing, use_session, were_here};
use crate::ui::{Banner, Button, Tone};
use crate::{t, tn};

/// What of the server's list of one's own devices is looked at here.
#[derive(Deserialize)]
struct Listed {
    id: DeviceId,
    person: domain::ids::PersonId,
    label: String,
    created_us: i64,
    #[serde(default)]
    last_contact_us: Option<i64>,
    #[serde(default)]
    waiting: u32,
    #[serde(default)]
    revoked_us: Option<i64>,
}

impl Listed {
    fn enrolled(self, were_here: &[DeviceId]) -> Enrolled {
        Enrolled {
            device: self.id,
            label: self.label,
            created_us: self.created_us,
            last_contact_us: self.last_contact_us,
            waiting: self.waiting,
            is_revoked: self.revoked_us.is_some(),
            was_here: were_here.contains(&self.id),
        }
    }
}

/// Told until somebody says that they have read it, or the earlier device is heard of again. Asked only after a sign-in that made a new
/// enrolment.
#[component]
pub(super) fn Lost() -> impl IntoView {
    let (w, api, session) = (use_words(), use_api(), use_session());
    let found = RwSignal::new(Vec::<Enrolled>::new());
    let asked = StoredValue::new(false);
    Effect::new(move |_| {
        let is_open = session.standing() == Standing::Open;
        let Some(profile) = session.profile().filter(|_| is_open && session.is_new_here()) else { return };
        if asked.get_value() {
            return;
        }
        asked.set_value(true);
        spawn_local(async move {
            // Not reached: the next screen asks again.
            let Ok(all) = api.get::<Vec<Listed>>("/api/devices").await else { return };
            let marks = were_here();
            let own = all.into_iter().filter(|one| one.person == profile.person.id);
            let own: Vec<Enrolled> = own.map(|one| one.enrolled(&marks)).collect();
            let silent = silent_since(&own, profile.device);
            if silent.is_empty() {
                session.has_looked_for_earlier();
            }
            let _ = found.try_set(silent);
        });
    });
    let noted = move || {
        session.has_looked_for_earlier();
        found.set(Vec::new());
    };
    move || {
        let all = found.get();
        (!all.is_empty()).then(|| {
            let each = all.iter().map(|one| draw(w, one)).collect_view();
            view! {
                {each}
                <Button label=t!(w, "risk.lost.noted") on_press=noted />
            }
        })
    }
}

fn draw(w: Words, one: &Enrolled) -> AnyView {
    let us = one.last_contact_us.unwrap_or(one.created_us);
    let when = w.moment(us, browser::offset_minutes(us));
    let (name, tone, title, report, what_now) = if one.was_here {
        let report = tn!(w, "risk.lost.here", one.waiting, when = when);
        ("here", Tone::Stop, t!(w, "risk.lost.here_title"), report, t!(w, "risk.lost.here_now"))
    } else {
        let report = tn!(w, "risk.lost.maybe", one.waiting, label = one.label, when = when);
        ("maybe", Tone::Caution, t!(w, "risk.lost.maybe_title"), report, t!(w, "risk.lost.maybe_now"))
    };
    view! {
        <Banner tone title>
            <p data-lost=name>{report}</p>
            <p>{what_now}</p>
        </Banner>
    }
    .into_any()
}
