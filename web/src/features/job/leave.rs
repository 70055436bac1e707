//! How a crew leaves a site, one of it does, or a lock changes hands.

use domain::ids::{JobId, PersonId};
use domain::job_file::Body;
use domain::job_file::body::{LeftAs, LockHandedOver, Paused, Plain, Remark};
use leptos::prelude::*;

use super::load::JobView;
use super::view_model::is_away;
use crate::device::{JobLoad, Saving, use_device};
use crate::features::crew::saving::{SavingLine, let_go_when};
use crate::features::crew::typed::{keep_words, words_fault, words_room};
use crate::features::words;
use crate::i18n::{Words, use_words};
use crate::store::NewEntry;
use crate::t;
use crate::ui::{Area, Banner, Button, Choice, Icon, Look, RadioRows, Sheet, Tone};

const LEFT: [(LeftAs, &str); 3] = [
    (LeftAs::IsolatedAndLocked, "isolated_and_locked"),
    (LeftAs::NotConnected, "not_connected"),
    (LeftAs::RunningAsBefore, "running_as_before"),
];

/// Who leaves, as the rows of the choice say it.
const ALL: &str = "all";
const ME: &str = "me";
const LOCK: &str = "lock";

/// The crew leaves, and in which state; one of it leaves and the others work on; or a lock goes to somebody else.
#[component]
pub fn PauseButton(job: JobId, load: RwSignal<JobLoad>, saving: RwSignal<Saving>) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let open = RwSignal::new(false);
    let [who, left, to] = [(); 3].map(|()| RwSignal::new(String::new()));
    let words = keep_words(device, format!("leave/{job}"), Some(job));
    let_go_when(open, saving);
    let others = Memo::new(move |_| {
        let here = |load: &JobLoad| load.view().map(|job| others_here(w, job, device.person(), &device.people()));
        load.with(here).unwrap_or_default()
    });
    let stays = Memo::new(move |_| load.with(|load| load.view().is_some_and(|job| job.somebody_stays)));
    Effect::new(move |_| {
        if open.get() {
            // The words are kept; who leaves and in which state is said anew each time, for it may have changed. That all leave shuts the most.
            who.set(ALL.to_owned());
            left.set(String::new());
            to.set(String::new());
        }
    });
    // What there is to record; none while something is left to choose.
    let chosen = Memo::new(move |_| match who.get().as_str() {
        ME => Some(Body::WentAway(Plain {})),
        LOCK => {
            let to = to.get().parse::<PersonId>().ok()?;
            Some(Body::LockHandedOver(LockHandedOver { to }))
        }
        _ => Some(Body::Paused(Paused { left_as: left_of(&left.get())?, remark: None })),
    });
    let record = move || {
        let (Some((entry, remark)), Some(body)) = (words.ids(), chosen.get_untracked()) else { return };
        let text = words.trimmed();
        let mut entries: Vec<NewEntry> = Vec::new();
        let remark = (!text.is_empty()).then(|| {
            entries.push((remark, Body::Remark(Remark { at: None, text })).into());
            remark
        });
        let (what, body) = match body {
            Body::Paused(paused) => (t!(w, "job.pause.title"), Body::Paused(Paused { remark, ..paused })),
            Body::LockHandedOver(_) => (t!(w, "job.entry.lock"), body),
            _ => (t!(w, "job.entry.away"), body),
        };
        entries.push((entry, body).into());
        let saved = words.saved();
        device.save(job, entries, saving, what, move || {
            saved();
            open.try_set(false);
        });
    };
    let acts = move || {
        let unset = Signal::derive(move || chosen.with(Option::is_none) || words.is_too_long());
        let busy = Signal::derive(move || saving.get() == Saving::Busy);
        let label =
            move || if who.with(|who| who == LOCK) { t!(w, "job.leave.lock_now") } else { t!(w, "job.pause.now") };
        view! {
            <SavingLine saving />
            <Button label=label look=Look::Main disabled=unset busy on_press=record />
        }
    };
    let leavers = move || {
        let ways = [(ALL, t!(w, "job.leave.all")), (ME, t!(w, "job.leave.me")), (LOCK, t!(w, "job.leave.lock"))];
        let offered = ways.into_iter().filter(|(way, _)| *way != ME || stays.get());
        let choices = offered.map(|(value, label)| Choice::new(value, label)).collect::<Vec<_>>();
        others
            .with(|others| !others.is_empty())
            .then(|| view! { <RadioRows label=t!(w, "job.leave.who") value=who choices /> })
    };
    let way = move || match who.get().as_str() {
        ME => view! { <Banner tone=Tone::Caution><p>{t!(w, "job.leave.me_explain")}</p></Banner> }.into_any(),
        LOCK => {
            let people =
                others.get().into_iter().map(|(id, name)| Choice::new(id.to_string(), name)).collect::<Vec<_>>();
            view! {
                <Banner tone=Tone::Caution><p>{t!(w, "job.leave.lock_explain")}</p></Banner>
                <RadioRows label=t!(w, "job.leave.to") value=to choices=people />
            }
            .into_any()
        }
        _ => view! {
            <Banner>
                <p>{t!(w, "job.pause.explain")}</p>
            </Banner>
            <RadioRows label=t!(w, "job.pause.left_as") value=left choices=ways(w) />
        }
        .into_any(),
    };
    view! {
        <Button label=t!(w, "job.pause.action") icon=Icon::Wait on_press=move || open.set(true) />
        {words.told_when_shut(w, open)}
        <Sheet open title=t!(w, "job.pause.title") acts=acts>
            {leavers}
            {way}
            {words.told_when_brought_back(w)}
            <Area label=t!(w, "job.pause.words") value=words.text fault=words_fault(w, words.text) room=words_room(w, words.text) />
        </Sheet>
    }
    .into_any()
}

/// That whoever looks has left the others.
pub fn away_banner(w: Words, job: &JobView) -> Option<AnyView> {
    is_away(job).then(|| view! { <Banner tone=Tone::Caution title=t!(w, "job.away.is") /> }.into_any())
}

/// The others of the crew who have not left.
fn others_here(
    w: Words,
    job: &JobView,
    own: Option<PersonId>,
    people: &[(PersonId, String)],
) -> Vec<(PersonId, String)> {
    let crew = job.crew.iter().map(|assigned| assigned.person);
    let here = crew.filter(|person| Some(*person) != own && !job.away.contains(person));
    here.map(|person| (person, words::person(w, people, person))).collect()
}

fn ways(w: Words) -> Vec<Choice> {
    LEFT.iter().map(|(left, word)| Choice::new(*word, w.say(words::left_as(*left)))).collect()
}

fn left_of(word: &str) -> Option<LeftAs> {
    LEFT.iter().find(|(_, own)| *own == word).map(|(left, _)| *left)
}

#[cfg(test)]
mod tests {
    use domain::ids::{Hash32, SiteId, uuid_v7};
    use domain::job_file::body::{Assigned, Assignment, CrewRole, JobPlanned, MethodRef, Purpose};
    use domain::job_file::{JobFile, Phase};

    use super::*;
    use crate::features::job::load::job_view_at;
    use crate::features::job::view_model::{Onward, onward};

    /// Who writes in an imagined file.
    fn me() -> PersonId {
        PersonId::of(uuid_v7(0, &[1; 10]))
    }

    fn other() -> PersonId {
        PersonId::of(uuid_v7(0, &[9; 10]))
    }

    fn job_as(who: PersonId, bodies: Vec<Body>) -> JobView {
        let method = MethodRef { id: "m".into(), version: 1, hash: Hash32::of([0; 32]) };
        let site = SiteId::of(uuid_v7(0, &[3; 10]));
        let plan = JobPlanned { purpose: Purpose::Install, site, method, rule_set: String::new() };
        let crew = [me(), other()];
        let crew = crew.map(|person| Assigned { person, role: CrewRole::Technician, tickets: Vec::new() });
        let opening = [Body::JobPlanned(plan), Body::Assignment(Assignment { crew: crew.to_vec() })];
        let job = JobId::of(uuid_v7(0, &[1; 10]));
        let file = JobFile::imagined(job, opening.into_iter().chain(bodies));
        job_view_at(job, &file, None, "en", (1_000, who))
    }

    fn names() -> Vec<(PersonId, String)> {
        vec![(me(), "Ada".to_owned()), (other(), "Bo".to_owned())]
    }

    #[test]
    fn who_left_the_others_is_asked_to_come_back_and_they_are_not() {
        let w = Words::default();
        let gone = || vec![Body::WentAway(Plain {})];
        assert_eq!(onward(w, &job_as(me(), gone())), Onward::Back);
        assert!(away_banner(w, &job_as(other(), gone())).is_none());
        assert_ne!(onward(w, &job_as(other(), gone())), Onward::Back);
        let back = vec![Body::WentAway(Plain {}), Body::CameBack(Plain {})];
        let job = job_as(me(), back);
        assert!(!is_away(&job) && job.away.is_empty() && job.phase != Phase::Paused(LeftAs::NotConnected));
    }

    #[test]
    fn a_lock_goes_to_somebody_who_is_there() {
        let w = Words::default();
        let others = |who, bodies| others_here(w, &job_as(who, bodies), Some(who), &names());
        assert_eq!(others(me(), Vec::new()), [(other(), "Bo".to_owned())]);
        assert_eq!(others(other(), vec![Body::WentAway(Plain {})]), [], "Ada has left");
    }
}
