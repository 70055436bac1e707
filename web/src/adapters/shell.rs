//! Whether this device holds the app, so that it opens without a network. `start.js` has it stored, tries again, and knows why not.

use js_sys::Reflect;
use wasm_bindgen::prelude::*;

/// `start.js` tells that [`now`] has changed.
const CHANGED: &str = "witnessmark:shell";
/// The page asks `start.js` to try again.
const STORE: &str = "witnessmark:store";
/// Where `start.js` keeps it.
const PLACE: &str = "witnessmarkShell";

/// How far the storing is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Shell {
    /// Under way.
    #[default]
    Asked,
    /// The app opens without a network.
    Stored,
    /// It does not, and is tried again.
    Refused(Why),
}

/// What forbids it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Why {
    /// Of which file; empty where it is none.
    pub file: String,
    /// What is wrong.
    pub ground: Ground,
}

/// What is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ground {
    /// It is answered through a redirect that must not be followed, or that leads to something else.
    Redirect,
    /// The redirect leads to another server.
    Elsewhere,
    /// It is answered with this status.
    Status(u16),
    /// It is not what belongs to this version.
    Bytes,
    /// It cannot be fetched.
    Unreachable,
    /// There is no room for it.
    Full,
    /// This browser stores no app at this address.
    NoWorkers,
    /// Nobody says.
    Unknown,
}

impl Ground {
    /// Reads the words of `start.js` and `sw.js`.
    pub fn of(text: &str) -> Self {
        match text {
            "redirect" => Self::Redirect,
            "elsewhere" => Self::Elsewhere,
            "bytes" => Self::Bytes,
            "unreachable" => Self::Unreachable,
            "full" => Self::Full,
            "no workers" => Self::NoWorkers,
            other => {
                other.strip_prefix("status ").and_then(|status| status.parse().ok()).map_or(Self::Unknown, Self::Status)
            }
        }
    }
}

/// How far it is.
pub fn now() -> Shell {
    let told = web_sys::window().and_then(|window| Reflect::get(&window.into(), &PLACE.into()).ok());
    let word = |name: &str| {
        let word = Reflect::get(told.as_ref()?, &name.into()).ok();
        word.and_then(|word| word.as_string())
    };
    match word("state").as_deref() {
        Some("stored") => Shell::Stored,
        Some("refused") => Shell::Refused(Why {
            file: word("file").unwrap_or_default(),
            ground: Ground::of(&word("ground").unwrap_or_default()),
        }),
        Some(_) | None => Shell::Asked,
    }
}

/// Runs `news` at each change. Lives as long as the page.
pub fn on_change(news: impl Fn() + 'static) {
    let Some(window) = web_sys::window() else { return };
    let listener = Closure::<dyn Fn()>::new(news);
    let _ = window.add_event_listener_with_callback(CHANGED, listener.as_ref().unchecked_ref());
    listener.forget();
}

/// Asks for another attempt now.
pub fn try_again() {
    if let (Some(window), Ok(event)) = (web_sys::window(), web_sys::CustomEvent::new(STORE)) {
        let _ = window.dispatch_event(&event);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grounds_are_read_and_what_nobody_knows_is_not_guessed() {
        assert_eq!(Ground::of("redirect"), Ground::Redirect);
        assert_eq!(Ground::of("status 503"), Ground::Status(503));
        for unknown in ["", "status", "status x", "Error: something"] {
            assert_eq!(Ground::of(unknown), Ground::Unknown, "{unknown}");
        }
    }
}
