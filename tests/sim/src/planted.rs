//! Faults that are planted on purpose. A run with one of them must end in a violation; a simulation that cannot see
//! these would not see ours either. Nothing but a test or `--planted` turns one on.

macro_rules! planted {
    ($($(#[$doc:meta])* $name:ident $word:literal;)*) => {
        /// One deliberate fault.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Planted { $($(#[$doc])* $name,)* }
        impl Planted {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];
            /// Its name on the command line.
            pub const fn word(self) -> &'static str { match self { $(Self::$name => $word,)* } }
        }
    };
}

planted! {
    // --- the server
    /// The answer leaves before the commit.
    AckBeforeCommit "ack-before-commit";
    /// Positions come from a sequence, without the firm's lock.
    PositionBySequence "position-by-sequence";
    /// The stamp is the clock's time at arrival, taken before the lock.
    StampOutsideLock "stamp-outside-lock";
    /// A repeated push is stored once more.
    NoIdempotency "no-idempotency";
    /// The same id with other bytes replaces what was there.
    LastWriterWins "last-writer-wins";
    /// Kinds that the server does not know are answered and not kept.
    DropUnknownKinds "drop-unknown-kinds";
    /// "Held" is said and nothing is kept.
    HeldForgotten "held-forgotten";
    /// An entry that a rule dislikes is refused.
    RefuseByRule "refuse-by-rule";
    /// One bad entry rolls the batch back, and the others are acknowledged.
    BadEntryUndoesBatch "bad-entry-undoes-batch";
    /// Verdicts go out in the order of storing, not in that of the push.
    VerdictsInStoringOrder "verdicts-in-storing-order";
    /// A pull leaves out what the asking person wrote.
    PullSkipsOwn "pull-skips-own";
    /// A pull gives the time of reading as the stamp.
    StampAtReading "stamp-at-reading";
    /// A restored server lives on under the old name.
    RestoreKeepsEpoch "restore-keeps-epoch";
    /// Entries that waited for their job are not let in when it comes.
    WaitingNeverReleased "waiting-never-released";
    /// A finished upload is not hashed.
    PhotoNotHashed "photo-not-hashed";
    /// "The bytes are here" is said once somebody has begun to send them.
    HaveTooSoon "have-too-soon";
    /// A photo that another job has counts for this one without being noted.
    ArrivalNotNoted "arrival-not-noted";
    /// A commit that failed is answered as done.
    FailedCommitIsDone "failed-commit-is-done";
    // --- the device
    /// Signing out empties the device.
    ForgetTrayAtSignOut "forget-tray-at-sign-out";
    /// A job that is not visible any more goes with its tray.
    DropWithTray "drop-with-tray";
    /// An entry counts as delivered once it was sent.
    ConfirmedWhenSent "confirmed-when-sent";
    /// A login page of the network counts as a success.
    AnyPageIsSuccess "any-page-is-success";
    /// "Saved" is said before the transaction is complete.
    SavedBeforeCommit "saved-before-commit";
    /// An answer is written piece by piece in no order.
    PlanInPieces "plan-in-pieces";
    /// The end of the chain is read before the transaction that writes.
    ChainReadOutside "chain-read-outside";
    /// Each tap makes an id of its own.
    IdAtEachTap "id-at-each-tap";
    /// The clock of an entry is the phone's, whatever the phone holds.
    PlainClock "plain-clock";
    /// A new life of the server does not make the phone offer again.
    NotOfferedAgain "not-offered-again";
    /// A new life of the server leaves positions as they are.
    PositionsOutliveEpoch "positions-outlive-epoch";
    /// The manifest's head is taken as the position.
    PositionFromManifest "position-from-manifest";
    /// What the server refuses is deleted.
    RefusedIsDeleted "refused-is-deleted";
    /// An entry from the server replaces an own one of the same id.
    PulledReplacesOwn "pulled-replaces-own";
    /// The phone forgets kinds that it does not know.
    PhoneDropsUnknown "phone-drops-unknown";
    /// A failing batch is never made smaller.
    NoHalving "no-halving";
    /// A session that ran out sets the tray aside.
    AsideAtSignIn "aside-at-sign-in";
    /// An own entry whose id the server has under other bytes counts as held before it was sent. This was ours.
    TakenIdIsHeld "taken-id-is-held";
    /// What was held for want of its job stays so when the job is there. This was ours.
    OrphansStay "orphans-stay";
    /// A photo counts as sent when its last slice was sent.
    PhotoDoneWhenSent "photo-done-when-sent";
    // --- the gates, which phone and server share
    /// A proof of dead outlives that its maker left the others.
    LeavingForgotten "leaving-forgotten";
    /// A proof of dead outlives a lock that changed hands.
    HandoverForgotten "handover-forgotten";
}

impl Planted {
    /// By its word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|planted| planted.word() == word)
    }
}
