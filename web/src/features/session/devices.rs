//! Devices: which there are, and a way to shut each of them out.

use domain::ids::{DeviceId, PersonId};
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::Deserialize;

use crate::adapters::browser;
use crate::adapters::fetch::{Call, use_api};
use crate::i18n::use_words;
use crate::refusal::Refusal;
use crate::ui::{Banner, Button, Chip, Icon, Look, Sheet, Tone};
use crate::{t, tn};

/// A device as the server tells it.
#[derive(Clone, Debug, Deserialize)]
pub struct DeviceView {
    id: DeviceId,
    pub(super) person: PersonId,
    label: String,
    #[serde(default)]
    last_contact_us: Option<i64>,
    /// Not delivered when it was last here.
    #[serde(default)]
    waiting: u32,
    #[serde(default)]
    revoked_us: Option<i64>,
    /// When another key than its own was offered last.
    #[serde(default)]
    key_refused_us: Option<i64>,
    #[serde(default)]
    here: bool,
}

/// Devices with a way to shut each of them out.
#[component]
pub(super) fn DeviceList(devices: Vec<DeviceView>, #[prop(into)] changed: UnsyncCallback<()>) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let asked = RwSignal::new(None::<(DeviceId, String)>);
    let open = RwSignal::new(false);
    let (busy, refused) = (RwSignal::new(false), RwSignal::new(None::<Refusal>));
    let revoke = move || {
        let Some((id, _)) = asked.get_untracked() else { return };
        busy.set(true);
        spawn_local(async move {
            let outcome = api.send(Call::new("DELETE", format!("/api/devices/{id}"))).await;
            let _ = busy.try_set(false);
            match outcome {
                Ok(_) => {
                    let _ = open.try_set(false);
                    changed.try_run(());
                }
                Err(refusal) => {
                    let _ = refused.try_set(Some(refusal));
                }
            }
        });
    };
    let row = move |device: DeviceView| {
        let seen = device
            .last_contact_us
            .map(|us| t!(w, "device.last_seen", when = w.moment(us, browser::offset_minutes(us))));
        let waiting = (device.waiting > 0).then(|| tn!(w, "device.waiting", device.waiting));
        let other_key = device.key_refused_us.map(|us| {
            let when = w.moment(us, browser::offset_minutes(us));
            view! {
                <Banner tone=Tone::Caution>
                    <p>{t!(w, "device.other_key", when = when)}</p>
                </Banner>
            }
        });
        let (id, label) = (device.id, device.label.clone());
        let ask = move || {
            asked.set(Some((id, label.clone())));
            refused.set(None);
            open.set(true);
        };
        let end = if device.revoked_us.is_some() {
            view! { <Chip label=t!(w, "device.revoked") tone=Tone::Stop icon=Icon::Lock /> }.into_any()
        } else if device.here {
            view! { <Chip label=t!(w, "device.this") tone=Tone::Good icon=Icon::Device /> }.into_any()
        } else {
            view! { <Button label=t!(w, "device.revoke") look=Look::Danger on_press=ask /> }.into_any()
        };
        view! {
            <li class="card">
                <p><b dir="auto">{device.label}</b>" "<span class="soft serial">{id.short()}</span></p>
                {seen.map(|seen| view! { <p class="soft">{seen}</p> })}
                {waiting.map(|waiting| view! { <Chip label=waiting tone=Tone::Caution icon=Icon::Tray /> })}
                {other_key}
                <div class="row">{end}</div>
            </li>
        }
    };
    let none = devices.is_empty().then(|| view! { <p class="soft">{t!(w, "device.none")}</p> });
    let title = move || asked.get().map(|(_, label)| t!(w, "device.revoke_ask", label = label)).unwrap_or_default();
    view! {
        {none}
        <ul class="rows">{devices.into_iter().map(row).collect_view()}</ul>
        <Sheet open title acts=move || view! { <Button label=t!(w, "device.revoke") look=Look::Danger busy on_press=revoke /> }>
            <p>{t!(w, "device.revoke_warning")}</p>
            {move || refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
        </Sheet>
    }
}
