//! From what was typed to the entries of a job file, or to what is wrong with it. Pure.

use std::collections::BTreeMap;

use domain::bounds;
use domain::design::{Figures, Following};
use domain::electrical::rule_set::RuleSet;
use domain::electrical::units::MICRO;
use domain::electrical::{Check, Cmp, FieldSpec, Note, NumberLocale, Prefix, Quality, Quantity, parse_reading};
use domain::identification::Date;
use domain::ids::{JobId, PersonId, SiteId, uuid_v7};
use domain::job_file::JobFile;
use domain::job_file::body::{
    Assigned, Assignment, Body, Consent, ConsentState, DesignInputs, Equipment, JobPlanned, MethodRef, ModelSnapshot,
    Remark, Schedule, Slot, Ticket, UnitKind,
};
use domain::method::Method;
use domain::method::gate::{Answer, LimitInfo, LimitSource, OpenWhy};
use domain::method::plan::{CheckCall, DesignField, LimitRule, Requirement, UnitPlan};

use super::draft::{PlanDraft, consent_of_word};
use crate::features::design_sheet::state::{DesignState, note_of_fails};
use crate::features::design_sheet::view_model::value_of;
use crate::features::desk::shared::{has_technician, is_handed_over, kind_word};
use crate::features::job::load::{JobView, job_view};
use crate::features::words::{choice, quantity};
use crate::i18n::Words;
use crate::t;
use crate::ui::Choice;

/// Rule set of new jobs where nobody chose: public standards by number and edition, as `domain::electrical` computes them.
pub const RULE_SET: &str = "neutral 1";

/// A person who can be put on a job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// Who.
    pub person: PersonId,
    /// Name.
    pub name: String,
    /// May lead a job.
    pub can_lead: bool,
    /// May record evidence.
    pub can_work: bool,
    /// Licences and competences.
    pub tickets: Vec<Ticket>,
}

/// A field of the form.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum FieldId {
    /// Householder's name.
    Householder,
    /// Street and house.
    Street,
    /// Town.
    Town,
    /// Telephone.
    Phone,
    /// E-mail.
    Email,
    /// Connection point.
    GridPoint,
    /// How to get in.
    Access,
    /// Time zone.
    Zone,
    /// Method.
    Method,
    /// Model of a kind, by the kind's word.
    Model(&'static str),
    /// Count of a kind.
    Count(&'static str),
    /// A design figure by its key.
    Design(String),
    /// The operator's reference.
    ConsentReference,
    /// Day.
    Day,
    /// Hour.
    Start,
    /// Why it goes to a crew though checks of its design fail.
    Why,
}

/// What is wrong with a field: it keeps the plan from being saved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Nothing is there and the plan cannot do without.
    Needed,
    /// Not an hour such as 08:30.
    NotAnHour,
    /// An hour without a day.
    HourWithoutDay,
    /// Not a whole number from least to most.
    CountOutside {
        /// At least.
        least: u16,
        /// At most.
        most: u16,
    },
    /// A count without a model.
    ModelNeeded,
    /// Cannot be read as a number.
    Unreadable,
    /// More than one reading is possible.
    Ambiguous(Vec<Quantity>),
    /// A unit of something else; perhaps this was meant.
    OtherUnit(Option<Quantity>),
    /// One exact value is needed, not a bound.
    NotExact,
    /// No such thing can be, and no tick makes it true.
    Impossible {
        /// Least, millionths.
        least: i64,
        /// Greatest.
        most: i64,
    },
    /// A text that cannot stay as it is.
    Text(bounds::Fault),
    /// No such time zone.
    NoSuchZone,
    /// Implausible; it must be looked at and ticked.
    OutsidePlausible {
        /// Least plausible, millionths.
        least: i64,
        /// Greatest plausible.
        most: i64,
    },
}

/// What is still missing before a crew can work; it keeps nobody from saving.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Gap {
    /// Nobody is on the job.
    Crew,
    /// No day.
    Day,
    /// Units of this kind.
    Units(UnitKind),
    /// So many design figures.
    Design(usize),
    /// The operator's word, and the method asks for it.
    Consent,
    /// Householder's name.
    Householder,
    /// Connection point.
    GridPoint,
}

/// A plan that was read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Reading {
    /// Sections that say something, as bodies; only those that change something where a job is there.
    pub bodies: Vec<Body>,
    /// What is wrong.
    pub faults: BTreeMap<FieldId, Fault>,
    /// What is missing.
    pub gaps: Vec<Gap>,
    /// Figures that the method asks for, nobody entered, and that follow from the rest.
    pub follows: Figures,
    /// Checks of the design that fail while a crew gets it, for which a lead gives a reason.
    pub fails: Vec<String>,
    /// A crew gets a design that this device cannot judge, for want of its rules; for that too.
    pub unjudged: bool,
}

impl Reading {
    /// Keeps only what somebody may write who does not lead the job: site data and consent.
    pub fn keep_site(&mut self) {
        self.bodies.retain(|body| matches!(body, Body::SiteDetails(_) | Body::Consent(_)));
        self.faults.retain(|field, _| match field {
            FieldId::Householder
            | FieldId::Street
            | FieldId::Town
            | FieldId::Phone
            | FieldId::Email
            | FieldId::GridPoint
            | FieldId::Access
            | FieldId::Zone
            | FieldId::ConsentReference => true,
            FieldId::Method
            | FieldId::Model(_)
            | FieldId::Count(_)
            | FieldId::Design(_)
            | FieldId::Day
            | FieldId::Start
            | FieldId::Why => false,
        });
        self.fails.clear();
        self.unjudged = false;
        self.gaps.retain(|gap| matches!(gap, Gap::Consent | Gap::Householder | Gap::GridPoint));
    }
}

/// Everything that the reading of a plan leans on.
#[derive(Clone, Copy)]
pub struct Around<'a> {
    /// The chosen method with its reference, once it is on this device.
    pub method: Option<(&'a Method, &'a MethodRef)>,
    /// The catalogue, without retired items.
    pub models: &'a [ModelSnapshot],
    /// By which the job is designed; absent while this device lacks them, and then nothing follows.
    pub rules: Option<&'a RuleSet>,
    /// People.
    pub people: &'a [Candidate],
    /// The job as it stands; absent for a new one.
    pub before: Option<&'a JobView>,
    /// The greatest slot number that the job ever had.
    pub slots_ever: u16,
    /// Site of a new job.
    pub site: SiteId,
    /// Is there such a time zone?
    pub is_zone: fn(&str) -> bool,
    /// Today here.
    pub today: Date,
}

/// Reads a draft.
pub fn read(draft: &PlanDraft, around: Around<'_>, w: Words) -> Reading {
    let mut out = Reading::default();
    let mut designed = None;
    site(draft, around, &mut out);
    plan(draft, around, &mut out);
    if let Some((method, _)) = around.method {
        let units = equipment(draft, method, around, &mut out);
        let figures = design(draft, (method, units.as_ref()), around, w, &mut out);
        designed = Some((method, figures, units));
    }
    consent(draft, around, &mut out);
    crew(draft, around, &mut out);
    schedule(draft, around, &mut out);
    if let Some((method, figures, units)) = designed {
        handing(draft, (method, &figures, units.as_ref()), around, w, &mut out);
    }
    out
}

/// A crew gets what fails only with a lead's reason: once when it goes to them, and again for what did not fail then. The same where
/// nobody can say whether it fails.
fn handing(
    draft: &PlanDraft,
    (method, figures, units): (&Method, &Figures, Option<&Equipment>),
    around: Around<'_>,
    w: Words,
    out: &mut Reading,
) {
    let has_day = !out.gaps.contains(&Gap::Day);
    if out.gaps.contains(&Gap::Crew) && (draft.crew.is_empty() || !has_day) {
        return;
    }
    let before = around.before.filter(|before| is_handed_over(&before.crew, before.schedule.is_some()));
    let Some(rules) = around.rules else {
        let designs = |body: &Body| matches!(body, Body::JobPlanned(_) | Body::Equipment(_) | Body::DesignInputs(_));
        out.unjudged = before.is_none() || out.bodies.iter().any(designs);
        if out.unjudged {
            give_reason(draft, &format!("{}. {}", t!(w, "desk.against.design_unjudged"), draft.why.trim()), out);
        }
        return;
    };
    let fails = |figures: &[(String, i64)], equipment: Option<&Equipment>| {
        let entered = Following { equipment, rules, asked: &method.design }.entered(figures);
        DesignState::judged(w, rules, &entered, equipment).fails
    };
    let told = before.map_or_else(Vec::new, |before| fails(&before.design, before.equipment.as_ref()));
    let fails = fails(figures, units);
    if fails.iter().all(|name| told.contains(name)) {
        return;
    }
    give_reason(draft, &note_of_fails(w, &fails, &draft.why), out);
    out.fails = fails;
}

/// The crew reads it in the job's notes.
fn give_reason(draft: &PlanDraft, text: &str, out: &mut Reading) {
    match bounds::words(text) {
        _ if draft.why.trim().is_empty() => _ = out.faults.insert(FieldId::Why, Fault::Needed),
        Err(fault) => _ = out.faults.insert(FieldId::Why, Fault::Text(fault)),
        Ok(()) => out.bodies.push(Body::Remark(Remark { at: None, text: text.to_owned() })),
    }
}

fn push_if_changed(out: &mut Reading, changed: bool, body: Body) {
    if changed {
        out.bodies.push(body);
    }
}

fn plan(draft: &PlanDraft, around: Around<'_>, out: &mut Reading) {
    match (around.before, around.method) {
        (Some(_), _) => {}
        (None, None) => {
            out.faults.insert(FieldId::Method, Fault::Needed);
        }
        (None, Some((method, reference))) => {
            // The opening entry comes first: what follows is judged by who planned the job.
            out.bodies.insert(
                0,
                Body::JobPlanned(JobPlanned {
                    purpose: method.purpose,
                    site: around.site,
                    method: reference.clone(),
                    rule_set: if draft.rules.is_empty() { RULE_SET.into() } else { draft.rules.clone() },
                }),
            );
        }
    }
}

fn site(draft: &PlanDraft, around: Around<'_>, out: &mut Reading) {
    let details = draft.site.details();
    if details.street.is_empty() {
        out.faults.insert(FieldId::Street, Fault::Needed);
    }
    if details.town.is_empty() {
        out.faults.insert(FieldId::Town, Fault::Needed);
    }
    let texts = [
        (FieldId::Householder, bounds::short(&details.householder, bounds::NAME_CHARS_MAX)),
        (FieldId::Street, bounds::short(&details.street, bounds::NAME_CHARS_MAX)),
        (FieldId::Town, bounds::short(&details.town, bounds::NAME_CHARS_MAX)),
        (FieldId::Phone, if details.phone.is_empty() { Ok(()) } else { bounds::phone(&details.phone) }),
        (FieldId::Email, if details.email.is_empty() { Ok(()) } else { bounds::email(&details.email) }),
        (FieldId::GridPoint, bounds::short(&details.grid_point, bounds::NAME_CHARS_MAX)),
        (FieldId::Access, bounds::words(&details.access)),
    ];
    for (field, judged) in texts {
        if let Err(fault) = judged {
            out.faults.insert(field, Fault::Text(fault));
        }
    }
    if !details.zone.is_empty() && !(around.is_zone)(&details.zone) {
        out.faults.insert(FieldId::Zone, Fault::NoSuchZone);
    }
    if details.householder.is_empty() {
        out.gaps.push(Gap::Householder);
    }
    if details.grid_point.is_empty() {
        out.gaps.push(Gap::GridPoint);
    }
    let changed = around.before.is_none_or(|before| before.site != details);
    push_if_changed(out, changed, Body::SiteDetails(details));
}

/// Reads a count; `None` where it is not a whole number of the range.
fn count_of(text: &str, plan: &UnitPlan) -> Option<u16> {
    text.trim().parse::<u16>().ok().filter(|count| (plan.least..=plan.most).contains(count))
}

/// The units as they are planned; those of before where the form does not say all.
fn equipment(draft: &PlanDraft, method: &Method, around: Around<'_>, out: &mut Reading) -> Option<Equipment> {
    let mut wanted: Vec<(&UnitPlan, &ModelSnapshot, u16)> = Vec::new();
    let mut complete = true;
    for plan in &method.units {
        let word = kind_word(plan.unit);
        let typed = draft.units.get(word).cloned().unwrap_or_default();
        let model = pinned_or_listed(around, plan.unit, &typed.model);
        let untouched = typed.model.is_empty() && (typed.count.trim().is_empty() || plan.least == plan.most);
        if untouched {
            if plan.least > 0 {
                complete = false;
                out.gaps.push(Gap::Units(plan.unit));
            }
            continue;
        }
        let count = if typed.count.trim().is_empty() { None } else { count_of(&typed.count, plan) };
        match (model, count) {
            (Some(_), Some(0)) => {}
            (Some(model), Some(count)) => wanted.push((plan, model, count)),
            (None, Some(0)) => {}
            (None, Some(_)) => {
                complete = false;
                out.faults.insert(FieldId::Model(word), Fault::ModelNeeded);
            }
            (_, None) => {
                complete = false;
                out.faults.insert(FieldId::Count(word), Fault::CountOutside { least: plan.least, most: plan.most });
            }
        }
    }
    let before = around.before.and_then(|before| before.equipment.as_ref());
    if !complete || wanted.is_empty() {
        return before.cloned();
    }
    let after = places(before, &wanted, around.slots_ever);
    let changed = before.is_none_or(|before| *before != after);
    push_if_changed(out, changed, Body::Equipment(after.clone()));
    Some(after)
}

/// A pinned model stays pinned at its version while it stays chosen: the catalogue may have moved on.
fn pinned_or_listed<'a>(around: Around<'a>, kind: UnitKind, id: &str) -> Option<&'a ModelSnapshot> {
    let pinned =
        around.before.and_then(|before| before.equipment.as_ref()).map_or(&[][..], |equipment| &equipment.models);
    pinned.iter().chain(around.models).find(|model| model.kind == kind && model.model.to_string() == id)
}

/// Gives every unit a place. Places that are there keep their numbers; a number that was ever given is not given again.
fn places(before: Option<&Equipment>, wanted: &[(&UnitPlan, &ModelSnapshot, u16)], slots_ever: u16) -> Equipment {
    let mut next = slots_ever;
    let mut after = Equipment { models: Vec::new(), slots: Vec::new() };
    for (index, (plan, model, count)) in wanted.iter().enumerate() {
        after.models.push((*model).clone());
        let index = u16::try_from(index).unwrap_or(u16::MAX);
        let kept = before.into_iter().flat_map(|before| {
            before.slots.iter().filter(|slot| {
                before.models.get(usize::from(slot.model)).is_some_and(|old| old.kind == plan.unit)
                    && slot.new == plan.new
            })
        });
        let mut numbers: Vec<u16> = kept.map(|slot| slot.number).take(usize::from(*count)).collect();
        while numbers.len() < usize::from(*count) {
            next += 1;
            numbers.push(next);
        }
        after.slots.extend(numbers.into_iter().map(|number| Slot { number, model: index, new: plan.new }));
    }
    after
}

/// The box of a design figure.
pub fn spec(field: &DesignField) -> FieldSpec {
    FieldSpec::plain(field.unit, Prefix::One, field.sanity.0.0, field.sanity.1.0)
}

/// The words that the number of a design figure stands for, each with what is typed for it; empty where its number is a number.
pub fn choices(field: &DesignField, w: Words) -> Vec<Choice> {
    let Some(known) = domain::design::field(&field.key) else { return Vec::new() };
    let base = i64::from(!known.is_yes_or_no());
    (base..).zip(known.choices).map(|(code, word)| Choice::new(w.number_short(code * MICRO), choice(w, word))).collect()
}

/// A design figure as a person reads it: its word, or the quantity.
pub fn figure_shown(field: &DesignField, micro: i64, w: Words) -> String {
    match domain::design::field(&field.key).and_then(|known| known.choice(micro)) {
        Some(word) => choice(w, word),
        None => quantity(w, Quantity::of(field.unit, micro), Prefix::One),
    }
}

/// What one design figure says: nothing, a value, or a fault.
pub fn figure(field: &DesignField, text: &str, checked: bool, w: Words) -> Result<Option<i64>, Fault> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    let spec = spec(field);
    let parsed = parse_reading(text, &spec, NumberLocale::from_decimal(w.decimal.sign()));
    let (least, most) = bounds::possible_in(&spec);
    let outside = match parsed.quality {
        Quality::Invalid { .. } if parsed.has(Note::Impossible) => return Err(Fault::Impossible { least, most }),
        Quality::Ok => false,
        Quality::OutsideSanity => true,
        Quality::Ambiguous { candidates } => return Err(Fault::Ambiguous(candidates)),
        Quality::UnitMismatch { suggestion, .. } => return Err(Fault::OtherUnit(suggestion)),
        Quality::Invalid { .. } | Quality::NotTested | Quality::OverRange => return Err(Fault::Unreadable),
    };
    match (parsed.value, parsed.cmp) {
        (None, _) => Err(Fault::Unreadable),
        (Some(_), Cmp::Less | Cmp::Greater) => Err(Fault::NotExact),
        (Some(value), Cmp::Equal) if !(least..=most).contains(&value.micro) => Err(Fault::Impossible { least, most }),
        (Some(_), Cmp::Equal) if outside && !checked => {
            Err(Fault::OutsidePlausible { least: field.sanity.0.0, most: field.sanity.1.0 })
        }
        (Some(value), Cmp::Equal) => Ok(Some(value.micro)),
    }
}

fn design(
    draft: &PlanDraft,
    (method, units): (&Method, Option<&Equipment>),
    around: Around<'_>,
    w: Words,
    out: &mut Reading,
) -> Figures {
    let before: &[(String, i64)] = around.before.map_or(&[], |before| &before.design);
    let mut values: Figures = Vec::new();
    for field in &method.design {
        let text = draft.design.get(&field.key).map_or("", String::as_str);
        // What stands in the job file was looked at when it was written; nobody attests it anew by opening the form.
        let stands =
            figure(field, text, true, w).is_ok_and(|read| read.is_some() && read == value_of(before, &field.key));
        match figure(field, text, stands || draft.design_checked.contains(&field.key), w) {
            Ok(Some(micro)) => values.push((field.key.clone(), micro)),
            Ok(None) => {}
            Err(fault) => {
                out.faults.insert(FieldId::Design(field.key.clone()), fault);
            }
        }
    }
    // The design sheet keeps figures that no method asks for.
    values.extend(before.iter().filter(|(key, _)| method.design.iter().all(|field| field.key != *key)).cloned());
    values.sort();
    let following = around.rules.map(|rules| Following { equipment: units, rules, asked: &method.design });
    let all = following.map_or_else(|| values.clone(), |following| following.completed(&values));
    let has = |figures: &Figures, key: &str| figures.iter().any(|(own, _)| own == key);
    let open = |field: &&DesignField| {
        !Following::is_answered(&all, &field.key) && !out.faults.contains_key(&FieldId::Design(field.key.clone()))
    };
    let missing = method.design.iter().filter(open).count();
    if missing > 0 {
        out.gaps.push(Gap::Design(missing));
    }
    out.follows = all.iter().filter(|(key, _)| !has(&values, key)).cloned().collect();
    push_if_changed(out, before != all, Body::DesignInputs(DesignInputs { values: all.clone() }));
    all
}

fn consent(draft: &PlanDraft, around: Around<'_>, out: &mut Reading) {
    let needed = around.method.is_some_and(|(method, _)| method.steps.iter().any(|step| step.needs_consent));
    let Some(state) = consent_of_word(&draft.consent) else {
        if needed {
            out.gaps.push(Gap::Consent);
        }
        return;
    };
    let reference = draft.consent_reference.trim().to_owned();
    if let Err(fault) = bounds::short(&reference, bounds::NAME_CHARS_MAX) {
        out.faults.insert(FieldId::ConsentReference, Fault::Text(fault));
        return;
    }
    if state == ConsentState::Granted && reference.is_empty() {
        out.faults.insert(FieldId::ConsentReference, Fault::Needed);
        return;
    }
    if needed && matches!(state, ConsentState::Waiting | ConsentState::Refused) {
        out.gaps.push(Gap::Consent);
    }
    let consent = Consent { state, reference };
    let changed = around.before.and_then(|before| before.consent.as_ref()) != Some(&consent);
    push_if_changed(out, changed, Body::Consent(consent));
}

fn crew(draft: &PlanDraft, around: Around<'_>, out: &mut Reading) {
    let before: &[Assigned] = around.before.map_or(&[], |before| &before.crew);
    let mut crew: Vec<Assigned> = draft
        .crew
        .iter()
        .filter_map(|(person, role)| {
            let candidate = around.people.iter().find(|candidate| candidate.person.to_string() == *person);
            let kept = before.iter().find(|assigned| assigned.person.to_string() == *person);
            match (candidate, kept) {
                // Tickets are written as they stand now: that is what assignment vouches for.
                (Some(candidate), _) => {
                    Some(Assigned { person: candidate.person, role: *role, tickets: candidate.tickets.clone() })
                }
                // Somebody who has left the firm stays on the job until the lead takes them off.
                (None, Some(kept)) => Some(Assigned { role: *role, ..kept.clone() }),
                (None, None) => None,
            }
        })
        .collect();
    crew.sort_by_key(|assigned| (assigned.role, assigned.person));
    if !has_technician(&crew) {
        out.gaps.push(Gap::Crew);
    }
    let roles = |crew: &[Assigned]| -> BTreeMap<PersonId, _> { crew.iter().map(|a| (a.person, a.role)).collect() };
    // A ticket that was renewed alone does not write a new crew; choosing a crew does.
    let changed = roles(before) != roles(&crew);
    push_if_changed(out, changed, Body::Assignment(Assignment { crew }));
}

fn schedule(draft: &PlanDraft, around: Around<'_>, out: &mut Reading) {
    let (day, start) = (draft.day.trim(), draft.start.trim());
    if day.is_empty() {
        if !start.is_empty() {
            out.faults.insert(FieldId::Start, Fault::HourWithoutDay);
        }
        out.gaps.push(Gap::Day);
        return;
    }
    if let Err(fault) = bounds::day(day, around.today) {
        out.faults.insert(FieldId::Day, Fault::Text(fault));
        return;
    }
    let Some(start) = hour(start) else {
        out.faults.insert(FieldId::Start, Fault::NotAnHour);
        return;
    };
    let schedule = Schedule { day: day.to_owned(), start };
    let changed = around.before.and_then(|before| before.schedule.as_ref()) != Some(&schedule);
    push_if_changed(out, changed, Body::Schedule(schedule));
}

/// Reads `8:30`, `08:30`, `8.30` or `8` as `HH:MM`; empty stays empty.
pub fn hour(text: &str) -> Option<String> {
    if text.is_empty() {
        return Some(String::new());
    }
    let (hours, minutes) = text.split_once([':', '.']).unwrap_or((text, "00"));
    let all_digits = |part: &str| !part.is_empty() && part.len() <= 2 && part.bytes().all(|b| b.is_ascii_digit());
    if !all_digits(hours) || !all_digits(minutes) || minutes.len() != 2 {
        return None;
    }
    let (hours, minutes): (u8, u8) = (hours.parse().ok()?, minutes.parse().ok()?);
    (hours < 24 && minutes < 60).then(|| format!("{hours:02}:{minutes:02}"))
}

/// A computed comparison of the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveCheck {
    /// What it is about, in the language of the screen.
    pub label: String,
    /// The computation; absent while an input is missing.
    pub check: Option<Box<Check>>,
    /// The input that is missing.
    pub missing: Option<String>,
    /// It only gives the limit of a reading: its verdict comes with the reading.
    pub limit_only: bool,
}

/// Everything that can be computed from a plan before anybody is on site.
pub fn live_checks(method: &Method, reference: &MethodRef, bodies: &[Body], w: Words) -> Vec<LiveCheck> {
    let job = JobId::of(uuid_v7(0, &[0; 10]));
    let file = file_of(method, reference, bodies, job);
    let view = job_view(job, &file, Some(method), w.lang.code());
    let mut seen: Vec<String> = Vec::new();
    let mut out = Vec::new();
    for step in &view.steps {
        if seen.contains(&step.id) {
            continue;
        }
        seen.push(step.id.clone());
        for card in &step.requirements {
            let Some(call) = call_of(&card.need) else { continue };
            if !is_of_design(call) {
                continue;
            }
            let (check, missing, limit_only) = match &card.need {
                Requirement::Check(_) => {
                    let missing = match &card.answer {
                        Answer::NotDetermined { why: OpenWhy::InputMissing(key), .. } => Some(key.clone()),
                        _ => None,
                    };
                    (card.check.clone(), missing, false)
                }
                _ => match &card.limit {
                    LimitInfo::Known { source: LimitSource::Check(check), .. } => (Some(check.clone()), None, true),
                    LimitInfo::InputMissing { key } => (None, Some(key.clone()), true),
                    LimitInfo::None | LimitInfo::Known { .. } | LimitInfo::NoMakerFigure { .. } => (None, None, true),
                },
            };
            if check.is_some() || missing.is_some() {
                out.push(LiveCheck { label: card.label.clone(), check, missing, limit_only });
            }
        }
    }
    out
}

fn call_of(need: &Requirement) -> Option<&CheckCall> {
    match need {
        Requirement::Check(need) => Some(&need.call),
        Requirement::Reading(need) => match &need.limit {
            Some(LimitRule::Check(call)) => Some(call),
            Some(LimitRule::Constant(_) | LimitRule::Model(_) | LimitRule::Design(_)) | None => None,
        },
        Requirement::Photo(_)
        | Requirement::Serial(_)
        | Requirement::Confirmation(_)
        | Requirement::Choice(_)
        | Requirement::Wait(_)
        | Requirement::Countersign(_)
        | Requirement::Signature(_)
        | Requirement::Words(_) => None,
    }
}

/// Nothing that is measured on site goes into it.
fn is_of_design(call: &CheckCall) -> bool {
    !call.inputs.iter().any(|input| input.from.starts_with("reading"))
}

/// A job file that says what the plan says; it never leaves this function's caller.
pub(super) fn file_of(method: &Method, reference: &MethodRef, bodies: &[Body], job: JobId) -> JobFile {
    let opening = Body::JobPlanned(JobPlanned {
        purpose: method.purpose,
        site: SiteId::of(job.uuid()),
        method: reference.clone(),
        rule_set: RULE_SET.into(),
    });
    let rest = bodies.iter().filter(|body| !matches!(body, Body::JobPlanned(_))).cloned();
    JobFile::imagined(job, core::iter::once(opening).chain(rest))
}

/// What a job says of itself already, as bodies: the ground on which changed sections are computed.
pub fn bodies_of(view: &JobView) -> Vec<Body> {
    let mut bodies = Vec::new();
    bodies.extend(view.equipment.clone().map(Body::Equipment));
    bodies.push(Body::DesignInputs(DesignInputs { values: view.design.clone() }));
    bodies.extend(view.consent.clone().map(Body::Consent));
    bodies
}
