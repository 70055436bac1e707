//! Methods by id and version: those that come with this server, and those that earlier ones published.
//!
//! A published version never changes, for jobs pin its hash. So a file that was edited without a new version stops the
//! start. Start with [`Methods::publish_built_in`]; a job's method is [`Methods::find`].

mod queries;

use std::collections::BTreeMap;
use std::sync::{Arc, PoisonError, RwLock};

use anyhow::{Context as _, bail};
use domain::ids::Hash32;
use domain::method::{Method, load};

use crate::clock::Clock;
use crate::db::Db;
use crate::error::ApiError;

/// The methods that come with the server, by file.
const BUILT_IN: &[&str] =
    &["series-stack-floor.toml", "install-with-backup.toml", "replace-fuse.toml", "hybrid-inverter.toml"];

/// All files that come with the server, by the name under which one includes another.
const FILES: &[(&str, &str)] = &[
    ("series-stack-floor.toml", include_str!("../../methods/series-stack-floor.toml")),
    ("install-with-backup.toml", include_str!("../../methods/install-with-backup.toml")),
    ("replace-fuse.toml", include_str!("../../methods/replace-fuse.toml")),
    ("hybrid-inverter.toml", include_str!("../../methods/hybrid-inverter.toml")),
    ("shared/ac-side.toml", include_str!("../../methods/shared/ac-side.toml")),
    ("shared/arrival.toml", include_str!("../../methods/shared/arrival.toml")),
    ("shared/backup.toml", include_str!("../../methods/shared/backup.toml")),
    ("shared/cautions.toml", include_str!("../../methods/shared/cautions.toml")),
    ("shared/covers.toml", include_str!("../../methods/shared/covers.toml")),
    ("shared/dead-tests.toml", include_str!("../../methods/shared/dead-tests.toml")),
    ("shared/existing-inverter.toml", include_str!("../../methods/shared/existing-inverter.toml")),
    ("shared/first-power.toml", include_str!("../../methods/shared/first-power.toml")),
    ("shared/further-tests.toml", include_str!("../../methods/shared/further-tests.toml")),
    ("shared/goods-in.toml", include_str!("../../methods/shared/goods-in.toml")),
    ("shared/handover.toml", include_str!("../../methods/shared/handover.toml")),
    ("shared/install.toml", include_str!("../../methods/shared/install.toml")),
    ("shared/isolation.toml", include_str!("../../methods/shared/isolation.toml")),
    ("shared/live-tests.toml", include_str!("../../methods/shared/live-tests.toml")),
    ("shared/new-inverter.toml", include_str!("../../methods/shared/new-inverter.toml")),
    ("shared/place.toml", include_str!("../../methods/shared/place.toml")),
    ("shared/pv-strings.toml", include_str!("../../methods/shared/pv-strings.toml")),
    ("shared/split-phase.toml", include_str!("../../methods/shared/split-phase.toml")),
    ("shared/stack.toml", include_str!("../../methods/shared/stack.toml")),
];

/// A method, its bytes and their hash.
#[derive(Debug)]
pub struct Published {
    /// What the gate asks.
    pub method: Method,
    /// What travels.
    pub cbor: Vec<u8>,
    /// What a job pins.
    pub hash: Hash32,
}

type Shelf = BTreeMap<(String, u32), Arc<Published>>;

/// All methods that were asked for so far, on top of those of the start.
#[derive(Clone, Default)]
pub struct Methods {
    shelf: Arc<RwLock<Shelf>>,
}

impl Methods {
    /// Publishes what comes with this server and loads everything that was ever published.
    ///
    /// # Errors
    /// A method file that is wrong, or that changed without a new version.
    pub async fn publish_built_in(db: &Db, clock: &Clock) -> anyhow::Result<Self> {
        let mut tx = db.begin_without_firm().await?;
        let mut news = false;
        for name in BUILT_IN {
            let method = parse(name, FILES)?;
            let cbor = method.to_bytes();
            let hash = Hash32::sha256(&cbor);
            let version = version_for_row(method.version)?;
            news |= queries::insert_method(&mut tx, &method.id, version, &hash, &cbor, clock.now_us()).await?;
            let kept = queries::method(&mut tx, &method.id, version)
                .await?
                .context("a method that was just stored is gone")?;
            if kept.hash[..] != hash.bytes()[..] {
                bail!(
                    "the method file {name} says version {version} of {}, and another text was published as that version. \
                     Jobs rely on it, so a published version never changes: give the file the next version number.",
                    method.id
                );
            }
        }
        if news {
            queries::reference_changed_everywhere(&mut tx).await?;
        }
        let all = queries::methods(&mut tx).await?;
        tx.commit().await?;
        let methods = Self::default();
        for row in all {
            methods.keep(read(row)?);
        }
        Ok(methods)
    }

    /// A method, from memory or, where another server of this installation published it since, from the database.
    ///
    /// # Errors
    /// The database. `None`: there is no such method.
    pub async fn find(&self, db: &Db, id: &str, version: u32) -> Result<Option<Arc<Published>>, ApiError> {
        if let Some(found) = self.shelf().get(&(id.to_owned(), version)) {
            return Ok(Some(found.clone()));
        }
        let Ok(row_version) = i32::try_from(version) else { return Ok(None) };
        let mut tx = db.begin_without_firm().await?;
        match queries::method(&mut tx, id, row_version).await? {
            None => Ok(None),
            Some(row) => Ok(Some(self.keep(read(row)?))),
        }
    }

    /// All, by id and version.
    pub fn all(&self) -> Vec<Arc<Published>> {
        self.shelf().values().cloned().collect()
    }

    fn shelf(&self) -> std::sync::RwLockReadGuard<'_, Shelf> {
        self.shelf.read().unwrap_or_else(PoisonError::into_inner)
    }

    fn keep(&self, published: Published) -> Arc<Published> {
        let key = (published.method.id.clone(), published.method.version);
        let published = Arc::new(published);
        self.shelf.write().unwrap_or_else(PoisonError::into_inner).insert(key, published.clone());
        published
    }
}

fn version_for_row(version: u32) -> anyhow::Result<i32> {
    i32::try_from(version).context("a method's version is too great a number")
}

fn parse(name: &str, files: &[(&str, &str)]) -> anyhow::Result<Method> {
    let composed = load::compose(name, files).map_err(|fault| anyhow::anyhow!("a method cannot be read: {fault}"))?;
    let faults: Vec<String> = composed.faults().iter().map(ToString::to_string).collect();
    if !faults.is_empty() {
        bail!("the method {name} is not sound:\n  {}", faults.join("\n  "));
    }
    Ok(composed.method)
}

fn read(row: queries::MethodRow) -> Result<Published, ApiError> {
    let method = Method::from_bytes(&row.cbor)
        .map_err(|error| ApiError::internal(anyhow::anyhow!("stored method {} {}: {error}", row.id, row.version)))?;
    Ok(Published { method, hash: Hash32::sha256(&row.cbor), cbor: row.cbor })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_method_is_sound_and_survives_its_bytes() {
        for name in BUILT_IN {
            let method = parse(name, FILES).unwrap_or_else(|error| panic!("{error:#}"));
            assert!(name.starts_with(&method.id), "{name} is called otherwise than its id");
            assert_eq!(Method::from_bytes(&method.to_bytes()).ok().as_ref(), Some(&method));
        }
    }
}
