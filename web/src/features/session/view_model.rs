//! What the pages of this room show, worked out without a browser.

use domain::bounds;
use domain::people::Role;

use crate::features::bounds::sentence;
use crate::i18n::{Key, Words};
use crate::key;
use crate::t;

/// The server takes no shorter password.
pub(super) const PASSWORD_CHARS_MIN: usize = 10;

/// The roles in the order in which they are offered.
pub(super) const ROLES: [Role; 4] = [Role::Technician, Role::Lead, Role::Office, Role::Owner];

/// The name of a role.
pub(super) const fn role_name(role: Role) -> Key {
    match role {
        Role::Owner => key!("role.owner"),
        Role::Lead => key!("role.lead"),
        Role::Technician => key!("role.technician"),
        Role::Office => key!("role.office"),
    }
}

/// What a role is for.
pub(super) const fn role_hint(role: Role) -> Key {
    match role {
        Role::Owner => key!("role.owner.hint"),
        Role::Lead => key!("role.lead.hint"),
        Role::Technician => key!("role.technician.hint"),
        Role::Office => key!("role.office.hint"),
    }
}

/// The names of roles in one line, in the order in which they are offered.
pub(super) fn role_line(w: Words, roles: &[Role]) -> String {
    let names: Vec<&str> =
        ROLES.iter().filter(|role| roles.contains(role)).map(|role| w.say(role_name(*role))).collect();
    names.join(", ")
}

/// What is wrong with a field that must not be empty.
pub(super) fn missing(w: Words, value: &str) -> Option<String> {
    value.trim().is_empty().then(|| t!(w, "ui.required").to_owned())
}

/// What is wrong with an e-mail address.
pub(super) fn email_fault(w: Words, value: &str) -> Option<String> {
    sentence(w, bounds::email(value))
}

/// What is wrong with a password that is being chosen.
pub(super) fn password_fault(w: Words, value: &str) -> Option<String> {
    let have = value.chars().count();
    (have < PASSWORD_CHARS_MIN).then(|| t!(w, "link.password_short", have = have, n = PASSWORD_CHARS_MIN))
}

#[cfg(test)]
mod tests {
    use super::*;

    const W: Words = Words { lang: crate::i18n::Lang::En, decimal: crate::i18n::Decimal::Point };

    #[test]
    fn addresses_are_looked_at_before_they_travel() {
        assert_eq!(email_fault(W, " ada@firm.example "), None);
        for wrong in ["", " ", "ada", "@firm.example", "ada@", "a da@firm.example"] {
            assert!(email_fault(W, wrong).is_some(), "{wrong}");
        }
    }

    #[test]
    fn a_short_password_is_told_with_both_numbers() {
        let told = password_fault(W, "kurz").unwrap_or_default();
        assert!(told.contains('4') && told.contains("10"), "{told}");
        assert_eq!(password_fault(W, "zäune und hagel"), None);
    }

    #[test]
    fn roles_are_told_in_one_order() {
        let line = role_line(W, &[Role::Owner, Role::Technician]);
        assert_eq!(line, role_line(W, &[Role::Technician, Role::Owner]));
        assert!(line.contains(", "));
    }
}
