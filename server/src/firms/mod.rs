//! A firm and what must be there with it: its clock, its reference version, the server's own device.
//!
//! A firm begins with a one-time link for its first owner: [`first_owner_link`]. **Never enters:** what people of the
//! firm do; that is a feature.

mod queries;

use domain::ids::{DeviceId, FirmId, PersonId};

use crate::auth::{Caller, new_secret, secret_hash};
use crate::clock::{Clock, DAY_US};
use crate::config::Config;
use crate::db::person::{Person, load_people};
use crate::db::{Db, FirmTx};
use crate::error::ApiError;

/// How long the first owner may wait.
const FIRST_OWNER_US: i64 = 7 * DAY_US;
/// How long an invited person may wait.
const INVITATION_US: i64 = 7 * DAY_US;
/// How long a link for a new password is good.
const RESET_US: i64 = DAY_US;

/// What a one-time link does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// Makes the first owner of a firm and names the firm.
    FirstOwner,
    /// Gives an invited person their password.
    Invitation,
    /// Gives a person a new password.
    Reset,
}

impl Purpose {
    const ALL: [Self; 3] = [Self::FirstOwner, Self::Invitation, Self::Reset];

    const fn word(self) -> &'static str {
        match self {
            Self::FirstOwner => "first_owner",
            Self::Invitation => "invitation",
            Self::Reset => "reset",
        }
    }

    /// Reads the word of a row.
    pub(crate) fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|purpose| purpose.word() == word)
    }

    const fn good_for_us(self) -> i64 {
        match self {
            Self::FirstOwner => FIRST_OWNER_US,
            Self::Invitation => INVITATION_US,
            Self::Reset => RESET_US,
        }
    }
}

/// The firm as others see it.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Firm {
    /// Which.
    pub id: FirmId,
    /// Its name; empty until the first owner gave it one.
    pub name: String,
    /// The owner turned on that owners see when somebody was last here. Off at first; everybody sees whether it is on.
    pub shows_last_seen: bool,
}

/// Makes the rows of a new firm.
///
/// # Errors
/// The database.
pub async fn open_firm(tx: &mut FirmTx, clock: &Clock, name: &str) -> Result<(), ApiError> {
    let now = clock.now_us();
    queries::insert_firm(tx, name, now).await?;
    queries::insert_server_device(tx, clock.new_id(), now).await?;
    Ok(())
}

/// The firm of this transaction.
///
/// # Errors
/// The database.
pub async fn load_firm(tx: &mut FirmTx) -> Result<Firm, ApiError> {
    let row = queries::firm(tx).await?;
    Ok(Firm { id: tx.firm(), name: row.name, shows_last_seen: row.shows_last_seen })
}

/// Everybody of the firm, as far as this caller may see them.
///
/// # Errors
/// The database.
pub async fn visible_people(tx: &mut FirmTx, caller: &Caller) -> Result<Vec<Person>, ApiError> {
    let shows_last_seen = load_firm(tx).await?.shows_last_seen;
    let people = load_people(tx).await?;
    Ok(people.into_iter().map(|person| person.as_seen_by(caller, shows_last_seen)).collect())
}

/// Changes the firm.
///
/// # Errors
/// The database.
pub async fn change_firm(tx: &mut FirmTx, name: &str, shows_last_seen: bool) -> Result<(), ApiError> {
    Ok(queries::update_firm(tx, name, shows_last_seen).await?)
}

/// Keeps everybody else of the firm from changing who owns it until this transaction ends.
///
/// # Errors
/// The database.
pub async fn lock_firm(tx: &mut FirmTx) -> Result<(), ApiError> {
    Ok(queries::lock_firm(tx).await?)
}

/// The server's own device, whose entries are findings.
///
/// # Errors
/// The database.
pub async fn server_device(tx: &mut FirmTx) -> Result<DeviceId, ApiError> {
    Ok(DeviceId::of(queries::server_device(tx).await?))
}

/// Makes a one-time link; earlier ones of the same purpose for the same person end. Gives its address.
///
/// # Errors
/// The database.
pub async fn make_link(
    tx: &mut FirmTx,
    clock: &Clock,
    config: &Config,
    purpose: Purpose,
    person: Option<PersonId>,
) -> Result<String, ApiError> {
    let secret = new_secret();
    let now = clock.now_us();
    let person = person.map(PersonId::uuid);
    queries::end_links(tx, purpose.word(), person, now).await?;
    queries::insert_link(
        tx,
        &queries::NewLink {
            id: clock.new_id(),
            hash: secret_hash(&secret),
            purpose: purpose.word(),
            person,
            created_us: now,
            expires_us: now + purpose.good_for_us(),
        },
    )
    .await?;
    Ok(format!("{}/link/{secret}", config.public_url))
}

/// A link for the first owner of a firm: of one that still waits for its owner, or of a new one. Ends earlier links.
///
/// # Errors
/// The database.
pub async fn first_owner_link(db: &Db, clock: &Clock, config: &Config) -> Result<String, ApiError> {
    let waiting = db.firm_without_people().await?;
    let firm = waiting.unwrap_or_else(|| FirmId::of(clock.new_id()));
    let mut tx = db.begin_for_firm(firm).await?;
    if waiting.is_none() {
        open_firm(&mut tx, clock, "").await?;
    }
    let link = make_link(&mut tx, clock, config, Purpose::FirstOwner, None).await?;
    tx.commit().await?;
    Ok(link)
}
