//! What stands against passing the review, in words.

use leptos::prelude::*;

use super::view_model::Against;
use crate::features::job::load::JobView;
use crate::features::words::step_title;
use crate::i18n::Words;
use crate::ui::{Banner, Tone};
use crate::{t, tn};

/// So many steps are named; more are counted.
const STEPS_NAMED: usize = 12;

fn line(w: Words, view: &JobView, against: &Against) -> AnyView {
    let words = match against {
        Against::MethodMissing => t!(w, "desk.against.method").to_owned(),
        Against::NotHandedIn => t!(w, "desk.against.not_handed_in").to_owned(),
        Against::Stops(n) => tn!(w, "desk.against.stops", *n),
        Against::Deviations(n) => tn!(w, "desk.against.deviations", *n),
        Against::DesignFails(names) => return named(tn!(w, "desk.against.design_fails", names.len()), names),
        Against::DesignOpen(names) => return named(tn!(w, "desk.against.design_open", names.len()), names),
        Against::DesignAbsent => t!(w, "desk.against.design_absent").to_owned(),
        Against::DesignUnjudged => t!(w, "desk.against.design_unjudged").to_owned(),
        Against::Breaches(n) => tn!(w, "desk.against.breaches", *n),
        Against::Photos(n) => tn!(w, "desk.against.photos", *n),
        Against::KeptAnyway(n) => tn!(w, "desk.against.kept_anyway", *n),
        Against::Steps(steps) if steps.is_empty() => t!(w, "desk.against.nothing_planned").to_owned(),
        Against::Steps(steps) => {
            let names =
                steps.iter().take(STEPS_NAMED).map(|index| view! { <li>{step_title(w, &view.steps[*index])}</li> });
            let more = steps.len().saturating_sub(STEPS_NAMED);
            return view! {
                <li>
                    {tn!(w, "desk.against.steps", steps.len())}
                    <ul class="bullets">{names.collect_view()}{(more > 0).then(|| view! { <li>{t!(w, "desk.against.more", n = more)}</li> })}</ul>
                </li>
            }
            .into_any();
        }
    };
    view! { <li>{words}</li> }.into_any()
}

/// A line and under it all that it is about: what is signed for is never cut short.
fn named(words: String, names: &[String]) -> AnyView {
    let names = names.iter().map(|name| view! { <li>{name.clone()}</li> }).collect_view();
    view! { <li>{words}<ul class="bullets">{names}</ul></li> }.into_any()
}

/// All of it: what shuts the way, and what should be looked at first.
pub fn standing(w: Words, view: &JobView, all: &[Against]) -> AnyView {
    let (hard, soft): (Vec<&Against>, Vec<&Against>) = all.iter().partition(|against| against.is_hard());
    let list = |all: &[&Against]| all.iter().map(|against| line(w, view, against)).collect_view();
    let hard_part = (!hard.is_empty()).then(|| {
        let lines = list(&hard);
        view! { <Banner tone=Tone::Stop title=t!(w, "desk.against.hard")><ul class="stack bullets">{lines}</ul></Banner> }
    });
    let soft_part = (!soft.is_empty()).then(|| {
        let lines = list(&soft);
        view! { <Banner tone=Tone::Caution title=t!(w, "desk.against.soft")><ul class="stack bullets">{lines}</ul></Banner> }
    });
    let nothing =
        all.is_empty().then(|| view! { <Banner tone=Tone::Good><p>{t!(w, "desk.against.none")}</p></Banner> });
    view! {
        {hard_part}
        {soft_part}
        {nothing}
    }
    .into_any()
}
