//! Windows of one browser send by turns. Another one may have the turn and do nothing with it: it was put to sleep, or its page broke.
//! Nothing depends on the turn, for every message may be sent twice; it is there to spare the line.

/// So long the window that has the turn may bring nothing before the turn is taken from it.
pub const TAKE_OVER_MS: u64 = 30_000;
/// From here on it is told: before, the other window is most likely about to end.
pub const TELL_MS: u64 = 3_000;

/// What this window knows of the one that has the turn. Times are those of the running page, which stand still where it sleeps.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Elsewhere {
    shut_out_since_ms: Option<u64>,
    silent_since_ms: u64,
    by_hand: bool,
}

impl Elsewhere {
    /// This window wanted the turn, and another one has it.
    pub fn shut_out(&mut self, now_ms: u64) {
        if self.shut_out_since_ms.is_none() {
            self.shut_out_since_ms = Some(now_ms);
            self.silent_since_ms = now_ms;
        }
    }

    /// The server has just answered another window: the turn is in use.
    pub const fn heard(&mut self, now_ms: u64) {
        self.silent_since_ms = now_ms;
    }

    /// This window has had the turn.
    pub fn had_turn(&mut self) {
        *self = Self::default();
    }

    /// A person wants it to go on here. `false`: nobody else has the turn.
    pub const fn ask(&mut self) -> bool {
        self.by_hand = self.shut_out_since_ms.is_some();
        self.by_hand
    }

    /// Is it said that another window is sending?
    pub fn is_told(&self, now_ms: u64) -> bool {
        self.shut_out_since_ms.is_some_and(|since| now_ms >= since + TELL_MS)
    }

    /// Is the turn taken now, whoever has it?
    pub fn takes_over(&self, now_ms: u64) -> bool {
        self.by_hand || (self.shut_out_since_ms.is_some() && now_ms >= self.silent_since_ms + TAKE_OVER_MS)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_that_brings_nothing_loses_its_turn_and_one_that_works_keeps_it() {
        let mut other = Elsewhere::default();
        assert!(!other.takes_over(1_000_000) && !other.is_told(1_000_000), "nobody is in the way");
        other.shut_out(1_000);
        other.shut_out(2_000);
        assert!(!other.is_told(3_999) && other.is_told(4_000));
        assert!(!other.takes_over(30_999) && other.takes_over(31_000));
        other.heard(30_000);
        assert!(!other.takes_over(59_999) && other.takes_over(60_000), "it was at work until then");
        assert!(other.is_told(59_999));
        other.had_turn();
        assert!(!other.takes_over(1_000_000));
    }

    #[test]
    fn a_person_does_not_wait_for_it() {
        let mut other = Elsewhere::default();
        assert!(!other.ask() && !other.takes_over(0), "nobody is in the way");
        other.shut_out(1_000);
        assert!(other.ask() && other.takes_over(1_000));
        other.had_turn();
        assert!(!other.takes_over(1_000));
    }
}
