use domain::ids::{DeviceId, EntryId, FirmId, Hash32, JobId, PersonId};
use domain::job_file::body::{Finding, FindingCode, Plain, Reading, ReadingQuality, Remark, Sign};
use domain::job_file::header::{HEADER_VERSION, Header, body_hash};
use domain::job_file::{Body, Content, Draft, Entry, Envelope, Place};
use domain::wire::limits::{ENTRY_BYTES_MAX, PUSH_ENTRIES_MAX};
use domain::wire::sync::{HeldWhy, PushVerdict, RefusedWhy};
use domain::wire::to_bytes;
use reqwest::Method as Verb;
use serde_json::json;
use server::demo::ids;
use tests::app::TestApp;
use tests::client::send;
use tests::phone::{TestPhone, publish_small_method};
use uuid::Uuid;

const LEAD: &str = "quill@larkfield.example";
const TECHNICIAN: &str = "ashdown@larkfield.example";
const OTHER_TECHNICIAN: &str = "solano@larkfield.example";
const OFFICE: &str = "pendle@larkfield.example";

fn held(why: HeldWhy) -> PushVerdict {
    PushVerdict::Held(why)
}

fn remark(text: &str) -> Body {
    Body::Remark(Remark { at: None, text: text.into() })
}

/// An entry with a header changed by hand; what hangs on the body stays right.
fn forged(phone: &TestPhone, job: JobId, change: impl FnOnce(&mut Header)) -> Vec<u8> {
    with_body(phone, job, remark("forged").kind(), &remark("forged").to_bytes(), change)
}

fn with_body(phone: &TestPhone, job: JobId, kind: u32, body: &[u8], change: impl FnOnce(&mut Header)) -> Vec<u8> {
    let salt = [9; 16];
    let mut header = Header {
        version: HEADER_VERSION,
        id: EntryId::of(Uuid::now_v7()),
        firm: phone.firm(),
        job,
        author: phone.person(),
        device: phone.device(),
        seq: 1,
        hlc: phone.now_us(),
        prev: Hash32::NONE,
        seen: 0,
        kind,
        must_understand: false,
        body_hash: body_hash(&salt, body),
    };
    change(&mut header);
    let envelope = Envelope {
        header: to_bytes(&header).into(),
        salt: Some(salt.to_vec().into()),
        body: Some(body.to_vec().into()),
        signature: None,
    };
    to_bytes(&envelope)
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_push_twice_is_as_once() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    let entries: Vec<Vec<u8>> =
        lead.tray.iter().map(|(_, id)| lead.files[&job].get(*id).unwrap().entry.bytes().to_vec()).collect();
    let first = lead.push().await;
    let stamps: Vec<_> = first
        .iter()
        .map(|verdict| match verdict {
            PushVerdict::Stored(stamp) => *stamp,
            other => panic!("{other:?}"),
        })
        .collect();
    assert!(stamps.windows(2).all(|two| two[0].position + 1 == two[1].position && two[0].time_us < two[1].time_us));
    assert_eq!(stamps[0].position, 1);

    // The answer got lost; everything comes again, and one of it twice in the batch.
    let mut again = entries.clone();
    again.push(entries[0].clone());
    let second = lead.push_bytes(&again).await;
    let expected: Vec<_> = stamps.iter().chain([&stamps[0]]).map(|stamp| PushVerdict::Had(*stamp)).collect();
    assert_eq!(second, expected);
    let pool = app.db.owner_pool().await;
    let rows: i64 = sqlx::query_scalar("select count(*) from entries").fetch_one(&pool).await.unwrap();
    assert_eq!(rows, i64::try_from(entries.len()).unwrap());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_id_with_other_bytes_is_held_and_changes_nothing() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[]);
    lead.push().await;
    let first = lead.draft(job, remark("one"));
    let id = first.header.id;
    lead.keep(first.clone());
    lead.push().await;
    let twin = forged(&lead, job, |header| header.id = id);
    for _ in 0..2 {
        assert_eq!(lead.push_bytes(std::slice::from_ref(&twin)).await, [held(HeldWhy::SameIdOtherBytes)]);
    }
    let both = [forged(&lead, job, |_| {}), forged(&lead, job, |_| {})];
    let same_id = Entry::read(&both[0]).unwrap().header.id;
    let other = forged(&lead, job, |header| {
        header.id = same_id;
        header.seen = 1;
    });
    let in_one_batch = lead.push_bytes(&[both[0].clone(), other]).await;
    assert!(matches!(in_one_batch[0], PushVerdict::Stored(_)), "{in_one_batch:?}");
    assert_eq!(in_one_batch[1], held(HeldWhy::SameIdOtherBytes));

    let mut office = TestPhone::sign_in(&app, OFFICE).await;
    office.pull().await;
    assert_eq!(office.files[&job].get(id).unwrap().entry.bytes(), first.bytes());
    let listed = office.client.get("/api/held").await;
    let listed = listed.body.as_array().unwrap();
    assert_eq!(listed.len(), 2, "{listed:?}");
    assert!(listed.iter().all(|row| row["why"] == json!("same_id_other_bytes") && row["kind_name"] == json!("Remark")));
    assert_eq!(office.client.get(&format!("/api/jobs/{job}")).await.body["held"], json!(2));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_not_an_entry_of_this_firm_is_refused_and_holds_up_nothing() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[]);
    lead.push().await;
    let good = lead.draft(job, remark("good")).bytes().to_vec();
    let other_firm = forged(&lead, job, |header| header.firm = FirmId::of(Uuid::now_v7()));
    let newer = forged(&lead, job, |header| header.version = 2);
    let broken_chain = forged(&lead, job, |header| header.seq = 5);
    let mut other_body = lead.draft(job, remark("x")).bytes().to_vec();
    let last = other_body.len() - 2;
    other_body[last] ^= 1;
    let too_large = lead.draft(job, remark(&"x".repeat(ENTRY_BYTES_MAX))).bytes().to_vec();
    let batch = [vec![], vec![0xff; 40], other_firm, newer, broken_chain, other_body, too_large, good];
    let verdicts = lead.push_bytes(&batch).await;
    let refused: Vec<_> = [
        RefusedWhy::Malformed,
        RefusedWhy::Malformed,
        RefusedWhy::OtherFirm,
        RefusedWhy::Version,
        RefusedWhy::Malformed,
        RefusedWhy::Malformed,
        RefusedWhy::TooLarge,
    ]
    .map(PushVerdict::Refused)
    .into();
    assert_eq!(verdicts[..7], refused);
    assert!(matches!(verdicts[7], PushVerdict::Stored(_)));
    let held = app.sign_in(OFFICE).await.get("/api/held").await;
    assert_eq!(held.body, json!([]), "nothing of it is kept");
}

#[tokio::test(flavor = "multi_thread")]
async fn who_one_is_not_cannot_write() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let other = TestPhone::sign_in(&app, OTHER_TECHNICIAN).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    lead.push().await;
    let technician = TestPhone::sign_in(&app, TECHNICIAN).await;
    let finding = Finding { code: FindingCode::ForkedChain, about: EntryId::of(Uuid::nil()), other: None };
    let cases = [
        (forged(&technician, job, |header| header.author = ids::QUILL), HeldWhy::AuthorNotYou),
        (forged(&technician, job, |header| header.device = other.device()), HeldWhy::DeviceNotYours),
        (forged(&technician, job, |header| header.device = DeviceId::of(Uuid::now_v7())), HeldWhy::DeviceNotYours),
        (technician.draft(job, Body::Passed(Plain {})).bytes().to_vec(), HeldWhy::RoleMayNot),
        (technician.draft(job, Body::Finding(finding)).bytes().to_vec(), HeldWhy::RoleMayNot),
        (with_body(&technician, job, 21, &[0xa0], |_| {}), HeldWhy::BodyUnreadable),
        (forged(&technician, JobId::of(Uuid::now_v7()), |_| {}), HeldWhy::NoSuchJob),
    ];
    let bytes: Vec<Vec<u8>> = cases.iter().map(|(bytes, _)| bytes.clone()).collect();
    let expected: Vec<_> = cases.iter().map(|(_, why)| held(*why)).collect();
    assert_eq!(technician.push_bytes(&bytes).await, expected);
    assert_eq!(technician.push_bytes(&bytes).await, expected, "twice is as once");
    let listed = lead.client.get("/api/held").await;
    assert_eq!(listed.body.as_array().unwrap().len(), cases.len());
    assert_eq!(technician.client.get("/api/held").await.problem(), (403, "not_permitted"));

    // What was held because the wrong person sent it goes in when the right one does, and leaves the list.
    let own = lead.draft(job, remark("mine")).bytes().to_vec();
    assert_eq!(technician.push_bytes(std::slice::from_ref(&own)).await, [held(HeldWhy::AuthorNotYou)]);
    assert!(matches!(lead.push_bytes(&[own]).await[0], PushVerdict::Stored(_)));
    let listed = lead.client.get("/api/held").await;
    assert_eq!(listed.body.as_array().unwrap().len(), cases.len());
}

#[tokio::test(flavor = "multi_thread")]
async fn work_that_came_before_its_job_goes_in_with_it() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let mut technician = TestPhone::sign_in(&app, TECHNICIAN).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    let notes = [technician.write(job, remark("first")), technician.write(job, remark("second"))];
    assert_eq!(technician.push().await, [held(HeldWhy::NoSuchJob), held(HeldWhy::NoSuchJob)]);
    lead.push().await;
    technician.pull().await;
    for note in notes {
        assert!(technician.files[&job].get(note).unwrap().stamp.is_some());
    }
    assert_eq!(lead.client.get("/api/held").await.body, json!([]));

    // In one batch the plan may come last.
    let other = lead.plan_job(&method, &[]);
    let mut bytes: Vec<Vec<u8>> =
        lead.tray.iter().map(|(_, id)| lead.files[&other].get(*id).unwrap().entry.bytes().to_vec()).collect();
    bytes.reverse();
    let verdicts = lead.push_bytes(&bytes).await;
    let Some(PushVerdict::Stored(stamp)) = verdicts.last() else { panic!("{verdicts:?}") };
    assert_eq!(stamp.position, 1, "the plan opens the file");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_device_that_was_shut_out_delivers_once_more_and_somebody_looks() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    lead.push().await;
    let mut technician = TestPhone::sign_in(&app, TECHNICIAN).await;
    technician.pull().await;
    let owner = app.sign_in("marlow@larkfield.example").await;
    let revoked = owner.delete(&format!("/api/devices/{}", technician.device())).await;
    assert!(revoked.status < 300, "{}", revoked.body);
    technician.write(job, remark("the last of the day"));
    assert_eq!(technician.push().await, [held(HeldWhy::DeviceRevoked)]);
    let listed = lead.client.get("/api/held").await;
    assert_eq!(listed.body[0]["why"], json!("device_revoked"));
    assert_eq!(listed.body[0]["by_person"], json!(ids::ASHDOWN));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kind_of_a_newer_app_is_passed_on_byte_for_byte() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    lead.push().await;
    // {0: "something new", 7: [1, 2]}
    let body = [&[0xa2, 0x00, 0x6d][..], b"something new", &[0x07, 0x82, 0x01, 0x02]].concat();
    let newer = with_body(&lead, job, 4_000_000_000, &body, |header| {
        let head = lead.files[&job].chain_head(lead.device());
        (header.seq, header.prev) = (head.seq + 1, head.hash);
    });
    assert!(matches!(lead.push_bytes(std::slice::from_ref(&newer)).await[0], PushVerdict::Stored(_)));
    let mut technician = TestPhone::sign_in(&app, TECHNICIAN).await;
    technician.pull().await;
    let id = Entry::read(&newer).unwrap().header.id;
    let came = &technician.files[&job].get(id).unwrap().entry;
    assert_eq!((came.bytes(), &came.content), (newer.as_slice(), &Content::Unknown));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_rule_dislikes_is_stored_and_shown_as_a_breach() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    lead.push().await;
    let mut technician = TestPhone::sign_in(&app, TECHNICIAN).await;
    technician.pull().await;
    // The gate before it is shut: nobody has arrived.
    let reading = Reading {
        at: Place::of("dead", 0, "v"),
        raw: "3".into(),
        micro: Some(3_000_000),
        unit: domain::electrical::Unit::Volt.code(),
        sign: Sign::Equal,
        quality: ReadingQuality::Ok,
        instrument: None,
        corrects: None,
        test_voltage: None,
    };
    technician.write(job, Body::Reading(reading));
    technician.tick(job, Place::of("no-such-step", 3, "x"));
    let mut other = TestPhone::sign_in(&app, OTHER_TECHNICIAN).await;
    other.tick(job, Place::of("arrive", 0, "here"));
    for phone in [&mut technician, &mut other] {
        let verdicts = phone.push().await;
        assert!(verdicts.iter().all(|verdict| matches!(verdict, PushVerdict::Stored(_))), "{verdicts:?}");
    }
    let row = lead.client.get(&format!("/api/jobs/{job}")).await.body;
    assert_eq!((&row["breaches"], &row["steps"]["done"]), (&json!(3), &json!(0)), "{row}");
    // Whoever wrote in a job's file sees the job, assigned or not.
    other.pull().await;
    assert!(other.sees(job));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_clock_and_hostile_numbers_are_stored() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    lead.clock_off_us = 365 * 86_400_000_000;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    lead.push().await;
    let mut technician = TestPhone::sign_in(&app, TECHNICIAN).await;
    technician.pull().await;
    let file = &technician.files[&job];
    let last = file.iter().filter_map(|held| held.stamp).map(|stamp| stamp.time_us).max().unwrap();
    let mut own = file.iter().filter(|held| held.entry.header.device == lead.device());
    assert!(own.all(|held| held.entry.header.hlc > last), "the clock was ahead");
    assert!(file.order_keys().values().all(|key| key.at <= last), "and is not believed");

    let hostile = forged(&technician, job, |header| {
        header.hlc = u64::MAX;
        header.seq = u64::MAX;
        header.seen = u64::MAX;
        header.prev = Hash32::sha256(b"nothing");
    });
    assert!(matches!(technician.push_bytes(&[hostile]).await[0], PushVerdict::Stored(_)));
    let zero = forged(&technician, job, |header| header.hlc = 0);
    assert!(matches!(technician.push_bytes(&[zero]).await[0], PushVerdict::Stored(_)));
    let row = lead.client.get(&format!("/api/jobs/{job}")).await;
    assert_eq!((row.status, &row.body["entries"]), (200, &json!(file.len() + 2)));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_push_that_is_none_gets_a_problem() {
    let app = TestApp::start().await;
    let lead = TestPhone::sign_in(&app, LEAD).await;
    let push = "/api/sync/push";
    for broken in [vec![], vec![0xff], vec![0xa1, 0x00], b"{\"entries\":[]}".to_vec(), vec![0x9f; 1_000]] {
        let answer = lead.client.post_cbor(push, broken).await;
        assert_eq!(answer.problem(), (400, "malformed"));
        assert_eq!(answer.header("content-type"), "application/problem+json");
    }
    assert_eq!(lead.client.post(push, &json!({})).await.problem(), (415, "media_type"));
    assert_eq!(lead.client.post_cbor("/api/sync/pull", vec![0x80]).await.problem(), (400, "malformed"));
    assert_eq!(app.stranger().post_cbor(push, vec![]).await.problem(), (401, "token_missing"));
    // Over the limit of the body, of the batch, and a body of no announced length.
    assert_eq!(lead.client.post_cbor(push, vec![0; 600 * 1024]).await.problem(), (413, "too_large"));
    assert_eq!(lead.post_push(&vec![vec![]; PUSH_ENTRIES_MAX + 1]).await.problem(), (413, "too_large"));
    let chunks = (0..700).map(|_| Ok::<_, std::io::Error>(vec![0_u8; 1024]));
    let body = reqwest::Body::wrap_stream(futures_util::stream::iter(chunks));
    let request = lead.client.request(Verb::POST, push).header("content-type", "application/cbor").body(body);
    assert_eq!(send(request).await.problem(), (413, "too_large"));
    let most = lead.post_push(&vec![vec![]; PUSH_ENTRIES_MAX]).await;
    assert_eq!(most.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn another_firm_sees_nothing_of_it() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[]);
    let bytes = b"\xff\xd8\xff photo";
    lead.photograph(job, Place::of("arrive", 0, "photo"), bytes);
    lead.scan(job, 1, "BX24-000150");
    lead.push().await;
    lead.upload(job, bytes).await;
    lead.push_bytes(&[forged(&lead, job, |header| header.author = PersonId::of(Uuid::nil()))]).await;

    let owner = app.open_firm("Other firm", "owner@elsewhere.example").await;
    let mut stranger = TestPhone::of(owner);
    assert_eq!(stranger.pull().await, 0);
    let reply = stranger.pull_once(&[job]).await;
    assert!(reply.manifest.is_empty() && reply.entries.is_empty() && reply.methods.is_empty());
    for list in ["/api/jobs", "/api/units", "/api/units?q=BX24", "/api/held", "/api/registration"] {
        let answer = stranger.client.get(list).await;
        assert_eq!((answer.status, answer.body), (200, json!([])), "{list}");
    }
    let hash = Hash32::sha256(bytes);
    for path in [
        String::new(),
        "/photos".into(),
        format!("/photos/{hash}"),
        format!("/photos/{hash}/upright"),
        "/registration.json".into(),
        "/registration.csv".into(),
    ] {
        let path = format!("/api/jobs/{job}{path}");
        assert_eq!(stranger.client.get(&path).await.problem(), (404, "not_found"), "{path}");
        assert_ne!(lead.client.get(&path).await.status, 404, "{path}");
    }
    // The same bytes for the same job id are not "had", and what is sent opens nothing.
    assert_eq!(stranger.begin_upload(job, bytes).await.status, 201);
    let entry = Entry::write(
        Draft {
            id: EntryId::of(Uuid::now_v7()),
            firm: stranger.firm(),
            job,
            author: stranger.person(),
            device: stranger.device(),
            salt: [1; 16],
            body: remark("in a job of somebody else's"),
        },
        domain::job_file::ChainHead::START,
        0,
        stranger.now_us(),
        0,
    );
    assert_eq!(stranger.push_bytes(&[entry.bytes().to_vec()]).await, [held(HeldWhy::NoSuchJob)]);
    assert_eq!(lead.client.get(&format!("/api/jobs/{job}")).await.body["held"], json!(1));
}
