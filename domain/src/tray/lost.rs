//! A browser that threw a device's data away leaves nothing there that could say so. The server's last word about the earlier enrolment
//! is all that is left; it is told to whoever signs in anew.

use crate::ids::DeviceId;

/// An enrolment of a person, as the server knows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Enrolled {
    /// Which.
    pub device: DeviceId,
    /// The kind of device and browser.
    pub label: String,
    /// When it began, server clock.
    pub created_us: i64,
    /// When it was last in contact, server clock.
    pub last_contact_us: Option<i64>,
    /// What it had not delivered then.
    pub waiting: u32,
    /// It was shut out.
    pub is_revoked: bool,
    /// This browser has had it: a mark that outlived the data says so.
    pub was_here: bool,
}

/// Earlier enrolments that still held something when they were last heard of, all before the one of `here` began: what they held may
/// have been here. One on another kind of device or browser was not, unless this browser remembers it.
pub fn silent_since(all: &[Enrolled], here: DeviceId) -> Vec<Enrolled> {
    let Some(own) = all.iter().find(|one| one.device == here) else { return Vec::new() };
    let is_silent = |one: &&Enrolled| {
        let went_silent = one.last_contact_us.is_some_and(|us| us < own.created_us);
        one.device != here
            && !one.is_revoked
            && one.waiting > 0
            && went_silent
            && (one.was_here || one.label == own.label)
    };
    let mut found: Vec<Enrolled> = all.iter().filter(is_silent).cloned().collect();
    found.sort_by_key(|one| (!one.was_here, core::cmp::Reverse(one.last_contact_us)));
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn device(n: u128) -> DeviceId {
        DeviceId::of(uuid::Uuid::from_u128(n))
    }

    fn enrolled(n: u128) -> Enrolled {
        Enrolled {
            device: device(n),
            label: "Android, Chrome".to_owned(),
            created_us: 10,
            last_contact_us: Some(50),
            waiting: 3,
            is_revoked: false,
            was_here: false,
        }
    }

    fn found(other: Enrolled) -> usize {
        let own = Enrolled { created_us: 100, last_contact_us: Some(101), waiting: 7, ..enrolled(1) };
        silent_since(&[own, other], device(1)).len()
    }

    #[test]
    fn only_an_earlier_one_that_held_something_and_is_not_heard_of_any_more() {
        let other = enrolled(2);
        assert_eq!(found(other.clone()), 1);
        assert_eq!(found(Enrolled { waiting: 0, ..other.clone() }), 0);
        assert_eq!(found(Enrolled { is_revoked: true, ..other.clone() }), 0);
        assert_eq!(found(Enrolled { last_contact_us: Some(100), ..other.clone() }), 0, "it lives");
        assert_eq!(found(Enrolled { last_contact_us: None, ..other.clone() }), 0);
        let desk = Enrolled { label: "Windows, Edge".to_owned(), ..other };
        assert_eq!(found(desk.clone()), 0, "another browser has its own data");
        assert_eq!(found(Enrolled { was_here: true, ..desk }), 1);
        assert!(silent_since(&[enrolled(2)], device(1)).is_empty(), "the server does not know this one");
    }

    #[test]
    fn what_is_known_comes_before_what_may_be() {
        let own = Enrolled { created_us: 100, waiting: 0, ..enrolled(1) };
        let known = Enrolled { was_here: true, last_contact_us: Some(20), ..enrolled(3) };
        let all = [own, enrolled(2), known];
        assert_eq!(
            silent_since(&all, device(1)).iter().map(|one| one.device).collect::<Vec<_>>(),
            [device(3), device(2)]
        );
    }
}
