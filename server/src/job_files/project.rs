//! Folds job files into rows for lists. The rows are a cache: [`reproject_all`] throws them away and makes them again.
//!
//! Projections of one firm go one after another (an advisory lock), so that of two jobs with the same serial the second
//! one sees the first. A job that cannot be folded stays as it was and is tried again; it shuts nobody out of the others.
//!
//! Locks are always taken in this order: projection, firm, job. A push takes the last two only.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use domain::identification::Serial;
use domain::ids::{DeviceId, EntryId, FirmId, Hash32, JobId};
use domain::job_file::body::{Body, DoubtCode, FindingCode, JobPlanned, MethodRef, SiteDetails};
use domain::job_file::received::{Received, seen_less};
use domain::job_file::signature::{Enrolment, doubts_on_arrival};
use domain::job_file::{JobFile, JobState, Phase, Place, fold};
use domain::method::Method;
use domain::method::gate::{Plan, StepState};
use serde::Serialize;
use uuid::Uuid;

use super::load::load;
use super::visible::sees_all;
use super::worker::project_soon;
use super::{countersigns, cut, findings, queries, voice};
use crate::auth::Caller;
use crate::error::ApiError;
use crate::methods::Published;
use crate::state::AppState;

/// A round may make findings and draw answers, which are entries and ask for another round; neither makes any more.
const ROUNDS_MAX: usize = 3;
/// Jobs for which a reader waits until their answers for the telephone are drawn. Each takes a slow hash for every place of the
/// job; of two hundred that somebody planned in one go the rest is drawn behind everybody's back.
const DRAWN_IN_LINE_MAX: usize = 4;
/// Jobs that somebody who sees all jobs anyway waits for. The log tells them of the rest.
const FIRST_LOOK_JOBS_MAX: usize = 8;

/// Brings every projection of a firm up to the log. Called before anything that reads them.
///
/// # Errors
/// The database does not answer. A single job that cannot be projected is logged and left.
pub async fn project_dirty(state: &AppState, firm: FirmId) -> Result<(), ApiError> {
    if bring_up(state, firm, usize::MAX).await? {
        project_soon(state, firm);
    }
    Ok(())
}

/// The same for a pull. Who sees only their own jobs learns from the projections which those are; who sees all does not, and a
/// lead's first look after a morning of planning must not wait for the whole morning. Gives whether something was left for the worker.
///
/// # Errors
/// As [`project_dirty`].
pub async fn project_for_pull(state: &AppState, caller: &Caller) -> Result<bool, ApiError> {
    let most = if sees_all(caller) { FIRST_LOOK_JOBS_MAX } else { usize::MAX };
    let is_left = bring_up(state, caller.firm, most).await?;
    if is_left {
        project_soon(state, caller.firm);
    }
    Ok(is_left)
}

/// For the worker: brings up what there is, and draws what is wanted for one job after another.
///
/// # Errors
/// As [`project_dirty`].
pub(super) async fn project_all_and_draw(state: &AppState, firm: FirmId) -> Result<(), ApiError> {
    bring_up(state, firm, usize::MAX).await?;
    let mut tx = state.db.begin_for_firm(firm).await?;
    let wanting = queries::wanting_answers(&mut tx).await?;
    tx.commit().await?;
    for job in wanting {
        if let Err(error) = voice::draw_wanted(state, firm, JobId::of(job)).await {
            tracing::error!(%firm, %job, error = ?error, "no answers could be drawn for this job");
        }
    }
    bring_up(state, firm, usize::MAX).await.map(drop)
}

/// Gives whether something is left for the worker: jobs past `most`, or answers past what a reader waits for.
async fn bring_up(state: &AppState, firm: FirmId, most: usize) -> Result<bool, ApiError> {
    let (mut failed, mut done): (BTreeSet<JobId>, BTreeSet<JobId>) = (BTreeSet::new(), BTreeSet::new());
    let mut drawn = 0;
    let mut is_left = false;
    for _ in 0..ROUNDS_MAX {
        let dirty = dirty_jobs(state, firm).await?;
        let mut jobs: Vec<JobId> = dirty.into_iter().map(JobId::of).filter(|job| !failed.contains(job)).collect();
        if done.len() + jobs.iter().filter(|job| !done.contains(job)).count() > most {
            is_left = true;
            // What was begun is brought to its end: its findings, its answers.
            let new = jobs.iter().copied().filter(|job| !done.contains(job)).take(most.saturating_sub(done.len()));
            let new: BTreeSet<JobId> = new.collect();
            jobs.retain(|job| done.contains(job) || new.contains(job));
        }
        if jobs.is_empty() {
            break;
        }
        for job in jobs {
            // One turn a job: who has two to look at does not wait behind somebody's two hundred.
            let _turn = state.turns.project(firm).await;
            done.insert(job);
            match project(state, firm, job, drawn < DRAWN_IN_LINE_MAX).await {
                Ok(Answers::Drawn) => drawn += 1,
                Ok(Answers::Wanted) => is_left = true,
                Ok(Answers::NoneWanted) => {}
                Err(error) => {
                    tracing::error!(%firm, %job, error = ?error, "this job cannot be projected");
                    failed.insert(job);
                }
            }
        }
    }
    Ok(is_left)
}

/// What became of a job's answers for the telephone.
enum Answers {
    NoneWanted,
    Drawn,
    /// They are left to the worker; the row says so.
    Wanted,
}

async fn dirty_jobs(state: &AppState, firm: FirmId) -> Result<Vec<Uuid>, ApiError> {
    let mut tx = state.db.begin_for_firm(firm).await?;
    let dirty = queries::dirty_jobs(&mut tx).await?;
    tx.commit().await?;
    Ok(dirty)
}

/// Makes all projections of a firm anew.
///
/// # Errors
/// The database does not answer.
pub async fn reproject_all(state: &AppState, firm: FirmId) -> Result<(), ApiError> {
    let mut tx = state.db.begin_for_firm(firm).await?;
    queries::lock_projection(&mut tx).await?;
    queries::drop_projections(&mut tx).await?;
    tx.commit().await?;
    project_dirty(state, firm).await
}

async fn project(state: &AppState, firm: FirmId, job: JobId, may_draw: bool) -> Result<Answers, ApiError> {
    let mut tx = state.db.begin_for_firm(firm).await?;
    queries::lock_projection(&mut tx).await?;
    if !queries::is_dirty(&mut tx, job).await? {
        return Ok(Answers::NoneWanted);
    }
    let Some(loaded) = load(&mut tx, job).await? else { return Ok(Answers::NoneWanted) };
    let method = method_of(state, &loaded.file).await?;
    let decided = countersigns::decide(&mut tx, state, &loaded.file).await?;
    let enrolments = queries::enrolments_in(&mut tx, job).await?;
    let epoch = state.db.epoch().await?;
    let received = queries::received_in(&mut tx, job, &epoch).await?;
    // The fold of a large job takes a while: not on a thread that serves requests.
    let clock = state.clock.clone();
    let (rows, drawn) = tokio::task::spawn_blocking(move || {
        let rows = Rows::of(&loaded.file, method.as_deref(), &enrolments, &received);
        let drawn = if may_draw { voice::draw(&clock, &rows.unanswered) } else { Vec::new() };
        (rows, drawn)
    })
    .await
    .map_err(|error| ApiError::internal(anyhow::anyhow!("the fold of a job failed: {error}")))?;
    let answers = match (rows.unanswered.is_empty(), may_draw) {
        (true, _) => Answers::NoneWanted,
        (false, true) => Answers::Drawn,
        (false, false) => Answers::Wanted,
    };
    queries::replace_job_row(&mut tx, job, &rows.job, matches!(answers, Answers::Wanted)).await?;
    queries::replace_unit_rows(&mut tx, job, &rows.units).await?;
    let forks = rows.forks.iter().map(|(later, first)| (FindingCode::ForkedChain, *later, *first));
    let found = findings::Found { pairs: forks.chain(decided).collect(), doubts: rows.doubts };
    findings::write(&mut tx, &state.clock, job, found).await?;
    voice::write(&mut tx, &state.clock, job, drawn).await?;
    queries::set_projected(&mut tx, job, loaded.head).await?;
    tx.commit().await?;
    Ok(answers)
}

/// The method that a job pins, if this server has exactly that one.
///
/// # Errors
/// The database does not answer.
pub async fn method_of(state: &AppState, file: &JobFile) -> Result<Option<Arc<Published>>, ApiError> {
    let Some(plan) = opening_plan(file) else { return Ok(None) };
    let MethodRef { id, version, hash } = &plan.method;
    let found = state.methods.find(&state.db, id, *version).await?;
    Ok(found.filter(|published| published.hash == *hash))
}

/// What opened the file: the first plan that arrived.
pub(super) fn opening_plan(file: &JobFile) -> Option<&JobPlanned> {
    let plans = file.iter().filter_map(|held| match held.entry.body() {
        Some(Body::JobPlanned(plan)) => Some((held.stamp.map_or(u64::MAX, |stamp| stamp.position), plan)),
        _ => None,
    });
    plans.min_by_key(|(position, _)| *position).map(|(_, plan)| plan)
}

/// What one job becomes.
struct Rows {
    job: queries::JobRowNew,
    units: Vec<queries::UnitRowNew>,
    /// (an entry that continues a chain a second time, the one that continued it first)
    forks: Vec<(EntryId, EntryId)>,
    /// What is doubtful about where an entry came from, and the entry.
    doubts: Vec<(DoubtCode, EntryId)>,
    /// Places that want an answer drawn for the telephone.
    unanswered: Vec<Place>,
}

impl Rows {
    fn of(
        file: &JobFile,
        published: Option<&Published>,
        enrolments: &BTreeMap<DeviceId, Enrolment>,
        received: &BTreeMap<DeviceId, Vec<Received>>,
    ) -> Self {
        let none = Method::without_work();
        let method = published.map_or(&none, |published| &published.method);
        let plan = Plan::of(method);
        let mut state = fold(file, &plan);
        let job = job_row(file, &mut state, published.is_some());
        let unanswered = if published.is_some() { domain::people::voice::wanting(&state) } else { Vec::new() };
        let doubts = doubts_on_arrival(file, enrolments).into_iter();
        let doubts = doubts.flat_map(|(id, doubts)| doubts.into_iter().map(move |doubt| (doubt.code(), id)));
        let doubts = doubts.filter_map(|(code, id)| Some((code?, id)));
        let less = seen_less(file, received).into_iter().map(|id| (DoubtCode::SeenLess, id));
        let doubts = doubts.chain(less).collect();
        Self { job, units: unit_rows(file, &state), forks: forks(file, &state), doubts, unanswered }
    }
}

fn job_row(file: &JobFile, state: &mut JobState<'_, '_>, method_known: bool) -> queries::JobRowNew {
    let (mut steps, mut holds) = (Count::default(), Count::default());
    for at in state.gate.steps() {
        if state.gate.view(at).state == StepState::NotApplicable {
            continue;
        }
        let done = state.gate.is_done(at);
        steps.add(done);
        if state.gate.plan().step(at.step).hold {
            holds.add(done);
        }
    }
    let record = state.gate.record();
    let nowhere = SiteDetails::default();
    let site = record.site.as_ref().map_or(&nowhere, |latest| latest.value);
    let planned = opening_plan(file);
    let left_as = match state.phase {
        Phase::Paused(left_as) => Some(word(&left_as)),
        Phase::Planned
        | Phase::WithCrew
        | Phase::OnSite
        | Phase::ForReview
        | Phase::Returned
        | Phase::Passed
        | Phase::Sealed
        | Phase::Withdrawn => None,
    };
    let open = state.open_breaches().count();
    // Without the method every piece of evidence would look misplaced.
    let (breaches, settled) = if method_known { (open, state.breaches.len() - open) } else { (0, 0) };
    let updated = file.iter().filter_map(|held| held.stamp).map(|stamp| stamp.time_us).max().unwrap_or(0);
    let crew = record.crew.as_ref().map(|latest| latest.value.crew.iter().map(|assigned| assigned.person.uuid()));
    let crew: Vec<Uuid> = crew.map(Iterator::collect).unwrap_or_default();
    let authors = file.iter().map(|held| held.entry.header.author.uuid());
    let people: BTreeSet<Uuid> = crew.iter().copied().chain(authors).collect();
    queries::JobRowNew {
        state: phase_word(state.phase),
        left_as,
        method_known,
        purpose: planned.map(|plan| word(&plan.purpose)),
        site_id: planned.map(|plan| plan.site.uuid()),
        method_id: planned.map(|plan| plan.method.id.clone()),
        method_version: planned.map(|plan| i64::from(plan.method.version)),
        method_hash: planned.map(|plan| plan.method.hash.bytes().to_vec()),
        rule_set: planned.map(|plan| plan.rule_set.clone()),
        householder: site.householder.clone(),
        street: site.street.clone(),
        town: site.town.clone(),
        zone: site.zone.clone(),
        day: record.schedule.as_ref().map(|latest| latest.value.day.clone()).unwrap_or_default(),
        start: record.schedule.as_ref().map(|latest| latest.value.start.clone()).unwrap_or_default(),
        crew,
        people: people.into_iter().collect(),
        steps,
        holds,
        entries: file.len(),
        breaches,
        breaches_settled: settled,
        // A PIN that was right needs nobody's eye.
        findings: record.findings.values().filter(|f| f.code != FindingCode::CountersignConfirmed).count()
            + record.origin_doubts.values().map(BTreeSet::len).sum::<usize>(),
        stops_open: record.open_stops().count(),
        deviations_open: record.deviations.values().filter(|deviation| deviation.allowed().is_none()).count(),
        late: state.late.len(),
        updated_us: cut(updated),
    }
}

/// How many of how many.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Count {
    pub(super) done: usize,
    pub(super) total: usize,
}

impl Count {
    fn add(&mut self, done: bool) {
        self.total += 1;
        self.done += usize::from(done);
    }
}

/// Every serial of the file, wherever it stands now.
fn unit_rows(file: &JobFile, state: &JobState<'_, '_>) -> Vec<queries::UnitRowNew> {
    let record = state.gate.record();
    let mut rows = Vec::new();
    for held in file.iter() {
        let Some(Body::Serial(read)) = held.entry.body() else { continue };
        let id = held.entry.header.id;
        let standing = if state.breaches.contains_key(&id) {
            "breach"
        } else if state.late.contains(&id) {
            "late"
        } else if record.counting(&read.at).last().is_some_and(|evidence| evidence.key.id == id) {
            "counts"
        } else {
            "replaced"
        };
        let model = record.model_of_slot(read.at.slot);
        let serial = Serial::of(&read.stored).ok();
        rows.push(queries::UnitRowNew {
            entry_id: id.uuid(),
            slot: i32::from(read.at.slot),
            kind: model.map(|model| word(&model.kind)),
            maker: model.map(|model| model.maker.clone()).unwrap_or_default(),
            model: model.map(|model| model.name.clone()).unwrap_or_default(),
            gtin: read.gtin.clone().or_else(|| model.and_then(|model| model.gtin.clone())),
            stored: read.stored.clone(),
            match_key: serial.as_ref().map(|serial| serial.match_key.clone()).unwrap_or_default(),
            skeleton: serial.map(|serial| serial.skeleton).unwrap_or_default(),
            lot: read.lot.clone(),
            standing,
            read_us: cut(state.keys[&id].at),
        });
    }
    rows
}

fn forks(file: &JobFile, state: &JobState<'_, '_>) -> Vec<(EntryId, EntryId)> {
    let mut groups: BTreeMap<(DeviceId, Hash32), Vec<(u64, EntryId)>> = BTreeMap::new();
    for id in &state.forks {
        let Some(held) = file.get(*id) else { continue };
        let header = &held.entry.header;
        let position = held.stamp.map_or(u64::MAX, |stamp| stamp.position);
        groups.entry((header.device, header.prev)).or_default().push((position, *id));
    }
    let mut pairs = Vec::new();
    for mut group in groups.into_values() {
        group.sort_unstable();
        let first = group[0].1;
        pairs.extend(group[1..].iter().map(|(_, later)| (*later, first)));
    }
    pairs
}

/// The word of a phase in rows and in the API.
pub(super) const fn phase_word(phase: Phase) -> &'static str {
    match phase {
        Phase::Planned => "planned",
        Phase::WithCrew => "with_crew",
        Phase::OnSite => "on_site",
        Phase::Paused(_) => "paused",
        Phase::ForReview => "for_review",
        Phase::Returned => "returned",
        Phase::Passed => "passed",
        Phase::Sealed => "sealed",
        Phase::Withdrawn => "withdrawn",
    }
}

/// The word that serde gives a variant without content.
fn word<T: Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        Ok(_) | Err(_) => String::new(),
    }
}
