//! "Stop work": on every screen of the crew, works offline, freezes the job until a lead says how it was resolved.

use domain::ids::{JobId, PersonId};
use domain::job_file::Body;
use domain::job_file::body::{Place, Remark, StopCause, StopWork};
use leptos::prelude::*;

use crate::device::{Saving, use_device};
use crate::features::job::load::JobView;
use crate::features::words;
use crate::i18n::{Words, use_words};
use crate::store::NewEntry;
use crate::t;
use crate::ui::{Area, Banner, Button, Choice, Glyph, Icon, Look, RadioRows, Select, Sheet, Tone};

use super::moment;
use super::saving::SavingLine;
use super::typed::{keep_words, words_fault, words_room};

const CAUSES: [(StopCause, &str); 5] = [
    (StopCause::Damage, "damage"),
    (StopCause::HeatOrSmell, "heat_or_smell"),
    (StopCause::Alarm, "alarm"),
    (StopCause::Injury, "injury"),
    (StopCause::Other, "other"),
];

/// The button and its dialog. `jobs`: which job is meant; a page of one job gives that one alone.
#[derive(Clone, Copy)]
pub struct StopButton {
    open: RwSignal<bool>,
    jobs: Signal<Vec<(JobId, String)>>,
    at: StoredValue<Option<Place>>,
    /// The one job of the screen.
    only: Option<JobId>,
}

impl StopButton {
    /// For a screen that shows these jobs; `at` is the step that it shows.
    pub fn new(jobs: Signal<Vec<(JobId, String)>>, at: Option<Place>) -> Self {
        Self { open: RwSignal::new(false), jobs, at: StoredValue::new(at), only: None }
    }

    /// For the screen of one job.
    pub fn of_job(job: JobId, at: Option<Place>) -> Self {
        Self { only: Some(job), ..Self::new(Signal::stored(vec![(job, String::new())]), at) }
    }

    /// Is its dialog there?
    pub fn is_open(self) -> RwSignal<bool> {
        self.open
    }

    /// Button and dialog.
    pub fn draw(self) -> AnyView {
        let w = use_words();
        let Self { open, jobs, .. } = self;
        view! {
            {stop_face(w, Signal::derive(move || jobs.with(Vec::is_empty)), move || open.set(true))}
            <StopSheet button=self />
        }
        .into_any()
    }
}

/// The button alone.
pub fn stop_face(w: Words, disabled: Signal<bool>, press: impl Fn() + 'static) -> AnyView {
    view! {
        <button type="button" class="act danger stop-work" disabled=move || disabled.get() on:click=move |_| press()>
            <Glyph icon=Icon::Stop />
            <span>{t!(w, "job.stop.action")}</span>
        </button>
    }
    .into_any()
}

#[component]
fn StopSheet(button: StopButton) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let StopButton { open, jobs, at, only } = button;
    let (cause, job) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let words = keep_words(device, only.map_or_else(|| "stop".to_owned(), |job| format!("stop/{job}")), only);
    let saving = RwSignal::new(Saving::Idle);
    Effect::new(move |_| {
        if open.get() {
            saving.set(Saving::Idle);
            // The words are kept; what happened is said anew each time.
            cause.set(String::new());
            job.set(jobs.with_untracked(|jobs| jobs.first().map_or_else(String::new, |(job, _)| job.to_string())));
        }
    });
    let ready = move || {
        cause_of(&cause.get()).is_some_and(|cause| cause != StopCause::Other || words.is_typed())
            && !words.is_too_long()
    };
    let stop = move || {
        let Some((job, cause)) = job.get_untracked().parse().ok().zip(cause_of(&cause.get_untracked())) else { return };
        let Some((stop_id, remark_id)) = words.ids() else { return };
        let text = words.trimmed();
        let at = at.get_value();
        let mut entries: Vec<NewEntry> = Vec::new();
        let remark = (!text.is_empty()).then(|| {
            entries.push((remark_id, Body::Remark(Remark { at: at.clone(), text })).into());
            remark_id
        });
        entries.push((stop_id, Body::StopWork(StopWork { cause, at, remark })).into());
        let saved = words.saved();
        device.save(job, entries, saving, t!(w, "job.stop.title"), move || {
            saved();
            open.try_set(false);
        });
    };
    let acts = move || {
        view! {
            <SavingLine saving />
            <Button label=t!(w, "job.stop.now") look=Look::Danger icon=Icon::Stop disabled=Signal::derive(move || !ready()) on_press=stop />
        }
    };
    view! {
        <Sheet open title=t!(w, "job.stop.title") acts=acts>
            <p class="first-of-all"><Glyph icon=Icon::Caution /><b>{t!(w, "job.stop.first")}</b></p>
            {move || (jobs.with(Vec::len) > 1).then(|| {
                let choices = move || jobs.get().into_iter().map(|(job, name)| Choice::new(job.to_string(), name)).collect::<Vec<_>>();
                view! { <Select label=t!(w, "job.stop.which") value=job choices=Signal::derive(choices) /> }
            })}
            <RadioRows label=t!(w, "job.stop.cause") value=cause choices=causes(w) />
            <Banner tone=Tone::Caution>
                <p>{t!(w, "job.stop.explain")}</p>
            </Banner>
            {words.told_when_brought_back(w)}
            <Area label=t!(w, "job.stop.words") value=words.text fault=words_fault(w, words.text) room=words_room(w, words.text) hint=t!(w, "job.stop.words_hint") />
        </Sheet>
    }
    .into_any()
}

/// Work is stopped: who stopped it, why, and that everything waits for the lead.
pub fn stop_line(w: Words, job: &JobView, people: &[(PersonId, String)]) -> Option<AnyView> {
    let stop = job.open_stop()?;
    let cause = w.say(words::stop_cause(stop.cause));
    let by =
        t!(w, "job.stop.by", name = words::person(w, people, stop.by), when = moment(w, stop.at_us), cause = cause);
    let said = stop.remark.clone().filter(|said| !said.is_empty());
    Some(
        view! {
            <Banner tone=Tone::Stop title=t!(w, "job.stop.stopped")>
                <p>{by}</p>
                {said.map(|said| view! { <p>{said}</p> })}
                <p>{t!(w, "job.stop.frozen")}</p>
            </Banner>
        }
        .into_any(),
    )
}

fn causes(w: Words) -> Vec<Choice> {
    CAUSES.iter().map(|(cause, word)| Choice::new(*word, w.say(words::stop_cause(*cause)))).collect()
}

fn cause_of(word: &str) -> Option<StopCause> {
    CAUSES.iter().find(|(_, own)| *own == word).map(|(cause, _)| *cause)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_cause_can_be_chosen() {
        let w = Words::default();
        let choices = causes(w);
        assert_eq!(choices.len(), CAUSES.len());
        for (choice, (cause, _)) in choices.iter().zip(CAUSES) {
            assert_eq!(cause_of(&choice.value), Some(cause));
        }
        assert_eq!(cause_of(""), None);
    }
}
