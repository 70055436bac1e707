//! The permission table: role × action × ownership. Nothing else in the product decides who may do what.
//!
//! A permit says that a role may do such a thing at all. Whether the thing can be done now (a job is sealed, a gate is
//! shut) is the job file's business.

use super::Role;
use crate::job_file::body::Body;

/// Something that a person does through the service.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Action {
    /// Names, roles and tickets of the firm's people.
    SeePeople,
    /// E-mail address, whether active, last seen.
    SeePeopleDetails,
    /// Send an invitation.
    InvitePerson,
    /// Roles, name, tickets, active or not.
    ChangePerson,
    /// Language and number format.
    ChangePreferences,
    /// The PIN that countersigns: it stands for a person's word, so nobody sets it for another.
    SetPin,
    /// A one-time link for a new password.
    ResetPassword,
    /// The list of enrolments.
    SeeDevices,
    /// End an enrolment.
    RevokeDevice,
    /// Instruments, models and methods.
    SeeReference,
    /// Add or change an instrument.
    ChangeInstruments,
    /// Add a model or a version of one.
    ChangeModels,
    /// Copy a rule set, add a version of the firm's own.
    ChangeRules,
    /// Push and pull entries.
    Sync,
    /// A job's entries, photos and report. Own: assigned to it.
    SeeJob,
    /// Send a photo that an entry names. Own: taken by oneself.
    SendPhoto,
    /// Registration desk and the data for makers and network operators.
    SeeRegistration,
    /// The serial ledger.
    SeeUnits,
    /// Entries that the server holds.
    SeeHeld,
    /// Entries that plan: job, equipment, design, crew, day.
    WritePlan,
    /// Entries of the desk: site details, consent, a photo that will not come.
    WriteSite,
    /// Entries that record what was done and found.
    WriteEvidence,
    /// Entries that decide: deviation, resolved stop, review.
    WriteDecision,
    /// Words, and "stop work".
    WriteRemark,
    /// The server's own entries: no person writes them.
    WriteFinding,
    /// Have the server seal a job that has passed.
    SealJob,
}

impl Action {
    /// All of them, in the order of the table.
    pub const ALL: [Self; 26] = [
        Self::SeePeople,
        Self::SeePeopleDetails,
        Self::InvitePerson,
        Self::ChangePerson,
        Self::ChangePreferences,
        Self::SetPin,
        Self::ResetPassword,
        Self::SeeDevices,
        Self::RevokeDevice,
        Self::SeeReference,
        Self::ChangeInstruments,
        Self::ChangeModels,
        Self::ChangeRules,
        Self::Sync,
        Self::SeeJob,
        Self::SendPhoto,
        Self::SeeRegistration,
        Self::SeeUnits,
        Self::SeeHeld,
        Self::WritePlan,
        Self::WriteSite,
        Self::WriteEvidence,
        Self::WriteDecision,
        Self::WriteRemark,
        Self::WriteFinding,
        Self::SealJob,
    ];
}

/// How the person stands to the thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ownership {
    /// Theirs: their own device, a job that they are assigned to.
    Own,
    /// Somebody else's of the same firm.
    Firm,
}

/// Proof that the table was asked and said yes. Functions that write demand one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Permit {
    action: Action,
}

impl Permit {
    /// What was permitted.
    pub const fn action(self) -> Action {
        self.action
    }
}

/// Asks the table.
///
/// ```
/// use domain::people::{Action, Ownership, Role, may};
/// assert!(may(&[Role::Technician], Action::RevokeDevice, Ownership::Own).is_some());
/// assert!(may(&[Role::Technician], Action::RevokeDevice, Ownership::Firm).is_none());
/// ```
pub fn may(roles: &[Role], action: Action, ownership: Ownership) -> Option<Permit> {
    roles.iter().any(|role| role_may(*role, action, ownership)).then_some(Permit { action })
}

const fn role_may(role: Role, action: Action, ownership: Ownership) -> bool {
    use Action as A;
    let own = matches!(ownership, Ownership::Own);
    let owner = matches!(role, Role::Owner);
    let lead = matches!(role, Role::Lead);
    let office = matches!(role, Role::Office);
    match action {
        // Whoever works at the firm.
        A::SeePeople | A::SeeReference | A::Sync | A::WriteRemark => true,
        // One's own affairs, and the owner for everybody. Seeing details of oneself is no secret either.
        A::SeePeopleDetails | A::SeeDevices | A::RevokeDevice => own || owner,
        A::ChangePreferences => own || owner,
        A::SetPin => own,
        A::InvitePerson | A::ChangePerson | A::ResetPassword => owner,
        A::ChangeInstruments | A::ChangeModels | A::SeeRegistration | A::SeeUnits | A::SeeHeld | A::WriteSite => {
            owner || lead || office
        }
        A::SeeJob | A::SendPhoto => own || owner || lead || office,
        // A rule set decides what passes, and a seal closes what was decided: whoever plans and decides.
        A::ChangeRules | A::WritePlan | A::WriteDecision | A::SealJob => owner || lead,
        // An owner who also works on site holds the role for it: evidence stands under a licence.
        A::WriteEvidence => matches!(role, Role::Lead | Role::Technician),
        A::WriteFinding => false,
    }
}

/// The class that an entry's body belongs to.
pub const fn class_of(body: &Body) -> Action {
    match body {
        Body::JobPlanned(_)
        | Body::Equipment(_)
        | Body::DesignInputs(_)
        | Body::Schedule(_)
        | Body::Assignment(_)
        | Body::Withdrawn(_) => Action::WritePlan,
        Body::Consent(_) | Body::SiteDetails(_) | Body::PhotoAbsent(_) => Action::WriteSite,
        Body::Photo(_)
        | Body::Reading(_)
        | Body::Serial(_)
        | Body::Confirmation(_)
        | Body::Choice(_)
        | Body::Waited(_)
        | Body::Words(_)
        | Body::Countersign(_)
        | Body::CountersignProof(_)
        | Body::Signature(_)
        | Body::Drawing(_)
        | Body::DeviationByVoice(_)
        | Body::Retraction(_)
        | Body::CautionsRead(_)
        | Body::DeviationAsked(_)
        | Body::Paused(_)
        | Body::Resumed(_)
        | Body::WentAway(_)
        | Body::CameBack(_)
        | Body::LockHandedOver(_)
        | Body::Submitted(_) => Action::WriteEvidence,
        // Anybody who sees a danger may stop the work, and every device writes down the server's number.
        Body::Remark(_) | Body::StopWork(_) | Body::DrawnNumber(_) => Action::WriteRemark,
        Body::DeviationDecided(_)
        | Body::StopResolved(_)
        | Body::Returned(_)
        | Body::Passed(_)
        | Body::VoiceAnswerShown(_)
        | Body::BreachSettled(_) => Action::WriteDecision,
        Body::Finding(_) | Body::OriginDoubt(_) | Body::VoiceAnswers(_) | Body::Sealed(_) => Action::WriteFinding,
    }
}

/// May somebody with these roles write such an entry? On which job is not asked here: an entry on a job of other
/// people's is kept and looked at, never lost.
pub fn may_write(roles: &[Role], body: &Body) -> bool {
    may(roles, class_of(body), Ownership::Own).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::fmt::Write as _;

    /// The whole table as text: for each action who may, on their own things and on the firm's.
    fn table() -> String {
        let mut out = String::new();
        for action in Action::ALL {
            let who = |ownership| {
                let words: Vec<&str> = Role::ALL
                    .into_iter()
                    .filter(|role| may(&[*role], action, ownership).is_some())
                    .map(Role::word)
                    .collect();
                match words.len() {
                    0 => "nobody".to_owned(),
                    4 => "all".to_owned(),
                    _ => words.join(" "),
                }
            };
            let (own, firm) = (who(Ownership::Own), who(Ownership::Firm));
            if own == firm {
                writeln!(out, "{action:?}: {own}")
            } else {
                writeln!(out, "{action:?}: own {own}; firm {firm}")
            }
            .expect("writing to a String");
        }
        out
    }

    #[test]
    fn the_table_is_this() {
        let expected = "\
SeePeople: all
SeePeopleDetails: own all; firm owner
InvitePerson: owner
ChangePerson: owner
ChangePreferences: own all; firm owner
SetPin: own all; firm nobody
ResetPassword: owner
SeeDevices: own all; firm owner
RevokeDevice: own all; firm owner
SeeReference: all
ChangeInstruments: owner lead office
ChangeModels: owner lead office
ChangeRules: owner lead
Sync: all
SeeJob: own all; firm owner lead office
SendPhoto: own all; firm owner lead office
SeeRegistration: owner lead office
SeeUnits: owner lead office
SeeHeld: owner lead office
WritePlan: owner lead
WriteSite: owner lead office
WriteEvidence: lead technician
WriteDecision: owner lead
WriteRemark: all
WriteFinding: nobody
SealJob: owner lead
";
        assert_eq!(table(), expected);
    }

    #[test]
    fn all_lists_each_action_once() {
        let mut sorted = Action::ALL.to_vec();
        sorted.dedup();
        assert_eq!(sorted.len(), Action::ALL.len());
        assert_eq!(Action::SealJob as usize + 1, Action::ALL.len());
        assert!(Action::ALL.iter().enumerate().all(|(at, action)| *action as usize == at));
    }

    #[test]
    fn roles_add_up_and_none_is_nothing() {
        for action in Action::ALL {
            for ownership in [Ownership::Own, Ownership::Firm] {
                assert_eq!(may(&[], action, ownership), None);
                for left in Role::ALL {
                    for right in Role::ALL {
                        let either =
                            may(&[left], action, ownership).is_some() || may(&[right], action, ownership).is_some();
                        assert_eq!(may(&[left, right], action, ownership).is_some(), either);
                    }
                }
            }
        }
    }

    #[test]
    fn the_office_helps_but_does_not_decide() {
        use crate::job_file::body::{Plain, SiteDetails};
        let office = [Role::Office];
        assert!(may_write(&office, &Body::SiteDetails(SiteDetails::default())));
        assert!(!may_write(&office, &Body::Passed(Plain {})));
        assert!(!may_write(&office, &Body::Submitted(Plain {})));
        assert!(may_write(&[Role::Technician], &Body::Submitted(Plain {})));
        assert!(!may_write(&[Role::Technician], &Body::SiteDetails(SiteDetails::default())));
        assert!(!may_write(&[Role::Owner], &Body::Resumed(Plain {})));
    }
}
