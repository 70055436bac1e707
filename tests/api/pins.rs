//! PINs and countersignatures: who sets one, what phones learn of it, and what the server decides.

use domain::ids::{EntryId, Hash32, JobId, PersonId, from_hex, uuid_v7};
use domain::job_file::body::{Countersign, CountersignProof, FindingCode};
use domain::job_file::{Body, Place};
use domain::people::pin::{SlipCheck, Typed};
use reqwest::Method as Verb;
use serde_json::{Value, json};
use server::auth::pins::seal;
use server::demo::{PASSWORD, PIN, ids};
use tests::app::TestApp;
use tests::client::{Client, send};
use tests::phone::{TestPhone, publish_small_method};

const LEAD: &str = "quill@larkfield.example";
const TECHNICIAN: &str = "ashdown@larkfield.example";
const SECOND: &str = "solano@larkfield.example";

async fn set_pin(client: &Client, person: PersonId, password: &str, pin: &str) -> (u16, String) {
    let body = json!({"password": password, "pin": pin});
    let path = format!("/api/people/{person}/pin");
    let answer = send(client.request(Verb::PUT, &path).json(&body)).await;
    (answer.status, answer.code().to_owned())
}

async fn reference(client: &Client) -> Value {
    client.get("/api/reference").await.body
}

fn slip_check(reference: &Value, person: PersonId) -> SlipCheck {
    let people = reference["people"].as_array().unwrap();
    let own = people.iter().find(|own| own["id"] == json!(person)).unwrap();
    serde_json::from_value(own["pin"].clone()).unwrap()
}

/// A technician's phone with a job of two, and the firm's key as the phone holds it.
struct Site {
    app: TestApp,
    phone: TestPhone,
    job: JobId,
    key: Vec<u8>,
    made: u8,
}

impl Site {
    async fn open() -> Self {
        let app = TestApp::start().await;
        let method = publish_small_method(&app).await;
        let mut lead = TestPhone::sign_in(&app, LEAD).await;
        let job = lead.plan_job(&method, &[ids::ASHDOWN, ids::SOLANO]);
        lead.push().await;
        let mut phone = TestPhone::sign_in(&app, TECHNICIAN).await;
        phone.pull().await;
        let digits = reference(&phone.client).await["pin_key"].as_str().unwrap().to_owned();
        let key = from_hex(&digits).unwrap();
        Self { app, phone, job, key, made: 0 }
    }

    fn new_id(&mut self) -> EntryId {
        self.made += 1;
        EntryId::of(uuid_v7(self.phone.now_us() / 1_000, &[self.made; 10]))
    }

    fn write(&mut self, id: EntryId, body: Body) {
        let entry = self.phone.draft_as(id, self.job, body);
        self.phone.keep(entry);
    }

    fn proof(&mut self, sealed: Vec<u8>, of: EntryId) -> EntryId {
        let id = self.new_id();
        let key = Hash32::sha256(&self.key);
        self.write(id, Body::CountersignProof(CountersignProof { of, key, sealed: sealed.into() }));
        id
    }

    fn countersign(&mut self, id: EntryId, proof: EntryId) {
        let at = Place::of("arrive", 0, "second");
        let statement = Hash32::sha256(b"as shown");
        let body = Countersign { at, statement, person: ids::SOLANO, proof, corrects: None };
        self.write(id, Body::Countersign(body));
    }

    /// Countersigns with this PIN, sends it, and says what the server found.
    async fn decided(&mut self, pin: &str) -> FindingCode {
        let id = self.new_id();
        let sealed = seal(&self.key, pin, id, ids::SOLANO, &[self.made; 32]).unwrap();
        let proof = self.proof(sealed, id);
        self.countersign(id, proof);
        let found = self.found(id).await;
        assert_eq!(found.len(), 1, "{pin}: {found:?}");
        found[0]
    }

    async fn found(&mut self, about: EntryId) -> Vec<FindingCode> {
        self.phone.push().await;
        // Whoever reads a list has the projections brought up to date first, and with them the findings.
        assert_eq!(self.phone.client.get("/api/jobs").await.status, 200);
        self.phone.pull().await;
        let findings = self.phone.files[&self.job].iter().filter_map(|held| match held.entry.body() {
            Some(Body::Finding(finding)) if finding.about == about => Some(finding.code),
            _ => None,
        });
        findings.collect()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pin_is_set_by_its_person_with_their_password_and_phones_learn_eight_bits() {
    let app = TestApp::start().await;
    let own = app.sign_in(TECHNICIAN).await;
    let before = reference(&own).await;
    assert_eq!(slip_check(&before, ids::SOLANO).look(PIN), Typed::ToBeConfirmed);
    for (person, password, pin, expected) in [
        (ids::SOLANO, PASSWORD, "2846", (403, "not_permitted")),
        (ids::ASHDOWN, PASSWORD, "284", (422, "pin_form")),
        (ids::ASHDOWN, PASSWORD, "284a", (422, "pin_form")),
        (ids::ASHDOWN, PASSWORD, "5555", (422, "pin_too_plain")),
        (ids::ASHDOWN, PASSWORD, "34567", (422, "pin_too_plain")),
        (ids::ASHDOWN, "another password", "2846", (422, "password_wrong")),
    ] {
        let (status, code) = set_pin(&own, person, password, pin).await;
        assert_eq!((status, code.as_str()), expected, "{pin}");
    }
    let owner = app.sign_in("marlow@larkfield.example").await;
    assert_eq!(set_pin(&owner, ids::ASHDOWN, PASSWORD, "2846").await.0, 403, "not even an owner");
    assert_eq!(reference(&own).await["version"], before["version"]);
    assert_eq!(set_pin(&own, ids::ASHDOWN, PASSWORD, "2846").await.0, 200);
    let after = reference(&own).await;
    assert!(after["version"].as_i64() > before["version"].as_i64(), "every device fetches it");
    assert_eq!(slip_check(&after, ids::ASHDOWN).look("2846"), Typed::ToBeConfirmed);
    let text = after.to_string();
    assert!(!text.contains("2846") && !text.contains("argon2"), "nothing that a PIN could be searched by");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_server_opens_the_pin_decides_once_and_nobody_can_carry_a_proof_elsewhere() {
    let mut site = Site::open().await;
    assert_eq!(site.decided(PIN).await, FindingCode::CountersignConfirmed);
    assert_eq!(site.decided("4418").await, FindingCode::CountersignWrong);
    // A proof that was right for another countersignature.
    let (first, second) = (site.new_id(), site.new_id());
    let sealed = seal(&site.key, PIN, first, ids::SOLANO, &[77; 32]).unwrap();
    let proof = site.proof(sealed, second);
    site.countersign(second, proof);
    assert_eq!(site.found(second).await, [FindingCode::CountersignWrong]);
    // Sealed to a key that this server does not have: it cannot know, and says nothing.
    let key = std::mem::replace(&mut site.key, vec![4; 65]);
    let third = site.new_id();
    let proof = site.proof(vec![1; 90], third);
    site.countersign(third, proof);
    assert_eq!(site.found(third).await, []);
    site.key = key;
    // Without its proof as well.
    let (fourth, nothing) = (site.new_id(), site.new_id());
    site.countersign(fourth, nothing);
    assert_eq!(site.found(fourth).await, []);
    // Read again and again, it stays at one finding each.
    assert_eq!(site.found(second).await.len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_log_is_no_place_to_guess_a_pin_and_a_new_pin_ends_the_guessing() {
    let mut site = Site::open().await;
    for guess in 0..10 {
        assert_eq!(site.decided(&format!("700{guess}")).await, FindingCode::CountersignWrong);
    }
    assert_eq!(site.decided(PIN).await, FindingCode::CountersignWrong, "tried too often");
    let second = site.app.sign_in(SECOND).await;
    assert_eq!(set_pin(&second, ids::SOLANO, PASSWORD, "260914").await.0, 200);
    assert_eq!(site.decided("260914").await, FindingCode::CountersignConfirmed);
    assert_eq!(site.decided(PIN).await, FindingCode::CountersignConfirmed, "a phone without data holds the old one");
    site.app.wait_us(15 * 24 * 3_600 * 1_000_000);
    assert_eq!(site.phone.client.refresh().await.status, 200);
    assert_eq!(site.decided(PIN).await, FindingCode::CountersignWrong, "and for two weeks only");
}
