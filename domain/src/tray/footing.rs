//! What a device's records lie on, and what a person must hear of it before the work starts.

/// Less than this is no place for the photos of a week.
pub const QUOTA_SMALL: u64 = 1 << 30;

/// How a real write went: it alone proves that there is room, for browsers name figures that are rounded or made up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Probe {
    /// Written, read back, removed.
    Kept,
    /// There was no room.
    Full,
    /// It was said to be written, and other bytes or none came back.
    Lost,
    /// It was not written, for another reason.
    Refused,
}

/// What is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Footing {
    /// The app runs from the home screen.
    pub is_installed: bool,
    /// The browser promises not to clear it by itself; `None` when it does not say.
    pub is_persistent: Option<bool>,
    /// Bytes allowed, as the browser has it: a hint.
    pub quota: Option<u64>,
    /// The trial write; `None` before it.
    pub probe: Option<Probe>,
}

/// What is wrong with it; the worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Concern {
    /// The device keeps nothing: there is no room.
    Full,
    /// The device keeps nothing, or other bytes.
    KeepsNothing,
    /// Little room, by the browser's own word: small or temporary storage, such as that of a private window.
    Small,
    /// Neither installed nor promised: a private window, a week without use or a full disk takes all of it.
    NotPromised,
}

impl Footing {
    /// The worst, if there is any.
    pub fn concern(&self) -> Option<Concern> {
        match (self.probe, self.quota, self.is_installed, self.is_persistent) {
            (Some(Probe::Full), ..) => Some(Concern::Full),
            (Some(Probe::Lost | Probe::Refused), ..) => Some(Concern::KeepsNothing),
            (_, Some(quota), ..) if quota < QUOTA_SMALL => Some(Concern::Small),
            (.., false, Some(false) | None) => Some(Concern::NotPromised),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: Footing =
        Footing { is_installed: true, is_persistent: Some(true), quota: Some(QUOTA_SMALL), probe: Some(Probe::Kept) };

    #[test]
    fn a_write_counts_more_than_any_figure() {
        assert_eq!(GOOD.concern(), None);
        let huge = Footing { quota: Some(u64::MAX), ..GOOD };
        assert_eq!(Footing { probe: Some(Probe::Full), ..huge }.concern(), Some(Concern::Full));
        assert_eq!(Footing { probe: Some(Probe::Lost), ..huge }.concern(), Some(Concern::KeepsNothing));
        assert_eq!(Footing { probe: Some(Probe::Refused), ..huge }.concern(), Some(Concern::KeepsNothing));
    }

    #[test]
    fn little_room_and_no_promise_are_said() {
        assert_eq!(Footing { quota: Some(QUOTA_SMALL - 1), ..GOOD }.concern(), Some(Concern::Small));
        assert_eq!(Footing { quota: None, ..GOOD }.concern(), None);
        for is_persistent in [None, Some(false)] {
            let loose = Footing { is_installed: false, is_persistent, ..GOOD };
            assert_eq!(loose.concern(), Some(Concern::NotPromised));
            assert_eq!(Footing { is_installed: true, ..loose }.concern(), None);
        }
        assert_eq!(Footing { is_installed: false, ..GOOD }.concern(), None, "promised without being installed");
    }
}
