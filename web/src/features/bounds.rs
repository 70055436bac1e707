//! Words for what is wrong with a field, and a message that leads to every field that is marked. The bounds are `domain`'s.

use domain::bounds::Fault;
use domain::identification::Date;
use leptos::prelude::*;

use crate::adapters::browser;
use crate::i18n::format::Day;
use crate::i18n::{Words, use_words};
use crate::ui::{Banner, Tone};
use crate::{t, tn};

/// What is wrong, in a sentence.
pub fn told(w: Words, fault: Fault) -> String {
    match fault {
        Fault::Needed => t!(w, "ui.required").to_owned(),
        Fault::TooLong(most) => t!(w, "bounds.too_long", most = most),
        Fault::Invisible => t!(w, "bounds.invisible").to_owned(),
        Fault::Email => t!(w, "problem.email").to_owned(),
        Fault::Phone => t!(w, "bounds.phone").to_owned(),
        Fault::Zone => t!(w, "bounds.zone").to_owned(),
        Fault::Day => t!(w, "bounds.fault_day").to_owned(),
        Fault::FarDay(years) => t!(w, "bounds.far_day", years = years),
    }
}

/// The sentence of a judgement, if there is one.
pub fn sentence<T>(w: Words, judged: Result<T, Fault>) -> Option<String> {
    judged.err().map(|fault| told(w, fault))
}

/// A name that is needed.
pub fn name_fault(w: Words, text: &str) -> Option<String> {
    sentence(w, domain::bounds::name(text))
}

/// A day of the screen as `domain` has it.
pub fn date_of(day: Day) -> Date {
    Date::parse(&day.iso()).or_else(|_| Date::new(1970, 1, 1)).expect("1970 has a first of January")
}

/// So many fields keep a form from being saved: their names, each a link to its field. The first one has the focus.
#[component]
pub fn FaultLinks(
    /// How many.
    count: usize,
) -> impl IntoView {
    let w = use_words();
    let fields = RwSignal::new(Vec::<(String, String)>::new());
    // What is marked is known once it is drawn.
    request_animation_frame(move || {
        let _ = fields.try_set(browser::wrong_fields());
    });
    let link = |(id, label): (String, String)| {
        view! { <li><button type="button" class="act quiet" on:click=move |_| browser::focus(&id)>{label}</button></li> }
    };
    view! {
        <Banner tone=Tone::Stop>
            <p>{tn!(w, "bounds.faults", count)}</p>
            <ul class="row fault-links">{move || fields.get().into_iter().map(link).collect_view()}</ul>
        </Banner>
    }
    .into_any()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_has_a_sentence_of_its_own() {
        let all = [
            Fault::Needed,
            Fault::TooLong(120),
            Fault::Invisible,
            Fault::Email,
            Fault::Phone,
            Fault::Zone,
            Fault::Day,
            Fault::FarDay(10),
        ];
        let told: std::collections::BTreeSet<String> = all.iter().map(|fault| told(Words::default(), *fault)).collect();
        assert_eq!(told.len(), all.len());
    }
}
