//! The tickets of a person: kinds of licence and the last day of each.

use domain::bounds;
use leptos::prelude::*;

use crate::features::bounds::{date_of, sentence};
use crate::features::crew::today;
use crate::i18n::format::Day;
use crate::i18n::{Words, use_words};
use crate::session::Ticket;
use crate::t;
use crate::ui::{Button, Chip, Field, FieldKind, Icon, Look, Section, Tone};

/// The tickets of a person and the one that is being typed; `Copy`.
#[derive(Clone, Copy)]
pub(super) struct TicketForm {
    /// Those that will be saved.
    pub(super) tickets: RwSignal<Vec<Ticket>>,
    pub(super) kind: RwSignal<String>,
    pub(super) expires: RwSignal<String>,
    kind_wrong: RwSignal<Option<String>>,
    expires_wrong: RwSignal<Option<String>>,
}

impl TicketForm {
    /// For a person with these.
    pub(super) fn of(tickets: Vec<Ticket>) -> Self {
        let text = || RwSignal::new(String::new());
        let (kind_wrong, expires_wrong) = (RwSignal::new(None), RwSignal::new(None));
        Self { tickets: RwSignal::new(tickets), kind: text(), expires: text(), kind_wrong, expires_wrong }
    }

    /// Adds what is typed. Somebody who saves the person without pressing "Add" has typed a ticket all the same: so it is called then
    /// as well, and answers whether nothing typed is left over.
    pub(super) fn add_typed(self, w: Words, today: Day) -> bool {
        let typed = Ticket { kind: self.kind.get_untracked().trim().to_owned(), expires: self.expires.get_untracked() };
        if typed == Ticket::default() {
            return true;
        }
        let (kind_wrong, expires_wrong) = ticket_faults(w, &typed, today);
        let fits = kind_wrong.is_none() && expires_wrong.is_none();
        self.kind_wrong.set(kind_wrong);
        self.expires_wrong.set(expires_wrong);
        if fits {
            self.tickets.update(|all| put(all, typed));
            self.kind.set(String::new());
            self.expires.set(String::new());
        }
        fits
    }
}

/// A renewed ticket takes the place of the old one.
fn put(all: &mut Vec<Ticket>, ticket: Ticket) {
    all.retain(|own| own.kind != ticket.kind);
    all.push(ticket);
}

/// What is wrong with kind and last day.
fn ticket_faults(w: Words, ticket: &Ticket, today: Day) -> (Option<String>, Option<String>) {
    let kind = if ticket.kind.is_empty() {
        Some(t!(w, "ui.required").to_owned())
    } else {
        sentence(w, bounds::short(&ticket.kind, bounds::SHORT_CHARS_MAX))
    };
    let expires = (!ticket.expires.is_empty()).then(|| sentence(w, bounds::day(&ticket.expires, date_of(today))));
    (kind, expires.flatten())
}

/// Tickets that can be added and taken away; nothing is sent before the person is saved.
#[component]
pub(super) fn Tickets(form: TicketForm) -> impl IntoView {
    let w = use_words();
    let TicketForm { tickets, kind, expires, kind_wrong, expires_wrong } = form;
    let today = today();
    let add = move || {
        if kind.with_untracked(|kind| kind.trim().is_empty()) {
            kind_wrong.set(Some(t!(w, "ui.required").to_owned()));
        } else {
            form.add_typed(w, today);
        }
    };
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
            <Field label=t!(w, "ticket.kind") hint=t!(w, "ticket.kind.hint") value=kind kind=FieldKind::Exact fault=kind_wrong />
            <Field label=t!(w, "ticket.expires") hint=t!(w, "ticket.expires.hint") value=expires kind=FieldKind::Day fault=expires_wrong />
            <Button label=t!(w, "ticket.add") icon=Icon::Add on_press=add />
        </Section>
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]
    use super::*;

    fn ticket(kind: &str, expires: &str) -> Ticket {
        Ticket { kind: kind.into(), expires: expires.into() }
    }

    #[test]
    fn a_ticket_that_was_typed_and_not_added_is_saved_with_the_person() {
        let owner = Owner::new();
        owner.set();
        let today = Day::parse("2026-11-29").unwrap();
        let form = TicketForm::of(vec![ticket("electrician", "2027-01-31")]);
        assert!(form.add_typed(Words::default(), today), "nothing typed is nothing left over");
        form.kind.set(" working at height ".into());
        form.expires.set("2028-05-01".into());
        assert!(form.add_typed(Words::default(), today));
        let kept = form.tickets.get_untracked();
        assert_eq!(kept, [ticket("electrician", "2027-01-31"), ticket("working at height", "2028-05-01")]);
        assert_eq!((form.kind.get_untracked(), form.expires.get_untracked()), (String::new(), String::new()));
    }

    #[test]
    fn half_a_ticket_is_asked_about_and_stays() {
        let owner = Owner::new();
        owner.set();
        let today = Day::parse("2026-11-29").unwrap();
        let form = TicketForm::of(Vec::new());
        form.expires.set("2028-05-01".into());
        assert!(!form.add_typed(Words::default(), today), "a last day without a kind");
        form.kind.set("electrician".into());
        form.expires.set("0001-01-01".into());
        assert!(!form.add_typed(Words::default(), today));
        assert!(form.expires_wrong.get_untracked().is_some() && form.kind_wrong.get_untracked().is_none());
        assert_eq!(form.kind.get_untracked(), "electrician");
        assert!(form.tickets.get_untracked().is_empty());
    }
}
