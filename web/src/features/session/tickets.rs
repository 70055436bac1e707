//! The tickets of a person: kinds of licence and the last day of each.

use leptos::prelude::*;

use crate::adapters::browser;
use crate::i18n::format::Day;
use crate::i18n::use_words;
use crate::session::Ticket;
use crate::t;
use crate::ui::{Button, Chip, Field, FieldKind, Icon, Look, Section, Tone};

/// Tickets that can be added and taken away; nothing is sent before the person is saved.
#[component]
pub(super) fn Tickets(tickets: RwSignal<Vec<Ticket>>) -> impl IntoView {
    let w = use_words();
    let (kind, expires) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let wrong = RwSignal::new(None);
    let add = move || {
        let ticket = Ticket { kind: kind.get_untracked().trim().to_owned(), expires: expires.get_untracked() };
        if ticket.kind.is_empty() {
            wrong.set(Some(t!(w, "ui.required").to_owned()));
            return;
        }
        wrong.set(None);
        tickets.update(|all| {
            // A renewed ticket takes the place of the old one.
            all.retain(|own| own.kind != ticket.kind);
            all.push(ticket);
        });
        kind.set(String::new());
        expires.set(String::new());
    };
    let now = browser::now_us();
    let today = Day::of_us(now, browser::offset_minutes(now));
    let row = move |ticket: Ticket| {
        let until = if ticket.expires.is_empty() {
            t!(w, "ticket.no_end").to_owned()
        } else {
            t!(w, "ticket.until", day = w.day_text(&ticket.expires))
        };
        let ended = Day::parse(&ticket.expires).is_some_and(|day| day < today);
        let name = ticket.kind.clone();
        let remove = move || tickets.update(|all| all.retain(|own| own.kind != ticket.kind));
        view! {
            <li class="card">
                <p><b dir="auto">{name}</b>" "<span class="soft">{until}</span></p>
                {ended.then(|| view! { <Chip label=t!(w, "ticket.ended") tone=Tone::Stop icon=Icon::Wait /> })}
                <div class="row"><Button label=t!(w, "ticket.remove") look=Look::Quiet on_press=remove /></div>
            </li>
        }
    };
    view! {
        <Section title=t!(w, "ticket.title")>
            <ul class="rows">{move || tickets.get().into_iter().map(row).collect_view()}</ul>
            <Field label=t!(w, "ticket.kind") hint=t!(w, "ticket.kind.hint") value=kind kind=FieldKind::Exact fault=wrong />
            <Field label=t!(w, "ticket.expires") hint=t!(w, "ticket.expires.hint") value=expires kind=FieldKind::Day />
            <Button label=t!(w, "ticket.add") icon=Icon::Add on_press=add />
        </Section>
    }
}
