//! What people write about a job, and how the crew leaves a site and comes back.

use domain::ids::JobId;
use domain::job_file::Body;
use domain::job_file::body::{LeftAs, Paused, Remark};
use leptos::prelude::*;

use super::load::{JobView, RemarkView};
use crate::device::{JobLoad, Saving, use_device};
use crate::features::crew::moment;
use crate::features::crew::saving::SavingLine;
use crate::features::words;
use crate::i18n::{Words, use_words};
use crate::store::NewEntry;
use crate::t;
use crate::ui::{Area, Banner, Button, Choice, Icon, Look, RadioRows, Section, Sheet, Tone};

const LEFT: [(LeftAs, &str); 3] = [
    (LeftAs::IsolatedAndLocked, "isolated_and_locked"),
    (LeftAs::NotConnected, "not_connected"),
    (LeftAs::RunningAsBefore, "running_as_before"),
];

/// Notes, the latest first, and a way to write one.
#[component]
pub fn Notes(job: JobId, load: RwSignal<JobLoad>, saving: RwSignal<Saving>) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let (open, text) = (RwSignal::new(false), RwSignal::new(String::new()));
    let id = StoredValue::new(None);
    Effect::new(move |_| {
        if open.get() {
            id.set_value(device.new_entry_id());
        }
    });
    let write = move || {
        let (Some(id), words) = (id.get_value(), text.get_untracked().trim().to_owned()) else { return };
        if words.is_empty() {
            return;
        }
        let body = Body::Remark(Remark { at: None, text: words });
        device.save(job, vec![(id, body).into()], saving, move || {
            text.set(String::new());
            open.set(false);
        });
    };
    let notes = Memo::new(move |_| load.with(|load| load.view().map(own_notes).unwrap_or_default()));
    let one = move |note: RemarkView| {
        let by =
            t!(w, "job.notes.by", name = words::person(w, &device.people(), note.by), when = moment(w, note.at_us));
        let at =
            note.place.as_ref().and_then(|place| load.with(|load| load.view().map(|job| words::place(w, job, place))));
        view! {
            <li class="card">
                <p class="kept-lines">{note.text}</p>
                <p class="soft">{by}{at.map(|at| format!(" · {at}"))}</p>
            </li>
        }
    };
    let acts = move || {
        let empty = Signal::derive(move || text.with(|text| text.trim().is_empty()));
        view! {
            <SavingLine saving />
            <Button label=t!(w, "job.notes.save") look=Look::Main disabled=empty on_press=write />
        }
    };
    view! {
        <Section title=t!(w, "job.notes.title")>
            <ul class="stack">{move || notes.get().into_iter().map(one).collect_view()}</ul>
            <Button label=t!(w, "job.notes.add") icon=Icon::Edit on_press=move || open.set(true) />
            <Sheet open title=t!(w, "job.notes.add") acts=acts>
                <Area label=t!(w, "job.notes.words") value=text />
            </Sheet>
        </Section>
    }
    .into_any()
}

/// Notes proper: words that belong to a stop, a decision or a confirmation are shown where those are.
fn own_notes(job: &JobView) -> Vec<RemarkView> {
    job.remarks.iter().filter(|remark| remark.place.is_none() && !remark.text.is_empty()).cloned().collect()
}

/// The crew leaves: in which state, and a word about it.
#[component]
pub fn PauseButton(job: JobId, saving: RwSignal<Saving>) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let open = RwSignal::new(false);
    let (left, text) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let ids = StoredValue::new(None);
    Effect::new(move |_| {
        if open.get() {
            left.set(String::new());
            ids.set_value(device.new_entry_id().zip(device.new_entry_id()));
        }
    });
    let pause = move || {
        let (Some((paused, remark)), Some(left_as)) = (ids.get_value(), left_of(&left.get_untracked())) else { return };
        let words = text.get_untracked().trim().to_owned();
        let mut entries: Vec<NewEntry> = Vec::new();
        let remark = (!words.is_empty()).then(|| {
            entries.push((remark, Body::Remark(Remark { at: None, text: words })).into());
            remark
        });
        entries.push((paused, Body::Paused(Paused { left_as, remark })).into());
        device.save(job, entries, saving, move || {
            text.set(String::new());
            open.set(false);
        });
    };
    let acts = move || {
        let unset = Signal::derive(move || left_of(&left.get()).is_none());
        view! {
            <SavingLine saving />
            <Button label=t!(w, "job.pause.now") look=Look::Main disabled=unset on_press=pause />
        }
    };
    view! {
        <Button label=t!(w, "job.pause.action") icon=Icon::Wait on_press=move || open.set(true) />
        <Sheet open title=t!(w, "job.pause.title") acts=acts>
            <Banner>
                <p>{t!(w, "job.pause.explain")}</p>
            </Banner>
            <RadioRows label=t!(w, "job.pause.left_as") value=left choices=ways(w) />
            <Area label=t!(w, "job.pause.words") value=text />
        </Sheet>
    }
    .into_any()
}

fn ways(w: Words) -> Vec<Choice> {
    LEFT.iter().map(|(left, word)| Choice::new(*word, w.say(words::left_as(*left)))).collect()
}

fn left_of(word: &str) -> Option<LeftAs> {
    LEFT.iter().find(|(_, own)| *own == word).map(|(left, _)| *left)
}

/// Where the job stands, where that stops or changes the work.
pub fn phase_banner(w: Words, job: &JobView) -> Option<AnyView> {
    use domain::job_file::Phase;
    let (tone, title, what) = match job.phase {
        Phase::Paused(left) => (Tone::Caution, t!(w, "job.pause.is"), w.say(words::left_as(left))),
        Phase::ForReview => (Tone::Wait, t!(w, "job.review.waits"), t!(w, "job.review.waits_what")),
        Phase::Returned => (Tone::Caution, t!(w, "job.review.returned"), t!(w, "job.review.returned_what")),
        Phase::Passed => (Tone::Good, t!(w, "job.review.passed"), t!(w, "job.review.passed_what")),
        Phase::Sealed => (Tone::Good, t!(w, "job.review.sealed"), t!(w, "job.review.passed_what")),
        Phase::Withdrawn => (Tone::Stop, t!(w, "gate.obstacle.withdrawn"), ""),
        Phase::Planned | Phase::WithCrew | Phase::OnSite => return None,
    };
    Some(view! { <Banner tone title=title>{(!what.is_empty()).then(|| view! { <p>{what}</p> })}</Banner> }.into_any())
}
