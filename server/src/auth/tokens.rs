//! Access tokens: signed, short-lived, never stored by anybody.

use std::sync::Arc;

use domain::ids::{DeviceId, FirmId, PersonId};
use domain::people::Role;
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation};
use serde::{Deserialize, Serialize};

use super::Caller;
use crate::clock::SECOND_US;
use crate::error::ApiError;

/// How long an access token is good.
pub const ACCESS_S: i64 = 10 * 60;
/// Servers' clocks may differ by so much. A client's clock plays no part.
const LEEWAY_S: i64 = 60;

#[derive(Serialize, Deserialize)]
struct Claims {
    sub: PersonId,
    firm: FirmId,
    device: DeviceId,
    roles: Vec<Role>,
    iat: i64,
    exp: i64,
}

/// Signs and reads.
#[derive(Clone)]
pub struct Tokens {
    keys: Arc<(EncodingKey, DecodingKey)>,
}

impl Tokens {
    /// With the secret of the settings.
    pub fn new(secret: &[u8]) -> Self {
        Self { keys: Arc::new((EncodingKey::from_secret(secret), DecodingKey::from_secret(secret))) }
    }

    /// An access token for this caller.
    ///
    /// # Errors
    /// The signature cannot be made.
    pub fn sign(&self, caller: &Caller, now_us: i64) -> Result<String, ApiError> {
        let iat = now_us / SECOND_US;
        let claims = Claims {
            sub: caller.person,
            firm: caller.firm,
            device: caller.device,
            roles: caller.roles.clone(),
            iat,
            exp: iat + ACCESS_S,
        };
        jsonwebtoken::encode(&Header::new(Algorithm::HS256), &claims, &self.keys.0).map_err(ApiError::internal)
    }

    /// The caller that a token proves.
    ///
    /// # Errors
    /// [`ApiError::TokenExpired`] and [`ApiError::TokenInvalid`].
    pub fn read(&self, token: &str, now_us: i64) -> Result<Caller, ApiError> {
        let mut validation = Validation::new(Algorithm::HS256);
        // The library would read the machine's clock; ours comes in as an argument.
        validation.validate_exp = false;
        let claims = jsonwebtoken::decode::<Claims>(token, &self.keys.1, &validation)
            .map_err(|_| ApiError::TokenInvalid)?
            .claims;
        let now_s = now_us / SECOND_US;
        // Signed with our own secret or not: no number in it makes a sum run over.
        if claims.exp.saturating_add(LEEWAY_S) <= now_s {
            return Err(ApiError::TokenExpired);
        }
        if claims.iat.saturating_sub(LEEWAY_S) > now_s {
            return Err(ApiError::TokenInvalid);
        }
        let mut roles = claims.roles;
        roles.sort_unstable();
        Ok(Caller { person: claims.sub, firm: claims.firm, device: claims.device, roles })
    }

    /// A secret that only this server can compute from another one.
    pub(super) fn derive(&self, secret: &str, number: i32) -> Result<String, ApiError> {
        let message = format!("witnessmark refresh successor\n{number}\n{secret}");
        jsonwebtoken::crypto::sign(message.as_bytes(), &self.keys.0, Algorithm::HS256).map_err(ApiError::internal)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;
    use uuid::Uuid;

    const NOW: i64 = 1_800_000_000 * SECOND_US;

    fn caller() -> Caller {
        let id = Uuid::from_u128;
        Caller {
            person: PersonId::of(id(1)),
            firm: FirmId::of(id(2)),
            device: DeviceId::of(id(3)),
            roles: vec![Role::Owner, Role::Lead],
        }
    }

    #[test]
    fn good_for_ten_minutes_and_the_leeway() {
        let tokens = Tokens::new(&[7; 32]);
        let token = tokens.sign(&caller(), NOW).unwrap();
        let after = |seconds: i64| tokens.read(&token, NOW + seconds * SECOND_US);
        assert_eq!(after(0).unwrap(), caller());
        assert_eq!(after(ACCESS_S + LEEWAY_S - 1).unwrap(), caller());
        assert!(matches!(after(ACCESS_S + LEEWAY_S), Err(ApiError::TokenExpired)));
        assert!(after(-LEEWAY_S).is_ok());
        assert!(matches!(after(-LEEWAY_S - 1), Err(ApiError::TokenInvalid)));
    }

    #[test]
    fn foreign_and_unsigned_tokens_are_refused() {
        let tokens = Tokens::new(&[7; 32]);
        let foreign = Tokens::new(&[8; 32]).sign(&caller(), NOW).unwrap();
        let ours = tokens.sign(&caller(), NOW).unwrap();
        let payload = ours.split('.').nth(1).unwrap();
        // {"alg":"none","typ":"JWT"}
        let unsigned = format!("eyJhbGciOiJub25lIiwidHlwIjoiSldUIn0.{payload}.");
        for token in [foreign.as_str(), unsigned.as_str(), "", "a.b.c"] {
            assert!(matches!(tokens.read(token, NOW), Err(ApiError::TokenInvalid)), "{token}");
        }
    }

    #[test]
    fn successors_differ_and_repeat() {
        let tokens = Tokens::new(&[7; 32]);
        assert_eq!(tokens.derive("a", 0).unwrap(), tokens.derive("a", 0).unwrap());
        assert_ne!(tokens.derive("a", 0).unwrap(), tokens.derive("a", 1).unwrap());
        assert_ne!(tokens.derive("a", 0).unwrap(), tokens.derive("b", 0).unwrap());
        assert_eq!(tokens.derive("a", 0).unwrap().len(), 43);
    }
}
