//! Messages that come packed: what is in them counts, whatever they would unpack to does no harm, and answers say what is taken.

use domain::job_file::Body;
use domain::job_file::body::Remark;
use domain::wire::limits::PUSH_BYTES_MAX;
use domain::wire::sync::{Push, PushReply, PushVerdict, SYNC_VERSION};
use domain::wire::{from_bytes, to_bytes};
use reqwest::Method as Verb;
use server::demo::ids;
use tests::app::TestApp;
use tests::client::{Answer, Client, send};
use tests::device::gzip;
use tests::phone::{TestPhone, all_stored, publish_small_method};

const LEAD: &str = "quill@larkfield.example";

async fn push(client: &Client, packing: &'static str, body: Vec<u8>) -> Answer {
    let request = client.request(Verb::POST, "/api/sync/push").header("content-type", "application/cbor");
    send(request.header("content-encoding", packing).body(body)).await
}

#[tokio::test]
async fn a_packed_push_is_the_same_push() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    all_stored(&lead.push().await).unwrap();
    let id = lead.write(job, Body::Remark(Remark { at: None, text: "a hand wider ".repeat(200) }));
    let envelope = lead.files[&job].get(id).unwrap().entry.bytes().to_vec();
    let message = to_bytes(&Push { version: SYNC_VERSION, device: lead.device(), entries: vec![envelope.into()] });
    let packed = gzip(&message);
    assert!(packed.len() * 4 < message.len(), "{} of {}", packed.len(), message.len());

    let told = push(&lead.client, "gzip", packed).await;
    assert_eq!((told.status, told.header("accept-encoding")), (200, "gzip"), "{}", told.body);
    let [PushVerdict::Stored(stamp)] = from_bytes::<PushReply>(&told.bytes).unwrap().verdicts[..] else {
        panic!("it is stored")
    };
    // Plain, as an app that cannot pack offers it again.
    let told = push(&lead.client, "identity", message).await;
    let [PushVerdict::Had(again)] = from_bytes::<PushReply>(&told.bytes).unwrap().verdicts[..] else {
        panic!("it was there")
    };
    assert_eq!(again, stamp);
}

#[tokio::test]
async fn an_answer_is_packed_with_what_costs_little_memory() {
    let app = TestApp::start().await;
    let lead = TestPhone::sign_in(&app, LEAD).await;
    let request = lead.client.request(Verb::GET, "/api/reference").header("accept-encoding", "gzip, deflate, br");
    let told = send(request).await;
    assert_eq!((told.status, told.header("content-encoding")), (200, "gzip"));
}

#[tokio::test]
async fn what_unpacks_to_nonsense_or_to_too_much_is_refused_as_a_whole() {
    let app = TestApp::start().await;
    let lead = TestPhone::sign_in(&app, LEAD).await;
    let message = to_bytes(&Push { version: SYNC_VERSION, device: lead.device(), entries: Vec::new() });
    let packed = gzip(&message);

    assert_eq!(push(&lead.client, "gzip", packed.clone()).await.status, 200);
    assert_eq!(push(&lead.client, "gzip", packed[..packed.len() - 6].to_vec()).await.problem(), (400, "malformed"));
    assert_eq!(push(&lead.client, "gzip", message).await.problem(), (400, "malformed"));
    assert_eq!(push(&lead.client, "br", packed).await.problem(), (415, "media_type"));

    let bomb = gzip(&vec![0; 64 * PUSH_BYTES_MAX]);
    assert!(bomb.len() < PUSH_BYTES_MAX, "it gets past the limit of what travels: {}", bomb.len());
    assert_eq!(push(&lead.client, "gzip", bomb).await.problem(), (413, "too_large"));
}
