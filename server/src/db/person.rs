//! People as several features show them: sign-in, the list of people, reference data.

use domain::bounds;
use domain::identification::Date;
use domain::ids::PersonId;
use domain::people::pin::{BEFORE_COUNTS_US, SlipCheck};
use domain::people::{Action, Role, may};
use serde::{Deserialize, Serialize};

use super::{FirmTx, queries};
use crate::auth::Caller;
use crate::clock::{Clock, DAY_US};
use crate::error::{ApiError, OnConstraint as _};
use crate::job_files::cut;

/// A licence or competence.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TicketJson {
    /// What it permits.
    pub kind: String,
    /// Last valid day, `YYYY-MM-DD`; empty when it does not end.
    pub expires: String,
}

/// `Person` of the API.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Person {
    /// Who.
    pub id: PersonId,
    /// As the firm calls them.
    pub display_name: String,
    /// What they are, in the order of [`Role`].
    pub roles: Vec<Role>,
    /// `en`, `de` or `es`.
    pub language: String,
    /// `.` or `,`.
    pub decimal: String,
    /// Still works here.
    pub active: bool,
    /// Their tickets.
    pub tickets: Vec<TicketJson>,
    /// What a phone may know of their PIN; absent while they have none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pin: Option<SlipCheck>,
    /// For themselves and for owners.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub email: Option<String>,
    /// For owners, once the firm shows such things.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_seen_us: Option<i64>,
}

impl Person {
    /// Without what this caller may not see of them.
    #[must_use]
    pub fn as_seen_by(self, caller: &Caller, shows_last_seen: bool) -> Self {
        let details = may(&caller.roles, Action::SeePeopleDetails, caller.ownership_of(self.id)).is_some();
        Self {
            email: self.email.filter(|_| details),
            last_seen_us: self.last_seen_us.filter(|_| details && shows_last_seen),
            ..self
        }
    }
}

impl TryFrom<queries::PersonRow> for Person {
    type Error = ApiError;

    fn try_from(row: queries::PersonRow) -> Result<Self, ApiError> {
        Ok(Self {
            id: PersonId::of(row.id),
            display_name: row.display_name,
            roles: roles_of(&row.roles)?,
            language: row.language,
            decimal: row.decimal_mark,
            active: row.active,
            tickets: serde_json::from_value(row.tickets).map_err(ApiError::internal)?,
            pin: slip_check(row.pin_salt, row.pin_bits),
            email: Some(row.email),
            last_seen_us: row.last_seen_us,
        })
    }
}

fn slip_check(salt: Option<Vec<u8>>, bits: Option<i16>) -> Option<SlipCheck> {
    Some(SlipCheck { salt: salt?.try_into().ok()?, bits: u8::try_from(bits?).ok()? })
}

/// Reads the roles of a row, sorted.
///
/// # Errors
/// A word that the table of roles does not have: the constraint of the column was changed without this code.
pub fn roles_of(words: &[String]) -> Result<Vec<Role>, ApiError> {
    let mut roles = words
        .iter()
        .map(|word| Role::of_word(word).ok_or_else(|| ApiError::internal(anyhow::anyhow!("people.roles holds {word}"))))
        .collect::<Result<Vec<Role>, ApiError>>()?;
    roles.sort_unstable();
    roles.dedup();
    Ok(roles)
}

/// Tickets of one person at most.
const TICKETS_MAX: usize = 50;

/// Somebody who is about to be at the firm.
pub struct NewPerson {
    /// Who.
    pub id: PersonId,
    /// As typed; kept in lower case.
    pub email: String,
    /// As typed.
    pub display_name: String,
    /// At least one.
    pub roles: Vec<Role>,
    /// `en`, `de` or `es`.
    pub language: String,
    /// Licences.
    pub tickets: Vec<TicketJson>,
    /// Absent until they follow their invitation.
    pub password_hash: Option<String>,
    /// Now.
    pub created_us: i64,
}

/// Adds a person.
///
/// # Errors
/// [`ApiError::Conflict`] `email_taken`; [`ApiError::Invalid`] with the field's name.
pub async fn insert_person(tx: &mut FirmTx, person: &NewPerson) -> Result<(), ApiError> {
    let email = person.email.trim().to_lowercase();
    bounds::email(&email).map_err(|_| ApiError::Invalid("email"))?;
    let name = acceptable_name(&person.display_name, "display_name")?;
    let roles = words_of(&person.roles);
    let tickets = acceptable_tickets(&person.tickets, person.created_us)?;
    queries::insert_person(tx, person, &email, &name, &roles, &tickets).await.on_constraint(answer_of)
}

/// What a violated constraint of `people` means.
pub(crate) fn answer_of(constraint: &str) -> Option<ApiError> {
    match constraint {
        "people_email_once" => Some(ApiError::Conflict("email_taken")),
        "people_email_form" => Some(ApiError::Invalid("email")),
        "people_roles_known" => Some(ApiError::Invalid("roles")),
        "people_language_known" => Some(ApiError::Invalid("language")),
        "people_decimal_known" => Some(ApiError::Invalid("decimal")),
        _ => None,
    }
}

/// A name without spaces around it, neither empty nor endless.
///
/// # Errors
/// [`ApiError::Invalid`] with this field.
pub fn acceptable_name(text: &str, field: &'static str) -> Result<String, ApiError> {
    let text = text.trim();
    bounds::name(text).map_err(|_| ApiError::Invalid(field))?;
    Ok(text.to_owned())
}

/// Tickets as the column keeps them.
///
/// # Errors
/// [`ApiError::Invalid`] `tickets`.
pub(crate) fn acceptable_tickets(tickets: &[TicketJson], now_us: i64) -> Result<serde_json::Value, ApiError> {
    let sound = |ticket: &TicketJson| {
        let kind = !ticket.kind.trim().is_empty() && bounds::short(&ticket.kind, bounds::SHORT_CHARS_MAX).is_ok();
        kind && (ticket.expires.is_empty() || is_near_day(&ticket.expires, now_us))
    };
    if tickets.len() > TICKETS_MAX || !tickets.iter().all(sound) {
        return Err(ApiError::Invalid("tickets"));
    }
    serde_json::to_value(tickets).map_err(ApiError::internal)
}

/// `YYYY-MM-DD`, and a day that somebody can mean today.
pub fn is_near_day(text: &str, now_us: i64) -> bool {
    Date::from_unix_days(now_us.div_euclid(DAY_US)).is_ok_and(|today| bounds::day(text, today).is_ok())
}

/// The words of the column.
pub(crate) fn words_of(roles: &[Role]) -> Vec<String> {
    roles.iter().map(|role| role.word().to_owned()).collect()
}

/// Sets a person's PIN and tells every device what it may know of it.
///
/// # Errors
/// The database.
pub async fn set_pin(tx: &mut FirmTx, clock: &Clock, id: PersonId, pin: &str, hash: &str) -> Result<(), ApiError> {
    let check = SlipCheck::of(pin, clock.new_salt());
    queries::set_pin(tx, id, hash, check, clock.now_us() + cut(BEFORE_COUNTS_US)).await?;
    reference_changed(tx).await
}

/// Everybody of the firm, in the order of their names.
///
/// # Errors
/// The database, or an impossible row.
pub async fn load_people(tx: &mut FirmTx) -> Result<Vec<Person>, ApiError> {
    queries::people(tx).await?.into_iter().map(Person::try_from).collect()
}

/// One person of the firm.
///
/// # Errors
/// [`ApiError::NotFound`], the database, or an impossible row.
pub async fn load_person(tx: &mut FirmTx, id: PersonId) -> Result<Person, ApiError> {
    queries::person(tx, id).await?.ok_or(ApiError::NotFound)?.try_into()
}

/// Tells every device of the firm that people, instruments or catalogue changed.
///
/// # Errors
/// The database.
pub async fn reference_changed(tx: &mut FirmTx) -> Result<(), ApiError> {
    Ok(queries::reference_changed(tx).await?)
}

/// The number that [`reference_changed`] counts up.
///
/// # Errors
/// The database.
pub async fn reference_version(tx: &mut FirmTx) -> Result<i64, ApiError> {
    Ok(queries::reference_version(tx).await?)
}
