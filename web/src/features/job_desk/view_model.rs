//! What a lead looks at before deciding: what stands against passing, what waits, what a person may do. Pure.

use domain::ids::{EntryId, Hash32, PersonId};
use domain::job_file::Phase;
use domain::job_file::body::Body;
use domain::method::gate::StepState;

use crate::features::design_sheet::state::DesignState;
use crate::features::desk::shared::waiting_deviations;
use crate::features::job::load::{DeviationView, EvidenceStanding, JobView, RemarkView, StepCard};

/// What people wrote about the job. The name under a confirmation or a signature is read there and is no note.
pub fn notes_of(view: &JobView) -> Vec<&RemarkView> {
    view.remarks.iter().filter(|remark| !remark.is_name && !remark.text.trim().is_empty()).collect()
}

/// Something that stands against passing the review, or that should be looked at first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Against {
    /// The method is not on this device, so nothing can be judged.
    MethodMissing,
    /// The crew has not handed it in.
    NotHandedIn,
    /// Work is stopped: so many stops are not resolved.
    Stops(usize),
    /// Steps that are not done: their indices in [`JobView::steps`].
    Steps(Vec<usize>),
    /// Departures without an answer.
    Deviations(usize),
    /// Checks of the design that fail, by name.
    DesignFails(Vec<String>),
    /// Checks of the design that nobody can decide, by name.
    DesignOpen(Vec<String>),
    /// Nobody entered a design.
    DesignAbsent,
    /// The rules of its design are not on this device.
    DesignUnjudged,
    /// Evidence that the gate would not have let through.
    Breaches(usize),
    /// Photos that have not arrived at the server.
    Photos(usize),
    /// Photos that their maker kept against a warning.
    KeptAnyway(usize),
}

impl Against {
    /// The review cannot be passed while it stands.
    pub const fn is_hard(&self) -> bool {
        match self {
            Self::MethodMissing | Self::Stops(_) | Self::Steps(_) => true,
            Self::NotHandedIn
            | Self::Deviations(_)
            | Self::DesignFails(_)
            | Self::DesignOpen(_)
            | Self::DesignAbsent
            | Self::DesignUnjudged
            | Self::Breaches(_)
            | Self::Photos(_)
            | Self::KeptAnyway(_) => false,
        }
    }
}

impl Against {
    /// Whoever passes the review all the same writes why.
    pub const fn wants_reason(&self) -> bool {
        matches!(self, Self::DesignFails(_) | Self::DesignOpen(_) | Self::DesignAbsent | Self::DesignUnjudged)
    }
}

/// All of it, hard ones first.
pub fn standing_against(view: &JobView, design: Option<&DesignState>, photos_missing: usize) -> Vec<Against> {
    let mut all = Vec::new();
    if view.method_missing {
        all.push(Against::MethodMissing);
    }
    let stops = view.stops.iter().filter(|stop| stop.is_open()).count();
    if stops > 0 {
        all.push(Against::Stops(stops));
    }
    let unfinished: Vec<usize> =
        view.steps.iter().enumerate().filter(|(_, step)| !step.is_done()).map(|(index, _)| index).collect();
    if !view.method_missing && (!unfinished.is_empty() || !view.all_done()) {
        all.push(Against::Steps(unfinished));
    }
    if view.phase != Phase::ForReview {
        all.push(Against::NotHandedIn);
    }
    if let Some(design) = design {
        let named = [
            (!design.fails.is_empty()).then(|| Against::DesignFails(design.fails.clone())),
            (!design.open.is_empty()).then(|| Against::DesignOpen(design.open.clone())),
            design.absent.then_some(Against::DesignAbsent),
            design.unjudged.then_some(Against::DesignUnjudged),
        ];
        all.extend(named.into_iter().flatten());
    }
    let counts = [
        (waiting_deviations(view).count(), Against::Deviations as fn(usize) -> Against),
        (view.open_breaches().count(), Against::Breaches),
        (photos_missing, Against::Photos),
        (kept_anyway(view), Against::KeptAnyway),
    ];
    all.extend(counts.into_iter().filter(|(count, _)| *count > 0).map(|(count, make)| make(count)));
    all
}

fn kept_anyway(view: &JobView) -> usize {
    counting_bodies(view).filter(|body| matches!(body, Body::Photo(photo) if photo.kept_anyway)).count()
}

fn counting_bodies(view: &JobView) -> impl Iterator<Item = &Body> {
    view.steps
        .iter()
        .flat_map(|step| &step.requirements)
        .flat_map(|card| &card.evidence)
        .filter(|item| item.standing == EvidenceStanding::Counts)
        .map(|item| &item.body)
}

/// A photo as the server lists it.
#[derive(Clone, Debug, PartialEq, Eq, serde::Deserialize)]
pub struct ServerPhoto {
    /// SHA-256.
    pub hash: Hash32,
    /// `original` or `preview`.
    pub role: String,
    /// When it came.
    #[serde(default)]
    pub arrived_us: Option<u64>,
}

/// A photo that the server waits for, and what it was taken for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AwaitedPhoto {
    /// SHA-256.
    pub hash: Hash32,
    /// Label of the requirement and index of the step; none where only a departure names it.
    pub at: Option<(String, usize)>,
    /// Who took it.
    pub by: Option<PersonId>,
}

/// Originals that have not arrived and of which nobody has said that they will not come.
pub fn awaited_photos(view: &JobView, listed: &[ServerPhoto]) -> Vec<AwaitedPhoto> {
    let mut hashes: Vec<Hash32> = listed
        .iter()
        .filter(|photo| photo.role == "original" && photo.arrived_us.is_none())
        .map(|photo| photo.hash)
        .filter(|hash| !view.photos_absent.iter().any(|(absent, _)| absent == hash))
        .collect();
    hashes.sort_unstable();
    hashes.dedup();
    hashes.into_iter().map(|hash| awaited(view, hash)).collect()
}

fn awaited(view: &JobView, hash: Hash32) -> AwaitedPhoto {
    let names_it = |body: &Body| matches!(body, Body::Photo(photo) if photo.original.hash == hash);
    for (index, step) in view.steps.iter().enumerate() {
        for card in &step.requirements {
            if let Some(item) = card.evidence.iter().find(|item| names_it(&item.body)) {
                return AwaitedPhoto { hash, at: Some((card.label.clone(), index)), by: Some(item.by) };
            }
        }
    }
    let by = view.deviations.iter().find(|deviation| deviation.photo.hash == hash).map(|deviation| deviation.by);
    AwaitedPhoto { hash, at: None, by }
}

/// May a departure be allowed here? Not from a stop-work step: nothing but its evidence opens it.
pub fn can_allow(view: &JobView, deviation: &DeviationView) -> bool {
    view.step(&deviation.place.step, deviation.place.slot).is_some_and(|step| !step.stop_work)
}

/// Which steps a filter of the step list shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum StepFilter {
    /// All.
    #[default]
    All,
    /// Not done.
    Open,
    /// Failed, deviating, returned, or with a correction.
    Noteworthy,
}

impl StepFilter {
    /// Its word in the address.
    pub const fn word(self) -> &'static str {
        match self {
            Self::All => "all",
            Self::Open => "open",
            Self::Noteworthy => "noteworthy",
        }
    }

    /// Reads a word of the address.
    pub fn of_word(word: &str) -> Self {
        [Self::Open, Self::Noteworthy].into_iter().find(|filter| filter.word() == word).unwrap_or_default()
    }

    /// Does it show this step?
    pub fn shows(self, step: &StepCard) -> bool {
        match self {
            Self::All => true,
            Self::Open => !step.is_done(),
            Self::Noteworthy => is_noteworthy(step),
        }
    }
}

fn is_noteworthy(step: &StepCard) -> bool {
    let odd_evidence = step.requirements.iter().flat_map(|card| &card.evidence).any(|item| {
        item.standing != EvidenceStanding::Counts || matches!(&item.body, Body::Photo(photo) if photo.kept_anyway)
    });
    let odd_answer = step.requirements.iter().any(|card| card.deviation.is_some() || card.answer.is_bad());
    matches!(step.state, StepState::Failed | StepState::Deviating)
        || step.returned.is_some()
        || step.ended.is_some()
        || odd_answer
        || odd_evidence
}

/// A decision that a dialog asks about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Decision {
    /// Answer a departure.
    Deviation {
        /// The request.
        asked: EntryId,
        /// Allow it?
        allow: bool,
    },
    /// Say how a stop was resolved.
    Stop(EntryId),
    /// Deal with a breach.
    Breach(EntryId),
    /// Have a place done again; an empty requirement means the whole step.
    Return(domain::job_file::Place),
    /// A photo will not come.
    PhotoAbsent(Hash32),
    /// Pass the review.
    Pass,
    /// The job will not be done.
    Withdraw,
}

impl Decision {
    /// Words must go with it.
    pub const fn needs_words(&self) -> bool {
        match self {
            Self::Deviation { allow, .. } => !*allow,
            Self::Stop(_) | Self::Breach(_) | Self::Return(_) | Self::PhotoAbsent(_) => true,
            Self::Pass | Self::Withdraw => false,
        }
    }

    /// The bodies to write: the words first, for the decision names their entry.
    pub fn bodies(&self, words: &str, remark: EntryId) -> Vec<Body> {
        use domain::job_file::body::{DeviationDecided, PhotoAbsent, Plain, Remark, Returned, Settled, StopResolved};
        let words = words.trim();
        let place = match self {
            Self::Return(place) => Some(place.clone()),
            _ => None,
        };
        let said = (!words.is_empty()).then(|| Body::Remark(Remark { at: place, text: words.to_owned() }));
        let decision = match self {
            Self::Deviation { asked, allow } => Body::DeviationDecided(DeviationDecided {
                asked: *asked,
                allowed: *allow,
                remark: said.is_some().then_some(remark),
            }),
            Self::Stop(stop) => Body::StopResolved(StopResolved { stop: *stop, remark }),
            Self::Breach(entry) => Body::BreachSettled(Settled { entry: *entry, remark }),
            Self::Return(at) => Body::Returned(Returned { at: at.clone(), remark }),
            Self::PhotoAbsent(hash) => Body::PhotoAbsent(PhotoAbsent { hash: *hash, remark }),
            Self::Pass => Body::Passed(Plain {}),
            Self::Withdraw => Body::Withdrawn(Plain {}),
        };
        said.into_iter().chain([decision]).collect()
    }
}

/// Is what was typed the number of the job? Case and blanks do not matter: the point is to look, not to spell.
pub fn confirms(typed: &str, short: &str) -> bool {
    typed.trim().eq_ignore_ascii_case(short)
}
