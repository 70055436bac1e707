//! Computed comparisons of a plan, while it is typed.

use leptos::prelude::*;

use super::view_model::LiveCheck;
use crate::features::desk::checks::{check_body, check_chip};
use crate::features::words::figure;
use crate::i18n::Words;
use crate::t;

/// One of them.
pub fn live_check(w: Words, live: &LiveCheck) -> AnyView {
    let body = match (&live.check, &live.missing) {
        (Some(check), _) => check_body(w, check),
        (None, Some(missing)) => {
            view! { <p class="soft">{t!(w, "plan.check.missing", figure = figure(w, missing))}</p> }.into_any()
        }
        (None, None) => ().into_any(),
    };
    let chip = match &live.check {
        Some(check) if !live.limit_only => check_chip(w, check),
        Some(_) | None => ().into_any(),
    };
    let label = if live.limit_only { t!(w, "plan.check.limit_of", label = live.label) } else { live.label.clone() };
    view! {
        <li class="check" data-testid="live-check">
            <div class="row"><h3 class="fill">{label}</h3>{chip}</div>
            {body}
        </li>
    }
    .into_any()
}
