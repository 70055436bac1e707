//! Passwords: argon2id, off the async threads, a few at a time.

use std::sync::Arc;

use argon2::Argon2;
use argon2::password_hash::rand_core::OsRng;
use argon2::password_hash::{PasswordHash, PasswordHasher, PasswordVerifier, SaltString};
use tokio::sync::Semaphore;

use crate::error::ApiError;

/// Characters of a password at least.
const CHARS_MIN: usize = 10;
/// Bytes of a password at most: hashing must not be a way to keep the server busy.
const BYTES_MAX: usize = 256;
/// Hashes at the same time; each takes 19 MiB for a while.
const AT_ONCE: usize = 4;

/// Hashes and verifies.
#[derive(Clone)]
pub struct Passwords {
    gate: Arc<Semaphore>,
    /// Hash of a password that nobody has: verified in place of a person's who does not exist, so that both take the
    /// same time.
    nobody: Arc<str>,
}

impl Passwords {
    /// Ready to work.
    ///
    /// # Errors
    /// argon2 refuses its own defaults.
    pub fn new() -> Result<Self, ApiError> {
        let nobody = hash_now(&super::new_secret())?;
        Ok(Self { gate: Arc::new(Semaphore::new(AT_ONCE)), nobody: nobody.into() })
    }

    /// The hash of an acceptable password.
    ///
    /// # Errors
    /// [`ApiError::Invalid`] with `password_too_short` or `password_too_long`.
    pub async fn hash(&self, password: &str) -> Result<String, ApiError> {
        if password.chars().count() < CHARS_MIN {
            return Err(ApiError::Invalid("password_too_short"));
        }
        if password.len() > BYTES_MAX {
            return Err(ApiError::Invalid("password_too_long"));
        }
        self.hash_any(password).await
    }

    /// The hash of a secret whose form the caller has looked at.
    ///
    /// # Errors
    /// argon2 refuses.
    pub async fn hash_any(&self, secret: &str) -> Result<String, ApiError> {
        let _turn = self.gate.acquire().await.map_err(ApiError::internal)?;
        let secret = secret.to_owned();
        tokio::task::spawn_blocking(move || hash_now(&secret)).await.map_err(ApiError::internal)?
    }

    /// Is it this password? `None` in place of a hash takes as long and is always no.
    ///
    /// # Errors
    /// A stored hash that cannot be read.
    pub async fn verify(&self, password: &str, hash: Option<String>) -> Result<bool, ApiError> {
        if password.len() > BYTES_MAX {
            return Ok(false);
        }
        let _turn = self.gate.acquire().await.map_err(ApiError::internal)?;
        let exists = hash.is_some();
        let hash = hash.unwrap_or_else(|| self.nobody.to_string());
        let password = password.to_owned();
        let same = tokio::task::spawn_blocking(move || {
            let parsed = PasswordHash::new(&hash)
                .map_err(|error| ApiError::internal(anyhow::anyhow!("stored hash: {error}")))?;
            Ok::<_, ApiError>(Argon2::default().verify_password(password.as_bytes(), &parsed).is_ok())
        })
        .await
        .map_err(ApiError::internal)??;
        Ok(same && exists)
    }
}

fn hash_now(password: &str) -> Result<String, ApiError> {
    let salt = SaltString::generate(&mut OsRng);
    let hash = Argon2::default()
        .hash_password(password.as_bytes(), &salt)
        .map_err(|error| ApiError::internal(anyhow::anyhow!("argon2: {error}")))?;
    Ok(hash.to_string())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;

    #[tokio::test]
    async fn right_wrong_and_nobody() {
        let passwords = Passwords::new().unwrap();
        let hash = passwords.hash("three grey herons").await.unwrap();
        assert!(hash.starts_with("$argon2id$"));
        assert!(passwords.verify("three grey herons", Some(hash.clone())).await.unwrap());
        assert!(!passwords.verify("three grey heron", Some(hash)).await.unwrap());
        assert!(!passwords.verify("three grey herons", None).await.unwrap());
    }

    #[tokio::test]
    async fn too_short_and_too_long_are_named() {
        let passwords = Passwords::new().unwrap();
        let code = |result: Result<String, ApiError>| result.unwrap_err().answer().1;
        assert_eq!(code(passwords.hash("123456789").await), "password_too_short");
        assert_eq!(code(passwords.hash(&"x".repeat(257)).await), "password_too_long");
        assert!(!passwords.verify(&"x".repeat(1_000_000), None).await.unwrap());
    }
}
