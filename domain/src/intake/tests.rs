//! One case a reason, and the order of a batch.

#![allow(clippy::unwrap_used, reason = "tests may")]

use super::*;
use crate::ids::{EntryId, Hash32, SiteId, uuid_v7};
use crate::job_file::body::{JobPlanned, MethodRef, Plain, Purpose};
use crate::job_file::{ChainHead, Draft};

const NOW_MS: u64 = 1_767_225_600_000;

fn id(n: u8) -> uuid::Uuid {
    uuid_v7(NOW_MS, &[n; 10])
}

fn entry(author: u8, device: u8, job: u8, body: Body) -> Entry {
    let draft = Draft {
        id: EntryId::of(id(100 + job + author)),
        firm: FirmId::of(id(1)),
        job: JobId::of(id(job)),
        author: PersonId::of(id(author)),
        device: DeviceId::of(id(device)),
        salt: [0; 16],
        body,
    };
    Entry::write(draft, ChainHead::START, 0, NOW_MS * 1_000, 0)
}

fn planned() -> Body {
    let method = MethodRef { id: "m".into(), version: 1, hash: Hash32::NONE };
    let site = SiteId::of(id(50));
    Body::JobPlanned(JobPlanned { purpose: Purpose::Install, site, method, rule_set: "r".into() })
}

fn resumed() -> Body {
    Body::Resumed(Plain {})
}

fn judged(roles: &[Role], revoked: Option<bool>, shut_out: bool, entry: &Entry) -> Judged {
    let devices = revoked.map(|revoked| (DeviceId::of(id(20)), revoked)).into_iter().collect();
    let sender = Sender { firm: FirmId::of(id(1)), person: PersonId::of(id(2)), roles, devices: &devices, shut_out };
    judge(&sender, entry.bytes())
}

fn why(judged: &Judged) -> Option<HeldWhy> {
    match judged {
        Judged::Held(_, why) => Some(*why),
        Judged::Good(_) => None,
        Judged::Refused(why) => panic!("{why:?}"),
    }
}

#[test]
fn each_reason_for_holding() {
    let crew = [Role::Technician];
    let good = entry(2, 20, 3, resumed());
    assert_eq!(why(&judged(&crew, Some(false), false, &good)), None);
    assert_eq!(why(&judged(&crew, Some(false), true, &good)), Some(HeldWhy::DeviceRevoked));
    assert_eq!(why(&judged(&crew, Some(true), false, &good)), Some(HeldWhy::DeviceRevoked));
    assert_eq!(why(&judged(&crew, None, false, &good)), Some(HeldWhy::DeviceNotYours));
    assert_eq!(why(&judged(&[Role::Office], Some(false), false, &good)), Some(HeldWhy::RoleMayNot));
    let of_another = entry(9, 20, 3, resumed());
    assert_eq!(why(&judged(&crew, Some(false), false, &of_another)), Some(HeldWhy::AuthorNotYou));
}

#[test]
fn what_is_no_entry_of_the_firm_is_refused() {
    let devices = BTreeMap::new();
    let sender =
        Sender { firm: FirmId::of(id(2)), person: PersonId::of(id(2)), roles: &[], devices: &devices, shut_out: false };
    assert_eq!(judge(&sender, &[0xff]), Judged::Refused(RefusedWhy::Malformed));
    let other = entry(2, 20, 3, resumed());
    assert_eq!(judge(&sender, other.bytes()), Judged::Refused(RefusedWhy::OtherFirm));
    assert_eq!(judge(&sender, &vec![0; 70_000]), Judged::Refused(RefusedWhy::TooLarge));
}

#[test]
fn a_batch_may_bring_its_job_and_the_plan_goes_first() {
    let lead = [Role::Lead];
    let judge = |entry: &Entry| judged(&lead, Some(false), false, entry);
    let batch = vec![judge(&entry(2, 20, 3, resumed())), judge(&entry(2, 20, 3, planned()))];
    let batch = hold_without_job(batch, &BTreeSet::new());
    assert_eq!(storing_order(&batch), [1, 0]);

    let orphan = hold_without_job(vec![judge(&entry(2, 20, 4, resumed()))], &BTreeSet::new());
    assert_eq!(why(&orphan[0]), Some(HeldWhy::NoSuchJob));
    let known = hold_without_job(vec![judge(&entry(2, 20, 4, resumed()))], &[JobId::of(id(4))].into());
    assert_eq!(why(&known[0]), None);
}

#[test]
fn positions_have_no_gap_and_stamps_never_go_back() {
    let (one, two) = (JobId::of(id(3)), JobId::of(id(4)));
    let mut numbering = Numbering { last_stamp_us: 10, heads: [(one, 7)].into() };
    let stamps = [numbering.next(one, 5), numbering.next(two, 5), numbering.next(one, 90), numbering.next(one, 90)];
    let pairs: Vec<(u64, u64)> = stamps.iter().map(|stamp| (stamp.position, stamp.time_us)).collect();
    assert_eq!(pairs, [(8, 11), (1, 12), (9, 90), (10, 91)]);
}
