//! The refresh token: opaque, in a cookie that no script can read, a new one at each use.
//!
//! A stolen cookie would be good for months, so a token that is used twice is suspicious. But two tabs may refresh at
//! once, and an answer may be lost on the way. So a used token is taken again as long as its successor was never used:
//!
//! - within [`SAME_ANSWER_US`] it is the same repeat and gets the *same* successor, which the server computes anew from
//!   the presented token (it keeps only hashes). Any number of tabs end up with one cookie.
//! - later it is a retry after a lost answer. It gets another successor, and the unused one is dead. If somebody still
//!   comes with that one, two parties held the old token, and the family ends.
//! - once the successor was used, the old token is a replay, and the family ends.

use axum::http::{HeaderMap, HeaderValue, header};
use domain::ids::{DeviceId, PersonId};

use super::tokens::Tokens;
use super::{new_secret, queries, secret_hash};
use crate::clock::{Clock, DAY_US, SECOND_US};
use crate::db::FirmTx;
use crate::error::ApiError;

/// Name of the cookie. The prefix makes the browser insist on Secure, Path=/ and no Domain.
pub const COOKIE: &str = "__Host-witnessmark";
/// A session that nobody used for so long ends. Longer than any honest time without a network.
pub const IDLE_US: i64 = 90 * DAY_US;
/// Repeats within this time are one request.
pub const SAME_ANSWER_US: i64 = 60 * SECOND_US;
/// How long rows stay after their end, so that a late replay is still recognised as one.
const KEEP_US: i64 = 30 * DAY_US;

/// What became of a presented token.
pub enum Rotation {
    /// The next token, and whose it is.
    Next {
        /// Goes into the cookie.
        secret: String,
        /// Whose.
        person: PersonId,
        /// On which enrolment.
        device: DeviceId,
    },
    /// Unknown, ran out, or ended before.
    Ended,
    /// A replay; the family is ended now. The transaction must be committed all the same.
    Replayed,
}

/// Begins a family: a sign-in. Gives the secret for the cookie.
///
/// # Errors
/// The database.
pub async fn begin(tx: &mut FirmTx, clock: &Clock, person: PersonId, device: DeviceId) -> Result<String, ApiError> {
    let secret = new_secret();
    let now = clock.now_us();
    let row = queries::NewToken {
        id: clock.new_id(),
        family: clock.new_id(),
        hash: secret_hash(&secret),
        person: person.uuid(),
        device: device.uuid(),
        created_us: now,
        expires_us: now + IDLE_US,
    };
    queries::insert_token(tx, &row).await?;
    Ok(secret)
}

/// Takes a presented token and makes the next one. See the module's page for the rules.
///
/// # Errors
/// The database.
pub async fn rotate(tx: &mut FirmTx, clock: &Clock, tokens: &Tokens, presented: &str) -> Result<Rotation, ApiError> {
    let now = clock.now_us();
    let Some(row) = queries::lock_token_by_hash(tx, &secret_hash(presented)).await? else {
        return Ok(Rotation::Ended);
    };
    if row.revoked_us.is_some() || row.expires_us <= now {
        return Ok(Rotation::Ended);
    }
    if row.superseded_us.is_some() {
        queries::end_family(tx, row.family, now).await?;
        return Ok(Rotation::Replayed);
    }
    if let Some(used_us) = row.used_us {
        // The successor's row goes with time; then nobody can tell what this repeat is.
        let Some(successor) = row.successor else { return Ok(Rotation::Ended) };
        let Some(successor) = queries::lock_token(tx, successor).await? else { return Ok(Rotation::Ended) };
        if successor.used_us.is_some() {
            queries::end_family(tx, row.family, now).await?;
            return Ok(Rotation::Replayed);
        }
        if now - used_us <= SAME_ANSWER_US {
            let secret = tokens.derive(presented, row.successors - 1)?;
            // Differs only if the server's secret was changed in between: then it is treated like a late repeat.
            if secret_hash(&secret)[..] == successor.hash[..] {
                return Ok(next(secret, &row));
            }
        }
        queries::supersede(tx, successor.id, now).await?;
    }
    let secret = tokens.derive(presented, row.successors)?;
    let successor = queries::NewToken {
        id: clock.new_id(),
        family: row.family,
        hash: secret_hash(&secret),
        person: row.person_id,
        device: row.device_id,
        created_us: now,
        expires_us: now + IDLE_US,
    };
    queries::insert_token(tx, &successor).await?;
    queries::mark_used(tx, row.id, successor.id, now).await?;
    Ok(next(secret, &row))
}

fn next(secret: String, row: &queries::TokenRow) -> Rotation {
    Rotation::Next { secret, person: PersonId::of(row.person_id), device: DeviceId::of(row.device_id) }
}

/// Ends the family that a token belongs to: a sign-out.
///
/// # Errors
/// The database.
pub async fn end(tx: &mut FirmTx, clock: &Clock, presented: &str) -> Result<(), ApiError> {
    if let Some(row) = queries::lock_token_by_hash(tx, &secret_hash(presented)).await? {
        queries::end_family(tx, row.family, clock.now_us()).await?;
    }
    Ok(())
}

/// Ends every session of a person.
///
/// # Errors
/// The database.
pub async fn end_all_of_person(tx: &mut FirmTx, person: PersonId, now_us: i64) -> Result<(), ApiError> {
    Ok(queries::end_all_of_person(tx, person.uuid(), now_us).await?)
}

/// Ends every session on a device.
///
/// # Errors
/// The database.
pub async fn end_all_on_device(tx: &mut FirmTx, device: DeviceId, now_us: i64) -> Result<(), ApiError> {
    Ok(queries::end_all_on_device(tx, device.uuid(), now_us).await?)
}

/// Removes what ran out long ago. Gives how many rows.
///
/// # Errors
/// The database.
pub async fn forget_old(tx: &mut FirmTx, now_us: i64) -> Result<u64, ApiError> {
    Ok(queries::forget_tokens(tx, now_us - KEEP_US).await?)
}

/// The token in the request's cookies.
pub fn presented(headers: &HeaderMap) -> Option<&str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value: &HeaderValue| value.to_str().ok())
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(name, _)| *name == COOKIE)
        .map(|(_, value)| value)
}

/// `Set-Cookie` with this token.
pub fn cookie(secret: &str) -> HeaderValue {
    let max_age = IDLE_US / SECOND_US;
    HeaderValue::from_str(&format!("{COOKIE}={secret}; Path=/; Secure; HttpOnly; SameSite=Strict; Max-Age={max_age}"))
        .expect("a secret has base64url characters only")
}

/// `Set-Cookie` that removes it.
pub fn no_cookie() -> HeaderValue {
    HeaderValue::from_static("__Host-witnessmark=; Path=/; Secure; HttpOnly; SameSite=Strict; Max-Age=0")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cookie_is_found_among_others() {
        let mut headers = HeaderMap::new();
        assert_eq!(presented(&headers), None);
        headers.append(header::COOKIE, HeaderValue::from_static("a=b; __Host-witnessmark=xyz; c=d"));
        assert_eq!(presented(&headers), Some("xyz"));
    }

    #[test]
    fn both_cookies_have_the_prefix_and_its_conditions() {
        for value in [cookie("abc"), no_cookie()] {
            let text = value.to_str().unwrap_or_default().to_owned();
            assert!(text.starts_with("__Host-witnessmark="), "{text}");
            for part in ["Path=/", "Secure", "HttpOnly", "SameSite=Strict"] {
                assert!(text.split("; ").any(|have| have == part), "{part} missing in {text}");
            }
            assert!(!text.contains("Domain"));
        }
    }
}
