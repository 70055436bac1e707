//! The one table that says what an HTTP status means for what was sent.

/// What to do after a status.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// Later, the same again.
    Retry,
    /// The access has run out: renew it, and ask the person if that fails.
    SignIn,
    /// Smaller, or set aside when it is a single item.
    TooLarge,
    /// A repeat changes nothing: kept, shown, others go on.
    SetAside,
    /// The thing addressed is not there: for an upload, make a new one.
    Gone,
    /// Ask how far the upload is before going on.
    AskAgain,
    /// The bytes that arrived are not those that the hash names.
    WrongBytes,
    /// The store of photos is full: photos wait, facts go on.
    PhotosWait,
    /// This app is too old for the server.
    Update,
    /// Not an answer of our server.
    NotOurs,
}

/// The table. An unknown refusal sets aside and never drops.
pub const fn class_of(status: u16) -> Class {
    match status {
        401 => Class::SignIn,
        404 | 410 => Class::Gone,
        408 | 425 | 429 => Class::Retry,
        409 | 423 => Class::AskAgain,
        413 => Class::TooLarge,
        426 => Class::Update,
        460 => Class::WrongBytes,
        507 => Class::PhotosWait,
        511 => Class::NotOurs,
        400..=499 => Class::SetAside,
        500..=599 => Class::Retry,
        _ => Class::NotOurs,
    }
}

/// Statuses that speak of the whole server and not of what was sent.
pub(super) const fn is_of_the_whole(status: u16) -> bool {
    matches!(status, 429 | 502 | 503 | 504)
}
