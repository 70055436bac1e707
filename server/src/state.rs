//! What every handler can reach. A handler takes the part it needs: `State(db): State<Db>`.

use std::sync::Arc;
use std::time::Duration;

use anyhow::Context as _;
use axum::extract::FromRef;
use domain::ids::Hash32;
use object_store::aws::{AmazonS3Builder, AmazonS3ConfigKey};
use object_store::local::LocalFileSystem;
use object_store::{BackoffConfig, ObjectStore, RetryConfig};

use crate::auth::limiter::SignInLimits;
use crate::auth::password::Passwords;
use crate::auth::tokens::Tokens;
use crate::clock::Clock;
use crate::config::{Config, PhotoStoreSetting};
use crate::db::Db;
use crate::features::live::Live;
use crate::features::photos::Transfers;
use crate::handover::key::Sealing;
use crate::job_files::turns::Turns;
use crate::methods::Methods;
use crate::photos::store::PhotoStore;

/// Raw photo bytes: `firm/sha256` and part objects of uploads. See `features::photos`.
pub type Objects = Arc<dyn ObjectStore>;

/// A hiccup of a photo service is waited out here. Beyond that the phone is told, and it comes back by itself: the usual three
/// minutes would be longer than its own patience, and it would send the same bytes again.
const RETRY_WITHIN: Duration = Duration::from_secs(5);
const RETRIES: usize = 3;
const FIRST_BACKOFF: Duration = Duration::from_millis(100);
const LAST_BACKOFF: Duration = Duration::from_secs(2);

/// Everything.
#[derive(Clone, FromRef)]
pub struct AppState {
    /// Settings.
    pub config: Arc<Config>,
    /// Time and ids.
    pub clock: Clock,
    /// The only way to a query.
    pub db: Db,
    /// Signs and reads access tokens.
    pub tokens: Tokens,
    /// Hashes and verifies passwords.
    pub passwords: Passwords,
    /// Slows down guessing.
    pub limits: Arc<SignInLimits>,
    /// Methods by id and version.
    pub methods: Methods,
    /// Photo bytes.
    pub objects: Objects,
    /// News for devices that are open.
    pub live: Arc<Live>,
    /// A firm's requests wait for each other here.
    pub turns: Turns,
    /// Photos that are coming in.
    pub transfers: Transfers,
    /// Signs sealed packs, where this installation has a key.
    pub sealing: Option<Sealing>,
}

impl AppState {
    /// Fingerprint of the key that seals.
    pub fn fingerprint(&self) -> Option<Hash32> {
        self.sealing.as_ref().map(Sealing::fingerprint)
    }

    /// Photos by hash.
    pub fn photo_store(&self) -> PhotoStore {
        let folder = match &self.config.photo_store {
            PhotoStoreSetting::Folder(folder) => Some(folder.clone()),
            PhotoStoreSetting::S3 { .. } => None,
        };
        PhotoStore::new(self.objects.clone(), folder)
    }
}

/// Opens the photo store.
///
/// # Errors
/// The folder cannot be made, or the address of the service is wrong.
pub fn open_objects(setting: &PhotoStoreSetting) -> anyhow::Result<Objects> {
    match setting {
        PhotoStoreSetting::Folder(folder) => {
            std::fs::create_dir_all(folder)
                .with_context(|| format!("PHOTO_STORE: cannot make the folder {}", folder.display()))?;
            let store = LocalFileSystem::new_with_prefix(folder)
                .with_context(|| format!("PHOTO_STORE: cannot use the folder {}", folder.display()))?;
            Ok(Arc::new(store))
        }
        PhotoStoreSetting::S3 { bucket, endpoint } => open_s3(s3_of(std::env::vars()), bucket, endpoint.as_deref()),
    }
}

/// Keys and region by the usual names. As with all our settings an empty one counts as absent: a compose file passes every name
/// on, and an empty key would hide the credentials that the machine itself has.
fn s3_of(settings: impl Iterator<Item = (String, String)>) -> AmazonS3Builder {
    settings.fold(AmazonS3Builder::new(), |builder, (name, value)| {
        let known = name.starts_with("AWS_").then(|| name.to_ascii_lowercase().parse::<AmazonS3ConfigKey>());
        match known {
            Some(Ok(key)) if !value.trim().is_empty() => builder.with_config(key, value),
            Some(_) | None => builder,
        }
    })
}

/// Opens a bucket of an S3-compatible service. Keys and region are the builder's.
///
/// # Errors
/// Something is missing, or the address of the service is wrong.
pub fn open_s3(builder: AmazonS3Builder, bucket: &str, endpoint: Option<&str>) -> anyhow::Result<Objects> {
    let mut builder = builder.with_bucket_name(bucket).with_retry(RetryConfig {
        backoff: BackoffConfig { init_backoff: FIRST_BACKOFF, max_backoff: LAST_BACKOFF, base: 2.0 },
        max_retries: RETRIES,
        retry_timeout: RETRY_WITHIN,
    });
    if let Some(endpoint) = endpoint {
        builder = builder.with_endpoint(endpoint).with_allow_http(endpoint.starts_with("http://"));
    }
    Ok(Arc::new(builder.build().context("PHOTO_STORE: the service cannot be used")?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn empty_settings_of_a_service_count_as_absent() {
        let set = [("AWS_ACCESS_KEY_ID", "id"), ("AWS_REGION", ""), ("AWS_SESSION_TOKEN", " "), ("HOME", "/root")];
        let builder = s3_of(set.into_iter().map(|(name, value)| (name.to_owned(), value.to_owned())));
        assert_eq!(builder.get_config_value(&AmazonS3ConfigKey::AccessKeyId).as_deref(), Some("id"));
        for absent in [AmazonS3ConfigKey::Region, AmazonS3ConfigKey::Token, AmazonS3ConfigKey::SecretAccessKey] {
            assert_eq!(builder.get_config_value(&absent), None, "{absent:?}");
        }
    }
}
