//! Why a call to the server did not do what was asked, and the words for it. Pure, so that it is tested without a browser.

use domain::wire::sync::PROTOCOL_VALUE;
use serde::Deserialize;

use crate::i18n::{self, Words};
use crate::t;

/// Everything but success.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The server was not reached.
    Offline,
    /// It was reached and then nothing came for too long.
    Silence,
    /// Somebody else answered.
    NotOurs,
    /// Our server, in a version that this app does not speak with.
    OtherProtocol,
    /// Our answer, and still not what was expected.
    Damaged,
    /// The session is over; local work goes on.
    SignIn,
    /// The server said no.
    Problem {
        /// HTTP status.
        status: u16,
        /// Stable word of the server.
        code: String,
    },
}

impl Refusal {
    /// The sentence for a person.
    pub fn tell(&self, w: Words) -> String {
        match self {
            Self::Offline => t!(w, "fetch.offline").to_owned(),
            Self::Silence => t!(w, "fetch.timeout").to_owned(),
            Self::NotOurs => t!(w, "fetch.not_ours").to_owned(),
            Self::OtherProtocol => t!(w, "fetch.other_protocol").to_owned(),
            Self::Damaged => t!(w, "fetch.damaged").to_owned(),
            Self::SignIn => t!(w, "fetch.sign_in_needed").to_owned(),
            Self::Problem { code, .. } => match i18n::problem(code) {
                Some(key) => w.say(key).to_owned(),
                None => t!(w, "fetch.unknown_problem").to_owned(),
            },
        }
    }

    /// Is it this problem of the server?
    pub fn is(&self, word: &str) -> bool {
        matches!(self, Self::Problem { code, .. } if code == word)
    }

    /// Worth another try by itself later: nobody said no.
    pub fn may_pass(&self) -> bool {
        match self {
            Self::Offline | Self::Silence | Self::NotOurs | Self::Damaged => true,
            Self::OtherProtocol | Self::SignIn => false,
            Self::Problem { status, .. } => *status >= 500 || *status == 429,
        }
    }
}

/// RFC 9457, as far as we use it.
#[derive(Deserialize)]
struct Problem {
    code: String,
}

/// A status, the protocol header and the body: is this success of our server?
///
/// # Errors
/// The [`Refusal`] that it is instead.
pub fn judge(status: u16, protocol: Option<&str>, body: &[u8]) -> Result<(), Refusal> {
    match protocol {
        // A proxy in front of a server that is being restarted says 502 to 504 in its own name.
        None if (502..=504).contains(&status) => return Err(Refusal::Offline),
        None => return Err(Refusal::NotOurs),
        Some(PROTOCOL_VALUE) => {}
        Some(_) => return Err(Refusal::OtherProtocol),
    }
    if (200..300).contains(&status) {
        return Ok(());
    }
    let code =
        serde_json::from_slice::<Problem>(body).map_or_else(|_| format!("status_{status}"), |problem| problem.code);
    Err(Refusal::Problem { status, code })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]
    use super::*;
    use std::collections::BTreeSet;
    use std::path::PathBuf;

    #[test]
    fn a_login_page_of_a_hotel_is_not_our_server() {
        assert_eq!(judge(200, None, b"<html>"), Err(Refusal::NotOurs));
        assert_eq!(judge(0, None, b""), Err(Refusal::NotOurs));
        assert_eq!(judge(502, None, b"bad gateway"), Err(Refusal::Offline));
    }

    #[test]
    fn another_protocol_is_told_apart() {
        assert_eq!(judge(200, Some("2"), b"{}"), Err(Refusal::OtherProtocol));
        assert_eq!(judge(204, Some("1"), b""), Ok(()));
    }

    /// The codes that the server's code writes down: `Invalid("label")`, `Conflict("last_owner")`.
    fn codes_of_server() -> BTreeSet<String> {
        let mut codes = BTreeSet::new();
        let mut folders = vec![concat!(env!("CARGO_MANIFEST_DIR"), "/../server/src").into()];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir::<PathBuf>(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                    continue;
                }
                let text = std::fs::read_to_string(&path).unwrap_or_default();
                for mark in ["Invalid(\"", "Conflict(\""] {
                    let codes_here = text.split(mark).skip(1).filter_map(|rest| rest.split_once('"'));
                    codes.extend(codes_here.map(|(code, _)| code.to_owned()));
                }
            }
        }
        codes
    }

    #[test]
    fn every_refusal_of_a_form_has_a_sentence() {
        // What no form of a person can meet: uploads and sync speak for themselves.
        const OF_PROGRAMS: [&str; 7] =
            ["key", "key_known", "offset", "sync_version", "taken_over", "language", "decimal"];
        let codes = codes_of_server();
        assert!(codes.len() > 20, "{codes:?}");
        let dumb: Vec<&String> = codes
            .iter()
            .filter(|code| !OF_PROGRAMS.contains(&code.as_str()) && i18n::problem(code).is_none())
            .collect();
        assert!(dumb.is_empty(), "the server can say this and the app has no words for it: {dumb:?}");
    }

    #[test]
    fn the_code_of_a_problem_is_kept_and_has_words() {
        let refusal = judge(410, Some("1"), br#"{"code":"link_used","title":"Gone","status":410}"#);
        assert_eq!(refusal, Err(Refusal::Problem { status: 410, code: "link_used".to_owned() }));
        assert!(refusal.is_err_and(|refusal| refusal.is("link_used") && !refusal.may_pass()));
        let unknown = judge(500, Some("1"), b"not json");
        assert!(
            unknown.is_err_and(|refusal| refusal.may_pass() && !refusal.tell(Words::default()).contains("status_500")),
            "a program's word is no word for a person"
        );
    }
}
