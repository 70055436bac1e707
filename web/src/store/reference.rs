//! People, instruments, catalogue, methods and rule sets of the firm, as `GET /api/reference` gives them.

use crate::session::Person;
use domain::electrical::rule_set::FirmRules;
use domain::ids::{Hash32, InstrumentId, ModelId, PersonId, from_hex};
use domain::job_file::body::{InstrumentSnapshot, MethodRef, ModelSnapshot, UnitKind};
use domain::people::pin::KEY_BYTES;
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};

/// All of it. Unknown fields are those of a newer server and are passed over.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Reference {
    /// Version; grows with each change.
    pub version: u64,
    /// Everybody at the firm.
    #[serde(default)]
    pub people: Vec<Person>,
    /// Meters and torque wrenches.
    #[serde(default)]
    pub instruments: Vec<Instrument>,
    /// Catalogue.
    #[serde(default)]
    pub models: Vec<Model>,
    /// Plans of work.
    #[serde(default)]
    pub methods: Vec<MethodLine>,
    /// All versions of the firm's own rule sets.
    #[serde(default)]
    pub rule_sets: Vec<FirmRules>,
    /// What PINs are sealed to: an uncompressed P-256 point, hexadecimal. Empty at a server that has none.
    #[serde(default)]
    pub pin_key: String,
}

/// A meter or torque wrench.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct Instrument {
    /// Which.
    pub id: InstrumentId,
    /// Kind, as methods name it.
    pub kind: String,
    /// Label on the case.
    pub label: String,
    /// Serial of the instrument.
    #[serde(default)]
    pub serial: String,
    /// Last day of its calibration, `YYYY-MM-DD`; absent when unknown.
    #[serde(default)]
    pub calibration_due: Option<String>,
    /// Not in use any more.
    #[serde(default)]
    pub retired: bool,
}

impl Instrument {
    /// As a reading keeps it.
    pub fn snapshot(&self) -> InstrumentSnapshot {
        InstrumentSnapshot {
            id: self.id,
            kind: self.kind.clone(),
            label: self.label.clone(),
            calibration_due: self.calibration_due.clone().unwrap_or_default(),
        }
    }
}

/// A catalogue item.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct Model {
    /// Which.
    pub id: ModelId,
    /// Version; a change makes a new one.
    pub version: u32,
    /// What it is.
    pub kind: UnitKind,
    /// Maker's name.
    pub maker: String,
    /// Model name.
    pub name: String,
    /// GTIN, where it has one.
    #[serde(default)]
    pub gtin: Option<String>,
    /// Prefix of its serials.
    #[serde(default)]
    pub serial_prefix: String,
    /// Least and greatest number of characters of a serial; 0 and 0 when unknown.
    #[serde(default)]
    pub serial_length: (u16, u16),
    /// The maker's figures in millionths.
    #[serde(default)]
    pub values: BTreeMap<String, i64>,
    /// Keys of figures that the maker does not state.
    #[serde(default)]
    pub not_stated: BTreeSet<String>,
    /// Not sold any more.
    #[serde(default)]
    pub retired: bool,
}

impl Model {
    /// As a job pins it.
    pub fn snapshot(&self) -> ModelSnapshot {
        ModelSnapshot {
            model: self.id,
            version: self.version,
            kind: self.kind,
            maker: self.maker.clone(),
            name: self.name.clone(),
            gtin: self.gtin.clone(),
            serial_prefix: self.serial_prefix.clone(),
            serial_length: self.serial_length,
            values: self.values.iter().map(|(key, micro)| (key.clone(), *micro)).collect(),
        }
    }
}

/// A plan of work in the list of those that the firm has.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct MethodLine {
    /// Stable id.
    pub id: String,
    /// Version.
    pub version: u32,
    /// SHA-256 of its CBOR.
    pub hash: Hash32,
    /// Its name, in English or by language.
    #[serde(default)]
    pub title: serde_json::Value,
}

impl MethodLine {
    /// As a job pins it.
    pub fn reference(&self) -> MethodRef {
        MethodRef { id: self.id.clone(), version: self.version, hash: self.hash }
    }

    /// Its name in a language, or in English.
    pub fn title(&self, language: &str) -> &str {
        let by_language = |language: &str| {
            self.title.get(language).and_then(serde_json::Value::as_str).filter(|text| !text.is_empty())
        };
        self.title.as_str().or_else(|| by_language(language)).or_else(|| by_language("en")).unwrap_or(&self.id)
    }
}

impl Reference {
    /// Somebody at the firm.
    pub fn person(&self, id: PersonId) -> Option<&Person> {
        self.people.iter().find(|person| person.id == id)
    }

    /// [`Self::pin_key`] as bytes.
    pub fn pin_key(&self) -> Option<Vec<u8>> {
        from_hex(&self.pin_key).filter(|bytes| bytes.len() == KEY_BYTES)
    }

    /// Instruments in use of one kind.
    pub fn instruments_of<'a>(&'a self, kind: &'a str) -> impl Iterator<Item = &'a Instrument> {
        self.instruments.iter().filter(move |instrument| !instrument.retired && instrument.kind == kind)
    }

    /// Versions and hashes of all methods.
    pub fn method_refs(&self) -> Vec<MethodRef> {
        self.methods.iter().map(MethodLine::reference).collect()
    }
}
