//! What people write about a job, and where it stands.

use domain::ids::JobId;
use domain::job_file::body::Remark;
use domain::job_file::{Body, Phase};
use leptos::prelude::*;

use super::load::{JobView, RemarkView};
use crate::device::{JobLoad, Saving, use_device};
use crate::features::crew::moment;
use crate::features::crew::saving::{SavingLine, let_go_when};
use crate::features::crew::typed::{keep_words, words_fault, words_room};
use crate::features::words;
use crate::i18n::{Words, use_words};
use crate::ui::{Area, Banner, Button, Icon, Look, Section, Sheet, Tone};
use crate::{t, tn};

/// Notes, the latest first, and a way to write one.
#[component]
pub fn Notes(job: JobId, load: RwSignal<JobLoad>, saving: RwSignal<Saving>) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let open = RwSignal::new(false);
    let words = keep_words(device, format!("note/{job}"), Some(job));
    let_go_when(open, saving);
    let write = move || {
        let (Some((_, id)), text) = (words.ids(), words.trimmed()) else { return };
        if text.is_empty() {
            return;
        }
        let body = Body::Remark(Remark { at: None, text });
        let saved = words.saved();
        device.save(job, vec![(id, body).into()], saving, t!(w, "job.notes.words"), move || {
            saved();
            open.try_set(false);
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
        let shut = Signal::derive(move || !words.is_typed() || words.is_too_long());
        let busy = Signal::derive(move || saving.get() == Saving::Busy);
        view! {
            <SavingLine saving />
            <Button label=t!(w, "job.notes.save") look=Look::Main disabled=shut busy on_press=write />
        }
    };
    view! {
        <Section title=t!(w, "job.notes.title")>
            <ul class="stack">{move || notes.get().into_iter().map(one).collect_view()}</ul>
            <Button label=t!(w, "job.notes.add") icon=Icon::Edit on_press=move || open.set(true) />
            {words.told_when_shut(w, open)}
            <Sheet open title=t!(w, "job.notes.add") acts=acts>
                {words.told_when_brought_back(w)}
                <Area label=t!(w, "job.notes.words") value=words.text fault=words_fault(w, words.text) room=words_room(w, words.text) />
            </Sheet>
        </Section>
    }
    .into_any()
}

/// Notes proper: words that belong to a stop, a decision or a confirmation are shown where those are.
fn own_notes(job: &JobView) -> Vec<RemarkView> {
    job.remarks.iter().filter(|remark| remark.place.is_none() && !remark.text.is_empty()).cloned().collect()
}

/// Where the job stands, where that stops or changes the work.
pub fn phase_banner(w: Words, job: &JobView) -> Option<AnyView> {
    let (tone, title, what) = phase_words(w, job.phase, job.unsent)?;
    Some(view! { <Banner tone title=title>{(!what.is_empty()).then(|| view! { <p>{what}</p> })}</Banner> }.into_any())
}

/// Weight, title and sentence of a phase, with so many records that only this device has.
fn phase_words(w: Words, phase: Phase, unsent: usize) -> Option<(Tone, &'static str, String)> {
    Some(match phase {
        Phase::Paused(left) => (Tone::Caution, t!(w, "job.pause.is"), w.say(words::left_as(left)).to_owned()),
        // The lead looks at what the server has, and at nothing else.
        Phase::ForReview if unsent > 0 => {
            (Tone::Wait, t!(w, "job.review.waits"), tn!(w, "job.review.waits_here", unsent))
        }
        Phase::ForReview => (Tone::Wait, t!(w, "job.review.waits"), t!(w, "job.review.waits_what").to_owned()),
        Phase::Returned => (Tone::Caution, t!(w, "job.review.returned"), t!(w, "job.review.returned_what").to_owned()),
        Phase::Passed => (Tone::Good, t!(w, "job.review.passed"), t!(w, "job.review.passed_what").to_owned()),
        Phase::Sealed => (Tone::Good, t!(w, "job.review.sealed"), t!(w, "job.review.passed_what").to_owned()),
        Phase::Withdrawn => (Tone::Stop, t!(w, "gate.obstacle.withdrawn"), String::new()),
        Phase::Planned | Phase::WithCrew | Phase::OnSite => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::i18n::{Decimal, Lang};

    #[test]
    fn nobody_looks_at_what_was_handed_in_and_is_still_here() {
        for lang in Lang::ALL {
            let w = Words { lang, decimal: Decimal::Point };
            let what = |unsent| phase_words(w, Phase::ForReview, unsent).map(|(_, _, what)| what);
            assert_eq!(what(0).as_deref(), Some(t!(w, "job.review.waits_what")));
            for unsent in [1, 513] {
                let what = what(unsent).unwrap_or_default();
                assert!(what.contains(&unsent.to_string()) && !what.contains(t!(w, "job.review.waits_what")), "{what}");
            }
        }
    }
}
