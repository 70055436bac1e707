//! The bytes of every version of an entry. They are never regenerated: a change that moves one of them needs a new
//! header version and new lines here, beside the old ones.
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

use domain::ids::{
    CaptureId, DeviceId, EntryId, FirmId, Hash32, InstrumentId, JobId, ModelId, PersonId, SiteId, uuid_v7,
};
use domain::job_file::body::*;
use domain::job_file::{Body, ChainHead, Content, Draft, Entry, Place};

const GOLDEN: &str = include_str!("golden/entries_v1.txt");
/// A chain of its own: entries with the signature of their device, and what the server says of signatures.
const GOLDEN_ORIGIN: &str = include_str!("golden/entries_v1_origin.txt");

fn id(number: u8) -> uuid::Uuid {
    uuid_v7(1_767_225_600_000 + u64::from(number), &[number; 10])
}

fn file(number: u8) -> PhotoFile {
    PhotoFile { hash: Hash32::of([number; 32]), bytes: 3_141_592, width: 4032, height: 3024, media: MediaType::Jpeg }
}

/// One body of each kind, every optional field present.
fn bodies() -> Vec<Body> {
    let at = || Place::of("module-voltage", 3, "ocv");
    let entry = |number| EntryId::of(id(number));
    vec![
        Body::JobPlanned(JobPlanned {
            purpose: Purpose::Install,
            site: SiteId::of(id(1)),
            method: MethodRef { id: "series-stack-floor".into(), version: 1, hash: Hash32::of([2; 32]) },
            rule_set: "neutral 1".into(),
        }),
        Body::Equipment(Equipment {
            models: vec![ModelSnapshot {
                model: ModelId::of(id(3)),
                version: 2,
                kind: UnitKind::Module,
                maker: "Maker".into(),
                name: "Model".into(),
                gtin: Some("09521234543213".into()),
                serial_prefix: "MK".into(),
                serial_length: (8, 12),
                values: vec![("ocv_max".into(), 54_000_000), ("ocv_min".into(), -1)],
            }],
            slots: vec![Slot { number: 1, model: 0, new: true }],
        }),
        Body::DesignInputs(DesignInputs { values: vec![("ambient".into(), 20_000_000)] }),
        Body::Consent(Consent { state: ConsentState::Granted, reference: "N-1".into() }),
        Body::SiteDetails(SiteDetails {
            householder: "H".into(),
            street: "S".into(),
            town: "T".into(),
            phone: "P".into(),
            email: "E".into(),
            grid_point: "G".into(),
            access: "A".into(),
            zone: "Etc/UTC".into(),
        }),
        Body::Schedule(Schedule { day: "2026-01-02".into(), start: "08:00".into() }),
        Body::Assignment(Assignment {
            crew: vec![Assigned {
                person: PersonId::of(id(4)),
                role: CrewRole::Technician,
                tickets: vec![Ticket { kind: "dc".into(), expires: "2027-01-01".into() }],
            }],
        }),
        Body::Withdrawn(Plain {}),
        Body::Photo(Photo {
            at: at(),
            capture: CaptureId::of(id(5)),
            original: file(6),
            preview: Some(file(7)),
            taken_ms: 1_767_225_600_123,
            origin: PhotoOrigin::Imported,
            corrects: Some(entry(8)),
            kept_anyway: true,
        }),
        Body::Reading(Reading {
            at: at(),
            raw: "51,2".into(),
            micro: Some(-51_200_000),
            unit: 1,
            sign: Sign::Greater,
            quality: ReadingQuality::Ok,
            instrument: Some(InstrumentSnapshot {
                id: InstrumentId::of(id(9)),
                kind: "dc-meter".into(),
                label: "M1".into(),
                calibration_due: "2026-12-31".into(),
            }),
            corrects: Some(entry(8)),
            test_voltage: Some(500_000_000),
        }),
        Body::Serial(SerialRead {
            at: at(),
            raw: "S/N: abc".into(),
            stored: "abc".into(),
            source: SerialSource::Typed,
            gtin: Some("09521234543213".into()),
            lot: Some("L".into()),
            corrects: Some(entry(8)),
        }),
        Body::Confirmation(Confirmation {
            at: at(),
            statement: Hash32::of([10; 32]),
            person: Some(PersonId::of(id(4))),
            named_in: Some(entry(11)),
            corrects: Some(entry(8)),
        }),
        Body::Choice(Choice { at: at(), option: "even".into(), corrects: Some(entry(8)) }),
        Body::Waited(Waited { at: at(), elapsed_ms: 300_001, corrects: Some(entry(8)) }),
        Body::Remark(Remark { at: Some(at()), text: "Größe ✓".into() }),
        Body::Retraction(Retraction { target: entry(8), remark: Some(entry(11)) }),
        Body::CautionsRead(CautionsRead { at: at(), cautions: vec!["arc".into(), "weight".into()] }),
        Body::DeviationAsked(DeviationAsked { at: at(), remark: entry(11), photo: file(6), preview: Some(file(7)) }),
        Body::DeviationDecided(DeviationDecided { asked: entry(12), allowed: true, remark: Some(entry(11)) }),
        Body::StopWork(StopWork { cause: StopCause::Other, at: Some(at()), remark: Some(entry(11)) }),
        Body::StopResolved(StopResolved { stop: entry(13), remark: entry(11) }),
        Body::Paused(Paused { left_as: LeftAs::NotConnected, remark: Some(entry(11)) }),
        Body::Resumed(Plain {}),
        Body::Submitted(Plain {}),
        Body::Returned(Returned { at: at(), remark: entry(11) }),
        Body::Passed(Plain {}),
        Body::BreachSettled(Settled { entry: entry(14), remark: entry(11) }),
        Body::PhotoAbsent(PhotoAbsent { hash: Hash32::of([6; 32]), remark: entry(11) }),
        Body::Finding(Finding { code: FindingCode::SerialElsewhere, about: entry(14), other: Some(entry(15)) }),
        // From here on in the order in which they were added, so that no earlier line of the chain moves.
        Body::Countersign(Countersign {
            at: at(),
            statement: Hash32::of([10; 32]),
            person: PersonId::of(id(4)),
            proof: entry(16),
            corrects: Some(entry(8)),
        }),
        Body::CountersignProof(CountersignProof {
            of: entry(17),
            key: Hash32::of([18; 32]),
            sealed: vec![19; 48].into(),
        }),
        Body::Signature(Signature {
            at: at(),
            text: Hash32::of([10; 32]),
            drawing: entry(20),
            person: Some(PersonId::of(id(4))),
            named_in: Some(entry(11)),
            corrects: Some(entry(8)),
        }),
        Body::Drawing(Drawing { size: (1_000, 500), strokes: vec![vec![(0, 0), (300, 499)], vec![(1_000, 24)]] }),
        Body::VoiceAnswers(VoiceAnswers {
            salt: vec![21; 16].into(),
            rounds: 20_000,
            answers: vec![VoiceAnswer { at: at(), hash: Hash32::of([22; 32]) }],
        }),
        Body::VoiceAnswerShown(VoiceAnswerShown { issue: entry(23), at: at() }),
        Body::DeviationByVoice(DeviationByVoice { asked: entry(12), issue: entry(23), proof: Hash32::of([24; 32]) }),
        Body::Finding(Finding { code: FindingCode::CountersignConfirmed, about: entry(17), other: None }),
        Body::Finding(Finding { code: FindingCode::CountersignWrong, about: entry(17), other: None }),
        Body::Sealed(Sealed {
            number: 2,
            up_to: 1_000_000,
            manifest: Hash32::of([25; 32]),
            key: Hash32::of([26; 32]),
            by: PersonId::of(id(4)),
        }),
        Body::DrawnNumber(DrawnNumber { number: Hash32::of([27; 32]) }),
        Body::Words(Words { at: at(), text: "Größe ✓ V1.02".into(), corrects: Some(entry(8)) }),
        Body::WentAway(Plain {}),
        Body::CameBack(Plain {}),
        Body::LockHandedOver(LockHandedOver { to: PersonId::of(id(4)) }),
    ]
}

fn origin_bodies() -> Vec<Body> {
    let doubt = |code| Body::OriginDoubt(OriginDoubt { code, about: EntryId::of(id(14)) });
    let remark = Body::Remark(Remark { at: None, text: "signed".into() });
    let codes = [
        DoubtCode::BadSignature,
        DoubtCode::NotSigned,
        DoubtCode::UnknownDevice,
        DoubtCode::NotTheirDevice,
        DoubtCode::AfterRevocation,
        DoubtCode::SeenLess,
    ];
    core::iter::once(remark).chain(codes.map(doubt)).collect()
}

/// The first carries a signature; which one plays no part in these bytes.
fn origin_entries() -> Vec<Entry> {
    let mut entries = written(origin_bodies());
    let first = entries.remove(0).with_signature((0..64).collect());
    entries.insert(0, first);
    entries
}

fn entries() -> Vec<Entry> {
    written(bodies())
}

fn written(bodies: Vec<Body>) -> Vec<Entry> {
    let mut head = ChainHead::START;
    bodies
        .into_iter()
        .enumerate()
        .map(|(number, body)| {
            let number = u8::try_from(number).unwrap();
            let draft = Draft {
                id: EntryId::of(id(100 + number)),
                firm: FirmId::of(id(50)),
                job: JobId::of(id(51)),
                author: PersonId::of(id(52)),
                device: DeviceId::of(id(53)),
                salt: [number; 16],
                body,
            };
            let entry = Entry::write(draft, head, u64::from(number), 1_767_225_600_000_000, 7);
            head = entry.as_head();
            entry
        })
        .collect()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|at| u8::from_str_radix(&text[at..at + 2], 16).unwrap()).collect()
}

fn check_bytes(entries: &[Entry], golden: &str) {
    let lines: Vec<String> =
        entries.iter().map(|entry| format!("{} {} {}", entry.header.kind, hex(entry.bytes()), entry.hash)).collect();
    let golden: Vec<&str> = golden.lines().collect();
    for (line, golden) in lines.iter().zip(&golden) {
        assert_eq!(line, golden);
    }
    assert_eq!(lines.len(), golden.len(), "computed:\n{}", lines.join("\n"));
}

#[test]
fn each_kind_has_its_bytes() {
    check_bytes(&entries(), GOLDEN);
    check_bytes(&origin_entries(), GOLDEN_ORIGIN);
}

#[test]
fn golden_bytes_still_read_as_what_they_said() {
    for (golden, bodies) in [(GOLDEN, bodies()), (GOLDEN_ORIGIN, origin_bodies())] {
        assert_eq!(golden.lines().count(), bodies.len());
        for (line, body) in golden.lines().zip(bodies) {
            let bytes = unhex(line.split(' ').nth(1).unwrap());
            let entry = Entry::read(&bytes).unwrap();
            assert_eq!(entry.content, Content::Body(body));
            assert_eq!(entry.bytes(), bytes);
        }
    }
    let kinds: std::collections::BTreeSet<u32> = bodies().iter().chain(&origin_bodies()).map(Body::kind).collect();
    assert_eq!(kinds.len(), Body::KINDS.len(), "every kind has its line");
    assert!(Body::KINDS.contains(&(Body::COUNTERSIGN_PROOF, "CountersignProof")));
    assert!(Body::KINDS.contains(&(Body::DRAWING, "Drawing")));
}

#[test]
fn bytes_that_are_not_canonical_are_refused() {
    use domain::job_file::NotAnEntry;
    let good = entries()[0].bytes().to_vec();
    assert!(Entry::read(&good).is_ok());
    let mut longer = good.clone();
    longer.push(0);
    assert_eq!(Entry::read(&longer), Err(NotAnEntry::Malformed));
    let mut turned = good.clone();
    let last = turned.len() - 1;
    turned[last] ^= 1;
    assert_eq!(Entry::read(&turned), Err(NotAnEntry::BodyHash));
    assert_eq!(Entry::read(&vec![0; domain::wire::limits::ENTRY_BYTES_MAX + 1]), Err(NotAnEntry::TooLarge));
    assert_eq!(Entry::read(b""), Err(NotAnEntry::Malformed));
}
