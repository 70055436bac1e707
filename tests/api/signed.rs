//! Signatures of devices: what the server finds once it has acknowledged.

use domain::ids::{EntryId, JobId};
use domain::job_file::body::{DoubtCode, FindingCode, Remark};
use domain::job_file::{Body, Entry};
use domain::seal::pack::SealKey;
use domain::wire::sync::{HeldWhy, PushVerdict};
use reqwest::Method;
use serde_json::{Value, json};
use tests::app::TestApp;
use tests::client::{Answer, send};
use tests::phone::{TestPhone, all_stored, publish_small_method};
use uuid::Uuid;

const LEAD: &str = "quill@larkfield.example";

fn key(number: u8) -> SealKey {
    SealKey::of(&[number; 32]).unwrap()
}

fn note(text: &str) -> Body {
    Body::Remark(Remark { at: None, text: text.into() })
}

fn signed(entry: &Entry, key: &SealKey) -> Entry {
    entry.clone().with_signature(key.sign(&entry.header_bytes()))
}

async fn tell_as(phone: &TestPhone, device: Uuid, key: &[u8]) -> Answer {
    let hex: String = key.iter().map(|byte| format!("{byte:02x}")).collect();
    let request = phone.client.request(Method::PUT, &format!("/api/devices/{device}/key"));
    send(request.json(&json!({ "key": hex }))).await
}

async fn tell(phone: &TestPhone, key: &SealKey) -> Answer {
    tell_as(phone, phone.client.device(), &key.public()).await
}

/// A lead whose phone has told key 7, and a job that is planned without signatures, before that.
struct Site {
    app: TestApp,
    phone: TestPhone,
    job: JobId,
}

impl Site {
    async fn open() -> Self {
        let app = TestApp::start().await;
        let method = publish_small_method(&app).await;
        let mut phone = TestPhone::sign_in(&app, LEAD).await;
        let job = phone.plan_job(&method, &[]);
        all_stored(&phone.push().await).unwrap();
        assert_eq!(tell(&phone, &key(7)).await.status, 204);
        Self { app, phone, job }
    }

    /// Writes, signs with `by`, and sends.
    async fn sends(&mut self, text: &str, by: Option<&SealKey>) -> EntryId {
        let entry = self.phone.draft(self.job, note(text));
        let id = self.phone.keep(by.map_or(entry.clone(), |by| signed(&entry, by)));
        all_stored(&self.phone.push().await).unwrap();
        id
    }

    async fn doubts(&mut self) -> Vec<(DoubtCode, EntryId)> {
        let job = self.job;
        self.doubts_of(job).await
    }

    async fn doubts_of(&mut self, job: JobId) -> Vec<(DoubtCode, EntryId)> {
        // Whoever reads a list has the projections brought up to date first, and with them the findings.
        let listed = self.phone.client.get(&format!("/api/jobs/{job}")).await;
        assert_eq!(listed.status, 200);
        self.phone.pull().await;
        let doubts = self.phone.files[&job].iter().filter_map(|held| match held.entry.body() {
            Some(Body::OriginDoubt(doubt)) => Some((doubt.code, doubt.about)),
            _ => None,
        });
        let doubts: Vec<_> = doubts.collect();
        assert_eq!(listed.body["findings"], json!(doubts.len() + self.forks(job)), "{}", listed.body);
        doubts
    }

    fn forks(&self, job: JobId) -> usize {
        let is_fork = |body: &Body| matches!(body, Body::Finding(found) if found.code == FindingCode::ForkedChain);
        self.phone.files[&job].iter().filter(|held| held.entry.body().is_some_and(is_fork)).count()
    }

    async fn device_row(&self) -> Value {
        let rows = self.phone.client.get("/api/devices").await.body;
        let own = json!(self.phone.client.device());
        rows.as_array().unwrap().iter().find(|row| row["id"] == own).unwrap().clone()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_good_signature_is_no_news_and_vouches_for_what_came_before_the_key() {
    let mut site = Site::open().await;
    assert_eq!(site.doubts().await, [], "what was planned before the key was known is not asked for a signature");
    site.sends("one", Some(&key(7))).await;
    let (unsigned, job) = (site.phone.draft(site.job, note("two")), site.job);
    site.phone.keep(unsigned);
    let last = signed(&site.phone.draft(job, note("three")), &key(7));
    site.phone.keep(last);
    all_stored(&site.phone.push().await).unwrap();
    assert_eq!(site.doubts().await, [], "the last of a run vouches for it");
    assert!(site.device_row().await["key_us"].is_i64());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bad_signature_and_a_missing_one_are_found_and_nothing_is_lost() {
    let mut site = Site::open().await;
    let forged = site.sends("forged", Some(&key(8))).await;
    assert_eq!(site.doubts().await, [(DoubtCode::BadSignature, forged)]);
    let missing = site.sends("missing", None).await;
    let both = site.doubts().await;
    assert_eq!(both.len(), 2, "{both:?}");
    assert!(both.contains(&(DoubtCode::NotSigned, missing)));
    site.sends("good again", Some(&key(7))).await;
    assert_eq!(site.doubts().await.len(), 2, "each is told once, and a good one adds nothing");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_key_of_another_device_signs_nothing_here() {
    let mut site = Site::open().await;
    let other = TestPhone::sign_in(&site.app, LEAD).await;
    assert_eq!(tell(&other, &key(9)).await.status, 204);
    let by_other = site.sends("signed on the other phone", Some(&key(9))).await;
    assert_eq!(site.doubts().await, [(DoubtCode::BadSignature, by_other)]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_forked_chain_is_found_although_both_branches_are_signed() {
    let mut site = Site::open().await;
    let (one, two) = (site.phone.draft(site.job, note("one")), site.phone.draft(site.job, note("two")));
    let both = [&one, &two].map(|entry| signed(entry, &key(7)).bytes().to_vec());
    all_stored(&site.phone.push_bytes(&both).await).unwrap();
    assert_eq!(site.doubts().await, []);
    assert_eq!(site.forks(site.job), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_second_key_is_refused_noted_and_signs_nothing() {
    let mut site = Site::open().await;
    assert_eq!(tell(&site.phone, &key(7)).await.status, 204, "the same one again is no news");
    assert_eq!(site.device_row().await.get("key_refused_us"), None);
    assert_eq!(tell(&site.phone, &key(8)).await.problem(), (409, "key_known"));
    assert!(site.device_row().await["key_refused_us"].is_i64());
    site.sends("by the first", Some(&key(7))).await;
    assert_eq!(site.doubts().await, []);
    let by_second = site.sends("by the second", Some(&key(8))).await;
    assert_eq!(site.doubts().await, [(DoubtCode::BadSignature, by_second)]);

    let other = TestPhone::sign_in(&site.app, LEAD).await;
    let stolen = tell_as(&site.phone, other.client.device(), &key(9).public()).await;
    assert_eq!(stolen.problem(), (404, "not_found"), "nobody gives another device its key");
    for bytes in [vec![], vec![4; 65], key(9).public()[..64].to_vec()] {
        assert_eq!(tell_as(&other, other.client.device(), &bytes).await.problem(), (422, "key"));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_signed_before_the_key_was_told_is_looked_at_when_it_is() {
    let mut site = Site::open().await;
    let mut phone = TestPhone::sign_in(&site.app, LEAD).await;
    phone.pull().await;
    for (text, by) in [("good", 5), ("forged", 6)] {
        let entry = signed(&phone.draft(site.job, note(text)), &key(by));
        phone.keep(entry);
    }
    let forged = phone.tray.last().unwrap().1;
    all_stored(&phone.push().await).unwrap();
    assert_eq!(site.doubts().await, [], "nobody can tell yet");
    assert_eq!(tell(&phone, &key(5)).await.status, 204);
    assert_eq!(site.doubts().await, [(DoubtCode::BadSignature, forged)]);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_let_in_after_its_device_was_revoked_is_kept_and_marked() {
    let mut site = Site::open().await;
    let method = publish_small_method(&site.app).await;
    let mut other = TestPhone::sign_in(&site.app, LEAD).await;
    // A job whose plan is not here yet: its entries wait for it, and get in when it comes.
    let planned = other.plan_job(&method, &[]);
    let waiting = signed(&site.phone.draft(planned, note("early")), &key(7));
    let early = waiting.header.id;
    let held = site.phone.push_bytes(&[waiting.bytes().to_vec()]).await;
    assert_eq!(held, [PushVerdict::Held(HeldWhy::NoSuchJob)]);
    let path = format!("/api/devices/{}", site.phone.client.device());
    assert_eq!(other.client.delete(&path).await.status, 204);
    all_stored(&other.push().await).unwrap();
    site.phone = other;
    assert_eq!(site.doubts_of(planned).await, [(DoubtCode::AfterRevocation, early)]);
    assert!(site.phone.files[&planned].get(early).is_some(), "it is kept");
    assert_eq!(site.doubts().await, [], "what had arrived before is not touched by it");
}
