//! The only way to the database: a transaction that is bound to one firm.
//!
//! Start with [`Db::begin_for`]. Row-level security shows and takes rows of that firm only, whatever a query says.
//! Queries stand in files named `queries.rs`, demand a [`FirmTx`], and nobody else holds the pool. The named doors
//! (`begin_for_sign_in`, `begin_for_link`…) are for the moments when the firm is not known yet.
//!
//! **Never enters:** what a row means. That is its feature's business, except people, which several features show.

pub mod news;
pub mod person;
mod queries;
pub mod setup;

use std::ops::{Deref, DerefMut};

use domain::ids::FirmId;
use domain::people::Role;
use sqlx::postgres::{PgConnectOptions, PgListener, PgPoolOptions};
use sqlx::{PgConnection, PgPool, Postgres, Transaction};
use uuid::Uuid;

use crate::auth::Caller;
use crate::error::ApiError;

/// Connections of one server process.
const CONNECTIONS_MAX: u32 = 20;
/// How long a request waits for a connection before it is told to come again.
const ACQUIRE_TIMEOUT: std::time::Duration = std::time::Duration::from_secs(10);

/// The database, as the role without privileges.
#[derive(Clone)]
pub struct Db {
    pool: PgPool,
}

/// A transaction that sees one firm. Dropped without [`FirmTx::commit`] it leaves no trace.
pub struct FirmTx {
    tx: Transaction<'static, Postgres>,
    firm: FirmId,
}

impl FirmTx {
    /// Whose rows it sees.
    pub const fn firm(&self) -> FirmId {
        self.firm
    }

    /// Makes it so.
    ///
    /// # Errors
    /// The database did not take it.
    pub async fn commit(self) -> Result<(), ApiError> {
        self.tx.commit().await.map_err(ApiError::from)
    }
}

impl Deref for FirmTx {
    type Target = PgConnection;
    fn deref(&self) -> &PgConnection {
        &self.tx
    }
}

impl DerefMut for FirmTx {
    fn deref_mut(&mut self) -> &mut PgConnection {
        &mut self.tx
    }
}

/// How the caller's enrolment and person stand at this moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// As usual.
    Good,
    /// The device was revoked: what it delivers is held for somebody to look at.
    DeviceRevoked,
    /// The person no longer works here: the same.
    PersonInactive,
}

impl Db {
    /// Connects. Checks nothing: see [`setup`].
    ///
    /// # Errors
    /// The address is wrong or nobody answers there.
    pub async fn connect(url: &str) -> Result<Self, sqlx::Error> {
        let options: PgConnectOptions = url.parse()?;
        let pool = PgPoolOptions::new()
            .max_connections(CONNECTIONS_MAX)
            .acquire_timeout(ACQUIRE_TIMEOUT)
            .connect_with(options.application_name("witnessmark"))
            .await?;
        Ok(Self { pool })
    }

    /// A transaction for the caller, after a look at whether their person and device are still in order and their
    /// roles still those of the token. So behind this line `caller.roles` is the truth.
    ///
    /// # Errors
    /// [`ApiError::DeviceRevoked`], [`ApiError::PersonInactive`], [`ApiError::TokenExpired`] when the roles changed.
    pub async fn begin_for(&self, caller: &Caller) -> Result<FirmTx, ApiError> {
        let (tx, standing) = self.begin_for_delivery(caller).await?;
        match standing {
            Standing::Good => Ok(tx),
            Standing::DeviceRevoked => Err(ApiError::DeviceRevoked),
            Standing::PersonInactive => Err(ApiError::PersonInactive),
        }
    }

    /// The same for push: work that was done before somebody was shut out must not be lost, so their last token still
    /// delivers, and the [`Standing`] says that everything of it is to be held.
    ///
    /// # Errors
    /// [`ApiError::TokenInvalid`] if there is no such person or device; [`ApiError::TokenExpired`] as above.
    pub async fn begin_for_delivery(&self, caller: &Caller) -> Result<(FirmTx, Standing), ApiError> {
        let mut tx = self.begin_for_firm(caller.firm).await?;
        let row = queries::standing(&mut tx, caller.person, caller.device).await?.ok_or(ApiError::TokenInvalid)?;
        let standing = match (row.active, row.revoked_us) {
            (false, _) => Standing::PersonInactive,
            (true, Some(_)) => Standing::DeviceRevoked,
            (true, None) => Standing::Good,
        };
        let mut roles: Vec<Role> = person::roles_of(&row.roles)?;
        roles.sort_unstable();
        if standing == Standing::Good && roles != caller.roles {
            return Err(ApiError::TokenExpired);
        }
        Ok((tx, standing))
    }

    /// Notifications of the database on a channel: nothing but what we write into them.
    ///
    /// # Errors
    /// The database does not answer.
    pub async fn listen(&self, channel: &str) -> Result<PgListener, sqlx::Error> {
        let mut listener = PgListener::connect_with(&self.pool).await?;
        listener.listen(channel).await?;
        Ok(listener)
    }

    /// For background work, the demo and the start: a firm's transaction without a person behind it.
    ///
    /// # Errors
    /// The database does not answer.
    pub async fn begin_for_firm(&self, firm: FirmId) -> Result<FirmTx, ApiError> {
        let mut tx = self.pool.begin().await?;
        queries::set_firm(&mut tx, firm).await?;
        Ok(FirmTx { tx, firm })
    }

    /// For a sign-in: the firm of the person with this e-mail address (in lower case).
    ///
    /// # Errors
    /// The database does not answer.
    pub async fn begin_for_sign_in(&self, email: &str) -> Result<Option<FirmTx>, ApiError> {
        let mut tx = self.pool.begin().await?;
        let firm = queries::firm_of_email(&mut tx, email).await?;
        Self::bind(tx, firm).await
    }

    /// For a refresh: the firm of the token with this hash.
    ///
    /// # Errors
    /// The database does not answer.
    pub async fn begin_for_refresh_token(&self, hash: &[u8; 32]) -> Result<Option<FirmTx>, ApiError> {
        let mut tx = self.pool.begin().await?;
        let firm = queries::firm_of_refresh_token(&mut tx, hash).await?;
        Self::bind(tx, firm).await
    }

    /// For a one-time link: the firm of the link with this hash.
    ///
    /// # Errors
    /// The database does not answer.
    pub async fn begin_for_link(&self, hash: &[u8; 32]) -> Result<Option<FirmTx>, ApiError> {
        let mut tx = self.pool.begin().await?;
        let firm = queries::firm_of_link(&mut tx, hash).await?;
        Self::bind(tx, firm).await
    }

    /// For the tables that belong to no firm (methods, epoch): no firm's row is seen.
    ///
    /// # Errors
    /// The database does not answer.
    pub async fn begin_without_firm(&self) -> Result<Transaction<'static, Postgres>, ApiError> {
        self.pool.begin().await.map_err(ApiError::from)
    }

    /// Has any owner of any firm a password?
    ///
    /// # Errors
    /// The database does not answer.
    pub async fn owner_exists(&self) -> Result<bool, ApiError> {
        let mut tx = self.pool.begin().await?;
        Ok(queries::owner_exists(&mut tx).await?)
    }

    /// A firm that waits for its first owner.
    ///
    /// # Errors
    /// The database does not answer.
    pub async fn firm_without_people(&self) -> Result<Option<FirmId>, ApiError> {
        let mut tx = self.pool.begin().await?;
        Ok(queries::firm_without_people(&mut tx).await?.map(FirmId::of))
    }

    /// All firms, for background work that goes one by one.
    ///
    /// # Errors
    /// The database does not answer.
    pub async fn firm_ids(&self) -> Result<Vec<FirmId>, ApiError> {
        let mut tx = self.pool.begin().await?;
        Ok(queries::firm_ids(&mut tx).await?.into_iter().map(FirmId::of).collect())
    }

    /// Which server life this is. Read each time: a restore happens under a running server.
    ///
    /// # Errors
    /// The database does not answer.
    pub async fn epoch(&self) -> Result<[u8; 16], ApiError> {
        let mut tx = self.pool.begin().await?;
        let bytes = queries::epoch(&mut tx).await?;
        tx.commit().await?;
        bytes.try_into().map_err(|_| ApiError::internal(anyhow::anyhow!("server_epoch does not have 16 bytes")))
    }

    /// Waits until nobody holds a connection.
    pub async fn close(&self) {
        self.pool.close().await;
    }

    async fn bind(mut tx: Transaction<'static, Postgres>, firm: Option<Uuid>) -> Result<Option<FirmTx>, ApiError> {
        let Some(firm) = firm.map(FirmId::of) else { return Ok(None) };
        queries::set_firm(&mut tx, firm).await?;
        Ok(Some(FirmTx { tx, firm }))
    }
}
