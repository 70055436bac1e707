//! Names in a pack: entries name people and devices by their ids alone.

use crate::ids::{DeviceId, PersonId};
use minicbor::{Decode, Encode};

/// The file's name in the archive.
pub const NAMES_NAME: &str = "names.cbor";

/// The page that checks a pack: in the archive, and at the server's root.
pub const VERIFIER_NAME: &str = "verifier.html";

/// What the ids of a pack are called, as it was when the job was sealed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Names {
    /// The firm.
    #[n(0)]
    pub firm: String,
    /// The job's number as people see it.
    #[n(1)]
    pub job: String,
    /// People.
    #[n(2)]
    pub people: Vec<(PersonId, String)>,
    /// Devices.
    #[n(3)]
    pub devices: Vec<(DeviceId, String)>,
}

impl Names {
    /// A person's name.
    pub fn person(&self, id: PersonId) -> Option<&str> {
        self.people.iter().find(|(own, _)| *own == id).map(|(_, name)| name.as_str())
    }

    /// What a device is called.
    pub fn device(&self, id: DeviceId) -> Option<&str> {
        self.devices.iter().find(|(own, _)| *own == id).map(|(_, name)| name.as_str())
    }
}
