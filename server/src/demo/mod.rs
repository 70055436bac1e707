//! A firm to try things with: obviously invented, with fixed ids so that jobs, tests and documents can name its people.
//!
//! Seeded into an empty database when `DEMO=1`. Start with [`seed`]. **Never enters:** anything that only the demo can
//! do: all of it goes through the same functions as a real firm's data.

mod catalogue;
pub mod ids;
mod jobs;
mod queries;

use domain::ids::PersonId;
use domain::job_file::body::Ticket;
use domain::people::{Action, Ownership, Permit, Role, may};

use crate::db::FirmTx;
use crate::db::person::{NewPerson, TicketJson, insert_person, load_people, set_pin};
use crate::error::ApiError;
use crate::firms;
use crate::state::AppState;

/// The password of everybody at the demo firm; printed at the start.
pub const PASSWORD: &str = "lantern under the bridge";
/// The PIN of everybody at the demo firm.
pub const PIN: &str = "4417";
/// The demo firm's name.
const FIRM_NAME: &str = "Larkfield Home Batteries (demo)";

/// What is printed at the start.
#[derive(Debug)]
pub struct SignIns {
    /// [`PASSWORD`].
    pub password: &'static str,
    /// [`PIN`].
    pub pin: &'static str,
    /// E-mail address and what the person is.
    pub people: Vec<(String, String)>,
}

struct DemoPerson {
    id: PersonId,
    email: &'static str,
    name: &'static str,
    roles: &'static [Role],
    language: &'static str,
    /// Kind, and in how many days it runs out, counted from the day of seeding; `None`: it does not.
    tickets: &'static [(&'static str, Option<i32>)],
}

const PEOPLE: &[DemoPerson] = &[
    DemoPerson {
        id: ids::MARLOW,
        email: "marlow@larkfield.example",
        name: "Ida Marlow",
        roles: &[Role::Owner, Role::Lead],
        language: "en",
        tickets: &[("electrician", None), ("working-at-height", Some(490))],
    },
    DemoPerson {
        id: ids::QUILL,
        email: "quill@larkfield.example",
        name: "Tobias Quill",
        roles: &[Role::Lead],
        language: "de",
        tickets: &[("electrician", None), ("battery-systems", Some(310))],
    },
    DemoPerson {
        id: ids::ASHDOWN,
        email: "ashdown@larkfield.example",
        name: "Wren Ashdown",
        roles: &[Role::Technician],
        language: "en",
        tickets: &[("electrician", None), ("battery-systems", Some(190))],
    },
    DemoPerson {
        id: ids::SOLANO,
        email: "solano@larkfield.example",
        name: "Mateo Solano",
        roles: &[Role::Technician],
        language: "es",
        tickets: &[("battery-systems", Some(-300))],
    },
    DemoPerson {
        id: ids::PENDLE,
        email: "pendle@larkfield.example",
        name: "Greta Pendle",
        roles: &[Role::Office],
        language: "en",
        tickets: &[],
    },
];

/// Makes the demo firm with its people and catalogue, and whatever else is to be seen in it.
///
/// # Errors
/// The database.
pub async fn seed(state: &AppState) -> anyhow::Result<()> {
    let mut tx = state.db.begin_for_firm(ids::FIRM).await?;
    firms::open_firm(&mut tx, &state.clock, FIRM_NAME).await?;
    seed_people_and_catalogue(&mut tx, state).await?;
    tx.commit().await?;
    if state.config.demo_jobs {
        jobs::seed(state).await?;
    }
    Ok(())
}

/// People with one password, instruments (one out of calibration) and models of two invented makers.
///
/// # Errors
/// The database.
pub async fn seed_people_and_catalogue(tx: &mut FirmTx, state: &AppState) -> Result<(), ApiError> {
    let now = state.clock.now_us();
    let hash = state.passwords.hash(PASSWORD).await?;
    let pin_hash = state.passwords.hash_any(PIN).await?;
    for person in PEOPLE {
        let tickets = tickets_of(person.id, now)?.into_iter();
        let new = NewPerson {
            id: person.id,
            email: person.email.to_owned(),
            display_name: person.name.to_owned(),
            roles: person.roles.to_vec(),
            language: person.language.to_owned(),
            tickets: tickets.map(|Ticket { kind, expires }| TicketJson { kind, expires }).collect(),
            password_hash: Some(hash.clone()),
            created_us: now,
        };
        insert_person(tx, &new).await?;
        set_pin(tx, &state.clock, person.id, PIN, &pin_hash).await?;
    }
    catalogue::seed(tx, now).await
}

/// The demo's people, if the demo firm is here.
///
/// # Errors
/// The database.
pub async fn sign_ins(state: &AppState) -> Result<Option<SignIns>, ApiError> {
    let mut tx = state.db.begin_for_firm(ids::FIRM).await?;
    let people = load_people(&mut tx).await?;
    let lines: Vec<(String, String)> = PEOPLE
        .iter()
        .filter(|demo| people.iter().any(|person| person.id == demo.id && person.active))
        .map(|demo| {
            let roles: Vec<&str> = demo.roles.iter().map(|role| role.word()).collect();
            (demo.email.to_owned(), format!("{}, {}", demo.name, roles.join(" and ")))
        })
        .collect();
    Ok((!lines.is_empty()).then_some(SignIns { password: PASSWORD, pin: PIN, people: lines }))
}

/// A person's tickets as of this moment.
fn tickets_of(person: PersonId, now_us: i64) -> Result<Vec<Ticket>, ApiError> {
    let tickets = PEOPLE.iter().filter(|demo| demo.id == person).flat_map(|demo| demo.tickets);
    let ticket = |(kind, in_days): &(&str, Option<i32>)| {
        let expires = in_days.map_or(Ok(String::new()), |days| day_after(now_us, days))?;
        Ok(Ticket { kind: (*kind).to_owned(), expires })
    };
    tickets.map(ticket).collect()
}

/// `YYYY-MM-DD`, so many days after the day of this moment (in UTC).
fn day_after(now_us: i64, days: i32) -> Result<String, ApiError> {
    let now = jiff::Timestamp::from_microsecond(now_us).map_err(ApiError::internal)?;
    let today = now.to_zoned(jiff::tz::TimeZone::UTC).date();
    let day = today.checked_add(jiff::Span::new().days(days)).map_err(ApiError::internal)?;
    Ok(day.to_string())
}

/// What an owner could do by hand.
fn permit_of_owner(action: Action) -> Result<Permit, ApiError> {
    may(&[Role::Owner], action, Ownership::Firm).ok_or(ApiError::NotPermitted)
}
