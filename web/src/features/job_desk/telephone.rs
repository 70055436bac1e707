//! The lead allows a departure over the telephone: one answer for one place, shown by the server, large enough to read out.

use domain::ids::JobId;
use domain::job_file::Place;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::Deserialize;

use crate::adapters::fetch::use_api;
use crate::features::job::load::{RequirementCard, StepCard};
use crate::i18n::{Words, use_words};
use crate::refusal::Refusal;
use crate::t;
use crate::ui::{Banner, Button, Look, Sheet, Tone};

/// Asks for an answer; `Copy`.
#[derive(Clone, Copy)]
pub struct Telephone {
    /// For which place, and what it is called.
    what: RwSignal<Option<(Place, String)>>,
    open: RwSignal<bool>,
}

impl Telephone {
    /// Nothing is asked yet.
    pub fn new() -> Self {
        Self { what: RwSignal::new(None), open: RwSignal::new(false) }
    }

    /// Opens the dialog; the answer is not shown before it is asked for.
    pub fn ask(self, place: Place, about: String) {
        self.what.set(Some((place, about)));
        self.open.set(true);
    }
}

/// May a departure be read out for this requirement? Whether the garage has come to it, a garage without data does not say.
pub fn may_read_out(step: &StepCard, card: &RequirementCard) -> bool {
    !step.stop_work && !card.answer.lets_through()
}

#[derive(Deserialize)]
struct Shown {
    answer: String,
}

/// The dialog; stands once on the page. What was shown is gone when it closes.
#[component]
pub fn TelephoneSheet(
    /// What is asked.
    telephone: Telephone,
    /// The job.
    job: JobId,
) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let shown = RwSignal::new(None::<Result<String, Refusal>>);
    let busy = RwSignal::new(false);
    Effect::new(move |_| {
        telephone.open.track();
        shown.set(None);
    });
    let show = move || {
        let Some((place, _)) = telephone.what.get_untracked() else { return };
        busy.set(true);
        spawn_local(async move {
            let answer = api.exchange::<Shown>("POST", format!("/api/jobs/{job}/voice-answers"), &place).await;
            let _ = busy.try_set(false);
            // Closed meanwhile, or asked about another place: it is not for the eyes that are there now.
            let same = telephone.what.with_untracked(|what| what.as_ref().is_some_and(|(own, _)| *own == place));
            if same && telephone.open.get_untracked() {
                let _ = shown.try_set(Some(answer.map(|shown| shown.answer)));
            }
        });
    };
    let body = move || {
        let about = telephone.what.get().map(|(_, about)| about);
        view! {
            <p><b>{about}</b></p>
            <p>{t!(w, "desk.voice.explain")}</p>
            <p>{t!(w, "desk.voice.recorded")}</p>
            {move || shown.get().map(|shown| outcome(w, shown))}
        }
        .into_any()
    };
    let acts = move || {
        let label = t!(w, "desk.voice.show");
        (!matches!(shown.get(), Some(Ok(_)))).then(|| view! { <Button label look=Look::Main busy on_press=show /> })
    };
    view! {
        <Sheet open=telephone.open title=t!(w, "desk.voice.title") way_out=t!(w, "ui.close") acts=acts>{body}</Sheet>
    }
}

fn outcome(w: Words, shown: Result<String, Refusal>) -> AnyView {
    match shown {
        Ok(answer) => view! {
            <p class="spoken-answer" data-testid="voice-answer" dir="ltr">{answer}</p>
            <p>{t!(w, "desk.voice.read_out")}</p>
        }
        .into_any(),
        Err(refusal) => {
            let network = matches!(refusal, Refusal::Offline | Refusal::Silence | Refusal::NotOurs);
            let words = if network { t!(w, "desk.voice.needs_network").to_owned() } else { refusal.tell(w) };
            view! { <Banner tone=Tone::Stop><p>{words}</p></Banner> }.into_any()
        }
    }
}
