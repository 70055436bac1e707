//! Words for what is missing, deadlines, contradicting days and held entries.

use domain::identification::dates::Milestone;
use domain::wire::sync::HeldWhy;

use super::view_model::{Deadline, Missing, RegistrationRow};
use crate::features::words::{held, unit_in_slot};
use crate::i18n::{Key, Words};
use crate::ui::Tone;
use crate::{key, t, tn};

fn slot(w: Words, row: &RegistrationRow, slot: u16) -> String {
    row.units
        .iter()
        .find(|unit| unit.slot == slot)
        .map_or_else(|| t!(w, "registration.slot", slot = slot), |unit| unit_in_slot(w, unit.kind, slot))
}

/// What is missing, in a few words.
pub fn missing(w: Words, row: &RegistrationRow, missing: Missing) -> String {
    match missing {
        Missing::Installer => t!(w, "registration.missing.installer").to_owned(),
        Missing::Householder => t!(w, "registration.missing.householder").to_owned(),
        Missing::SiteAddress => t!(w, "registration.missing.address").to_owned(),
        Missing::Equipment => t!(w, "registration.missing.equipment").to_owned(),
        Missing::Serial { slot: at } => t!(w, "registration.missing.serial", unit = slot(w, row, at)),
        Missing::SerialUnreadable { slot: at } => {
            t!(w, "registration.missing.serial_unreadable", unit = slot(w, row, at))
        }
        Missing::SerialTwice { slot: at, other } => {
            t!(w, "registration.missing.serial_twice", unit = slot(w, row, at), other = slot(w, row, other))
        }
        Missing::LabelPhoto { slot: at } => t!(w, "registration.missing.label_photo", unit = slot(w, row, at)),
        Missing::InstalledOn => t!(w, "registration.missing.installed_on").to_owned(),
        Missing::CommissionedOn => t!(w, "registration.missing.commissioned_on").to_owned(),
        Missing::GridProfile => t!(w, "registration.missing.grid_profile").to_owned(),
        Missing::Firmware => t!(w, "registration.missing.firmware").to_owned(),
        Missing::Photos { count } => tn!(w, "registration.missing.photos", count),
        Missing::Review => t!(w, "registration.missing.review").to_owned(),
        Missing::Unknown => t!(w, "registration.missing.unknown").to_owned(),
    }
}

/// A deadline with its weight.
pub fn deadline(w: Words, deadline: &Deadline) -> (String, Tone) {
    /// So many days before it, it is told.
    const SOON_DAYS: i64 = 14;
    let day = w.day_text(&deadline.due);
    match deadline.days_left {
        left if left < 0 => (t!(w, "registration.due_over", day = day), Tone::Stop),
        left if left <= SOON_DAYS => (tn!(w, "registration.due_soon", left, day = day), Tone::Caution),
        _ => (t!(w, "registration.due", day = day), Tone::Plain),
    }
}

const fn milestone(milestone: Milestone) -> Key {
    match milestone {
        Milestone::Manufacture => key!("registration.milestone.manufacture"),
        Milestone::Purchase => key!("registration.milestone.purchase"),
        Milestone::Installation => key!("registration.milestone.installation"),
        Milestone::Commissioning => key!("registration.milestone.commissioning"),
        Milestone::Registration => key!("registration.milestone.registration"),
    }
}

/// Two days in the wrong order.
pub fn contradiction(w: Words, earlier: Milestone, later: Milestone) -> String {
    t!(w, "registration.contradiction", earlier = w.say(milestone(earlier)), later = w.say(milestone(later)))
}

/// Why an entry is held: the server's word as a sentence.
pub fn held_why(w: Words, word: &str) -> String {
    let why = match word {
        "same_id_other_bytes" => HeldWhy::SameIdOtherBytes,
        "author_not_you" => HeldWhy::AuthorNotYou,
        "device_not_yours" => HeldWhy::DeviceNotYours,
        "role_may_not" => HeldWhy::RoleMayNot,
        "device_revoked" => HeldWhy::DeviceRevoked,
        "no_such_job" => HeldWhy::NoSuchJob,
        "body_unreadable" => HeldWhy::BodyUnreadable,
        other => return t!(w, "registration.held_unknown", code = other),
    };
    w.say(held(why)).to_owned()
}
