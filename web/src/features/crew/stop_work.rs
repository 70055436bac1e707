//! "Stop work": on every screen of the crew, works offline, in two taps: the button and what happened. It freezes the job until a lead says
//! how it was resolved. Words come afterwards; a slip of the thumb is taken back within a minute.

use domain::electrical::rule_set::{Place as RulesPlace, RulesName};
use domain::ids::{EntryId, JobId, PersonId};
use domain::job_file::body::{Place, Remark, Retraction, StopCause, StopWork};
use domain::job_file::{Body, Phase, TAKE_BACK_US};
use leptos::prelude::*;

use crate::device::{Saving, use_device};
use crate::features::job::load::JobView;
use crate::features::words;
use crate::i18n::{Words, use_words};
use crate::store::NewEntry;
use crate::t;
use crate::ui::{Area, Banner, Button, Choice, Glyph, Icon, Look, Select, Sheet, Tone};

use super::saving::SavingLine;
use super::typed::{KeptWords, keep_words, words_fault, words_room};
use super::{follow, moment};

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

/// Jobs whose work can be stopped, the one where somebody is at work first. One that was handed in or will not be done is none.
pub fn to_stop(jobs: impl Iterator<Item = (JobId, String, Phase)>) -> Vec<(JobId, String)> {
    let mut all: Vec<(bool, JobId, String)> = jobs
        .filter(|(.., phase)| !matches!(phase, Phase::ForReview | Phase::Passed | Phase::Sealed | Phase::Withdrawn))
        .map(|(job, name, phase)| (!matches!(phase, Phase::OnSite | Phase::Returned), job, name))
        .collect();
    all.sort_by_key(|(is_elsewhere, ..)| *is_elsewhere);
    all.into_iter().map(|(_, job, name)| (job, name)).collect()
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

/// A stop that was just recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Recorded {
    job: JobId,
    stop: EntryId,
    /// Under which its words stand, once there are any.
    words: EntryId,
    at_us: u64,
}

#[component]
fn StopSheet(button: StopButton) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let StopButton { open, jobs, at, only } = button;
    let job = RwSignal::new(String::new());
    let recorded = RwSignal::new(None::<Recorded>);
    // Drawn when the sheet opens: a second tap is the same entry.
    let ids = StoredValue::new(None::<(EntryId, EntryId)>);
    let words = keep_words(device, only.map_or_else(|| "stop".to_owned(), |job| format!("stop/{job}")), only);
    let saving = RwSignal::new(Saving::Idle);
    Effect::new(move |_| {
        if open.get() {
            saving.set(Saving::Idle);
            recorded.set(None);
            ids.set_value(device.new_entry_id().zip(device.new_entry_id()));
            job.set(jobs.with_untracked(|jobs| jobs.first().map_or_else(String::new, |(job, _)| job.to_string())));
        }
    });
    let stop = move |cause: StopCause| {
        let (Ok(job), Some((stop, words))) = (job.get_untracked().parse(), ids.get_value()) else { return };
        // What happened is written afterwards, under an id that the stop names already.
        let body = StopWork { cause, at: at.get_value(), remark: Some(words) };
        let entries = vec![(stop, Body::StopWork(body)).into()];
        let at_us = device.store_now().map_or(0, |store| store.clock().now_us());
        device.save(job, entries, saving, t!(w, "job.stop.title"), move || {
            let _ = recorded.try_set(Some(Recorded { job, stop, words, at_us }));
        });
    };
    let choose = move || {
        let was_typed = !words.trimmed().is_empty();
        let causes = CAUSES.map(|(cause, word)| {
            view! {
                <button type="button" class="act danger stop-cause" data-cause=word on:click=move |_| stop(cause)>
                    <span>{w.say(words::stop_cause(cause))}</span>
                </button>
            }
        });
        view! {
            <p class="first-of-all"><Glyph icon=Icon::Caution /><b>{t!(w, "job.stop.first")}</b></p>
            {(jobs.with_untracked(Vec::len) > 1).then(|| {
                let choices = move || jobs.get().into_iter().map(|(job, name)| Choice::new(job.to_string(), name)).collect::<Vec<_>>();
                view! { <Select label=t!(w, "job.stop.which") value=job choices=Signal::derive(choices) /> }
            })}
            <p>{t!(w, "job.stop.cause")}</p>
            <div class="stop-causes">{causes.collect_view()}</div>
            // The sheet was shut or the page ended while somebody wrote what happened: it is still there to be saved.
            {move || (was_typed || words.from_before()).then(|| {
                let target = job.get_untracked().parse().ok().zip(ids.get_value());
                // No stop names it any more, so it stands among the notes of the job.
                target.map(|(job, (_, id))| view! { <WhatHappened job id open saving words at=None /> })
            })}
            <p class="soft">{t!(w, "job.stop.explain")}</p>
        }
        .into_any()
    };
    let title = move || match recorded.get() {
        None => t!(w, "job.stop.title"),
        Some(_) => t!(w, "job.stop.stopped"),
    };
    let way_out = move || match recorded.get() {
        None => t!(w, "ui.cancel"),
        Some(_) => t!(w, "ui.close"),
    };
    let acts = move || view! { <SavingLine saving /> };
    view! {
        <Sheet open title=Signal::derive(title) way_out=Signal::derive(way_out) acts=acts>
            {move || match recorded.get() {
                None => choose(),
                Some(recorded) => view! { <Stopped recorded open saving words at=at.get_value() /> }.into_any(),
            }}
        </Sheet>
    }
    .into_any()
}

/// What follows the stop: who knows of it, whom to call, what happened, and the way back from a slip of the thumb.
#[component]
fn Stopped(
    recorded: Recorded,
    open: RwSignal<bool>,
    saving: RwSignal<Saving>,
    words: KeptWords,
    at: Option<Place>,
) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let Recorded { job, stop, words: words_id, at_us } = recorded;
    let load = follow(device, job);
    let is_told = Memo::new(move |_| {
        load.with(|load| load.view().is_some_and(|view| view.stops.iter().any(|own| own.id == stop && own.stamped)))
    });
    let number = Memo::new(move |_| {
        let place = load.with(|load| load.view().and_then(|view| RulesName::parse(&view.rule_set)));
        place.map_or(RulesPlace::Neutral, |name| name.place).emergency_number()
    });
    let told = move || match is_told.get() {
        true => view! { <Banner tone=Tone::Stop><p>{t!(w, "job.stop.told")}</p></Banner> },
        false => {
            view! { <Banner tone=Tone::Stop title=t!(w, "job.stop.untold")><p>{t!(w, "job.stop.untold_what")}</p></Banner> }
        }
    };
    let call = move || {
        let number = number.get();
        view! {
            <a class="act danger" href=format!("tel:{number}")>
                <span>{t!(w, "job.stop.call", number = number)}</span>
            </a>
        }
    };
    let now_us = move || device.store_now().map_or(0, |store| store.clock().now_us());
    let left = RwSignal::new(TAKE_BACK_US / 1_000_000);
    let tick = move || {
        let _ = left.try_set(TAKE_BACK_US.saturating_sub(now_us().saturating_sub(at_us)) / 1_000_000);
    };
    if let Ok(ticking) = set_interval_with_handle(tick, core::time::Duration::from_secs(1)) {
        on_cleanup(move || ticking.clear());
    }
    let retraction = StoredValue::new(device.new_entry_id());
    let take_back = move || {
        let Some(id) = retraction.get_value() else { return };
        let body = Body::Retraction(Retraction { target: stop, remark: None });
        device.save(job, vec![(id, body).into()], saving, t!(w, "job.stop.take_back_what"), move || {
            let _ = open.try_set(false);
        });
    };
    let way_back = move || {
        // Not at once: a second tap of somebody in a hurry must not take back what the first one stopped.
        (1..TAKE_BACK_US / 1_000_000 - 1).contains(&left.get()).then(|| {
            let label = move || t!(w, "job.stop.take_back", seconds = left.get());
            view! { <Button label=Signal::derive(label) look=Look::Quiet on_press=take_back /> }
        })
    };
    view! {
        <div class="stack loose just-stopped">
            {told}
            {call}
            {way_back}
            <WhatHappened job id=words_id open saving words at />
        </div>
    }
    .into_any()
}

/// The words of a stop, written after it.
#[component]
fn WhatHappened(
    job: JobId,
    id: EntryId,
    open: RwSignal<bool>,
    saving: RwSignal<Saving>,
    words: KeptWords,
    at: Option<Place>,
) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let save = move || {
        let (text, saved) = (words.trimmed(), words.saved());
        let entries: Vec<NewEntry> = vec![(id, Body::Remark(Remark { at: at.clone(), text })).into()];
        device.save(job, entries, saving, t!(w, "job.stop.words"), move || {
            saved();
            let _ = open.try_set(false);
        });
    };
    let shut = Signal::derive(move || !words.is_typed() || words.is_too_long());
    view! {
        {words.told_when_brought_back(w)}
        <Area label=t!(w, "job.stop.words") value=words.text fault=words_fault(w, words.text) room=words_room(w, words.text) />
        <Button label=t!(w, "job.stop.save_words") disabled=shut on_press=save />
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_job_on_site_comes_first_and_a_finished_one_not_at_all() {
        let job = |number: u8| JobId::of(uuid::Uuid::from_u128(u128::from(number)));
        let all = [
            (1, Phase::Passed),
            (2, Phase::WithCrew),
            (3, Phase::ForReview),
            (4, Phase::OnSite),
            (5, Phase::Withdrawn),
            (6, Phase::Sealed),
            (7, Phase::Planned),
        ];
        let offered = to_stop(all.into_iter().map(|(number, phase)| (job(number), number.to_string(), phase)));
        assert_eq!(offered.iter().map(|(_, name)| name.as_str()).collect::<Vec<_>>(), ["4", "2", "7"]);
    }

    #[test]
    fn every_cause_has_a_button_of_its_own() {
        let words: std::collections::BTreeSet<&str> = CAUSES.iter().map(|(_, word)| *word).collect();
        assert_eq!(words.len(), CAUSES.len());
        for cause in [StopCause::Damage, StopCause::HeatOrSmell, StopCause::Alarm, StopCause::Injury, StopCause::Other]
        {
            assert_eq!(CAUSES.iter().filter(|(own, _)| *own == cause).count(), 1, "{cause:?}");
        }
    }
}
