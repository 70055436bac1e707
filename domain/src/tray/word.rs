//! The one word about sync that every screen shows in the same corner. It is derived from stored facts, never from hope.

use super::link::{Link, Stop};
use super::on_device::Counts;
use super::request::Request;

/// What to say. Language files make a sentence of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// Everything recorded here is with the server.
    Confirmed,
    /// So many items are on this device only.
    OnlyHere {
        /// How many.
        n: u32,
    },
    /// Items are on their way right now.
    Sending {
        /// How many are left.
        n: u32,
    },
    /// The server was not heard yet since the app started, and nothing says that it cannot be reached: on a dead line that takes
    /// as long as a request may.
    Unanswered {
        /// How many items are on this device only.
        n: u32,
    },
    /// No way to the server since its last answer.
    NoConnection {
        /// When it last answered, device clock; `None` when it has not since the app started.
        since_ms: Option<u64>,
        /// How many items are on this device only.
        n: u32,
    },
    /// Something else answers in the server's place: a network that wants a login first.
    NotOurServer {
        /// How many items are on this device only.
        n: u32,
    },
    /// Sending waits for the person to sign in; working does not.
    SignInNeeded {
        /// How many items are on this device only.
        n: u32,
    },
    /// Sending waits for a newer app.
    UpdateNeeded {
        /// How many items are on this device only.
        n: u32,
    },
    /// Everything is with the server, and some of it waits there for a person.
    Held {
        /// How many.
        n: u32,
    },
    /// Some items were refused; they are kept here and shown.
    Refused {
        /// How many.
        n: u32,
    },
}

impl Word {
    /// What stops everything comes first, then what moves, then what a person must look at.
    pub fn of(counts: &Counts, link: &Link) -> Self {
        let n = counts.waiting();
        match link.stop {
            Some(Stop::Update) => return Self::UpdateNeeded { n },
            Some(Stop::SignIn) => return Self::SignInNeeded { n },
            None => {}
        }
        if link.not_ours {
            return Self::NotOurServer { n };
        }
        if link.no_connection {
            return Self::NoConnection { since_ms: link.last_contact_ms(), n };
        }
        if n > 0 && link.last_contact_ms().is_none() {
            return Self::Unanswered { n };
        }
        let sending = matches!(link.in_flight(), Some(Request::Push(_) | Request::Photo(..)));
        match (n, sending, counts.aside, counts.held) {
            (1.., true, _, _) => Self::Sending { n },
            (_, _, 1.., _) => Self::Refused { n: counts.aside },
            (1.., false, 0, _) => Self::OnlyHere { n },
            (0, _, 0, 1..) => Self::Held { n: counts.held },
            (0, _, 0, 0) => Self::Confirmed,
        }
    }
}
