//! What may go over which line. A person may keep the full photos on a phone until there is Wi-Fi; facts and previews are small,
//! others wait for them, and they always go.

use super::row::PhotoRole;

/// What a device knows of the line that it has now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Line {
    /// Wi-Fi or a cable.
    Free,
    /// Mobile data, or somebody asked this browser to spare data.
    Metered,
    /// The browser does not say.
    #[default]
    Unknown,
}

impl Line {
    /// From the words of the Network Information API: `connection.type`, where there is one, and `connection.saveData`.
    pub fn of(kind: Option<&str>, saves_data: bool) -> Self {
        match kind {
            _ if saves_data => Self::Metered,
            Some("wifi" | "ethernet") => Self::Free,
            Some("cellular" | "bluetooth" | "wimax") => Self::Metered,
            // "none", "other", "unknown", and words that do not exist yet.
            Some(_) | None => Self::Unknown,
        }
    }
}

/// What decides whether a photo may go now. The usual one lets everything go.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PhotoRule {
    /// The person keeps full photos here until there is Wi-Fi.
    pub until_wifi: bool,
    /// The line.
    pub line: Line,
    /// When the person last said "send now", device clock: what was there by then goes over any line.
    pub released_ms: Option<u64>,
}

impl PhotoRule {
    /// May this file go over this line? A line that nobody can name counts as one that costs: the switch would otherwise do nothing
    /// where it was set for a reason.
    pub const fn lets_go(&self, role: PhotoRole, added_ms: u64) -> bool {
        match (role, self.until_wifi, self.line) {
            (PhotoRole::Preview, _, _) | (_, false, _) | (_, _, Line::Free) => true,
            (PhotoRole::Original, true, Line::Metered | Line::Unknown) => match self.released_ms {
                Some(released_ms) => added_ms <= released_ms,
                None => false,
            },
        }
    }
}

/// What is kept back by [`PhotoRule`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct HeldBack {
    /// How many photos.
    pub photos: u32,
    /// How many bytes of them are not with the server.
    pub bytes: u64,
    /// The line that they wait on.
    pub line: Line,
}

#[cfg(test)]
mod tests {
    use super::*;

    const ADDED: u64 = 1_767_225_600_000;

    fn rule(line: Line, released_ms: Option<u64>) -> PhotoRule {
        PhotoRule { until_wifi: true, line, released_ms }
    }

    #[test]
    fn a_line_is_named_by_what_the_browser_says() {
        for (kind, saves, line) in [
            (Some("wifi"), false, Line::Free),
            (Some("ethernet"), false, Line::Free),
            (Some("wifi"), true, Line::Metered),
            (Some("cellular"), false, Line::Metered),
            (None, true, Line::Metered),
            (None, false, Line::Unknown),
            (Some("none"), false, Line::Unknown),
            (Some("satellite"), false, Line::Unknown),
        ] {
            assert_eq!(Line::of(kind, saves), line, "{kind:?} {saves}");
        }
    }

    #[test]
    fn only_originals_wait_and_only_where_a_person_wants_it() {
        for line in [Line::Free, Line::Metered, Line::Unknown] {
            let off = PhotoRule { line, ..PhotoRule::default() };
            assert!(off.lets_go(PhotoRole::Original, ADDED), "off: {line:?}");
            assert!(rule(line, None).lets_go(PhotoRole::Preview, ADDED), "a preview: {line:?}");
            assert_eq!(rule(line, None).lets_go(PhotoRole::Original, ADDED), line == Line::Free, "{line:?}");
        }
    }

    #[test]
    fn send_now_lets_go_what_is_there_and_nothing_later() {
        for line in [Line::Metered, Line::Unknown] {
            let released = rule(line, Some(ADDED));
            assert!(released.lets_go(PhotoRole::Original, ADDED));
            assert!(!released.lets_go(PhotoRole::Original, ADDED + 1));
        }
    }
}
