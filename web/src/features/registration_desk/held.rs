//! Entries that the server keeps and somebody must look at.

use leptos::prelude::*;
use leptos_router::components::A;

use super::view_model::HeldRow;
use super::words::held_why;
use crate::adapters::fetch::use_api;
use crate::device::use_device;
use crate::features::desk::moment;
use crate::features::words::person;
use crate::i18n::use_words;
use crate::load::{Load, load, shown};
use crate::routes::Screen;
use crate::t;
use crate::ui::{Empty, Icon, Table};

/// The list.
#[component]
pub fn HeldList() -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let rows = RwSignal::new(Load::<Vec<HeldRow>>::Waiting);
    let fetch = move || load(rows, async move { api.get("/api/held").await });
    fetch();
    let device = use_device();
    let draw = move |all: Vec<HeldRow>| {
        if all.is_empty() {
            return view! { <Empty words=t!(w, "registration.held_none") icon=Icon::Tick /> }.into_any();
        }
        let names = device.people();
        let row = |own: HeldRow| {
            let why = held_why(w, &own.why);
            let who = if own.author == own.by_person {
                person(w, &names, own.author)
            } else {
                t!(
                    w,
                    "registration.held_sent_by",
                    author = person(w, &names, own.author),
                    sender = person(w, &names, own.by_person)
                )
            };
            view! {
                <tr>
                    <th scope="row">{moment(w, own.held_us)}</th>
                    <td data-label=t!(w, "registration.why")>{why}</td>
                    <td data-label=t!(w, "registration.who")>{who}</td>
                    <td data-label=t!(w, "registration.kind")>{own.kind_name.clone().unwrap_or_default()}</td>
                    <td data-label=t!(w, "registration.job")><A href=Screen::JobDesk(own.job).href()>{own.job.short()}</A></td>
                    <td data-label=t!(w, "registration.entry") class="serial">{own.entry.short()}</td>
                </tr>
            }
        };
        let head = [
            t!(w, "registration.when"),
            t!(w, "registration.why"),
            t!(w, "registration.who"),
            t!(w, "registration.kind"),
            t!(w, "registration.job"),
            t!(w, "registration.entry"),
        ];
        let rows = all.into_iter().map(row).collect_view();
        let head = head.map(str::to_owned).to_vec();
        view! {
            <p class="soft">{t!(w, "registration.held_explain")}</p>
            <Table caption=t!(w, "registration.held") quiet=true head=head>{rows}</Table>
        }
        .into_any()
    };
    shown(rows, fetch, draw)
}
