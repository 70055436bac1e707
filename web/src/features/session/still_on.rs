//! Before the access of somebody ends: the jobs that are not finished and name them. Nobody else would be told, and the crew would stand
//! there one short.

use domain::ids::{JobId, PersonId};
use leptos::prelude::*;
use leptos_router::components::A;
use serde::Deserialize;

use crate::adapters::fetch::Api;
use crate::features::desk::shared::{PAGE_ROWS, open_states};
use crate::i18n::use_words;
use crate::refusal::Refusal;
use crate::routes::Screen;
use crate::ui::{Button, Look, Sheet};
use crate::{t, tn};

/// A sheet on a phone shows so many before its buttons.
const SHOWN_MOST: usize = 4;

/// A job, as far as it is told.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub(super) struct StillOn {
    job: JobId,
    householder: String,
    town: String,
    crew: Vec<PersonId>,
}

/// The jobs of this person that are not finished.
///
/// # Errors
/// The server cannot be asked: then nobody may say that there are none.
pub(super) async fn jobs_of(api: Api, person: PersonId) -> Result<Vec<StillOn>, Refusal> {
    let mut found = Vec::new();
    let mut path = format!("/api/jobs?state={}", open_states());
    loop {
        let page: Vec<StillOn> = api.get(path).await?;
        let next = page.get(PAGE_ROWS - 1).map(|last| format!("/api/jobs?state={}&after={}", open_states(), last.job));
        found.extend(page.into_iter().filter(|row| row.crew.contains(&person)));
        match next {
            Some(next) => path = next,
            None => return Ok(found),
        }
    }
}

/// Asks; `go` ends the access all the same.
#[component]
pub(super) fn StillOnSheet(
    /// The jobs; with none there is nothing to ask.
    jobs: RwSignal<Vec<StillOn>>,
    /// Whose.
    #[prop(into)]
    name: Signal<String>,
    /// End it now.
    go: Callback<()>,
) -> impl IntoView {
    let w = use_words();
    let open = RwSignal::new(false);
    Effect::new(move |_| open.set(jobs.with(|jobs| !jobs.is_empty())));
    Effect::new(move |_| {
        if !open.get() && jobs.with_untracked(|jobs| !jobs.is_empty()) {
            jobs.set(Vec::new());
        }
    });
    let title = move || tn!(w, "people.still_on", jobs.with(Vec::len), name = name.get());
    let end = move || {
        open.set(false);
        go.run(());
    };
    let rows = move || {
        let line = |row: &StillOn| {
            let words = [row.householder.as_str(), row.town.as_str()].join(", ");
            view! { <li><A href=Screen::JobDesk(row.job).href()>{words}</A></li> }
        };
        jobs.with(|jobs| jobs.iter().take(SHOWN_MOST).map(line).collect_view())
    };
    let more = move || {
        let more = jobs.with(Vec::len).saturating_sub(SHOWN_MOST);
        (more > 0).then(|| view! { <p>{tn!(w, "registration.and_more", more)}</p> })
    };
    view! {
        <Sheet open title acts=move || view! { <Button label=t!(w, "people.end_access") look=Look::Danger on_press=end /> }>
            <p>{move || t!(w, "people.still_on_text", name = name.get())}</p>
            <ul>{rows}</ul>
            {more}
        </Sheet>
    }
}
