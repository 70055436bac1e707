//! Answers that a lead reads out over the telephone: drawn with the job, shown one at a time to its leads, found nowhere else.

use domain::ids::{EntryId, Hash32, JobId, PersonId};
use domain::job_file::body::{DeviationAsked, DeviationByVoice, Remark, VoiceAnswers};
use domain::job_file::{Body, Place};
use domain::method::Method;
use domain::people::Role;
use domain::people::voice::{proof_of, seal_of};
use domain::wire::sync::PushVerdict;
use serde_json::{Value, json};
use server::auth::Caller;
use server::demo::ids;
use server::job_files::project::project_for_pull;
use tests::app::TestApp;
use tests::client::{Answer, Client};
use tests::phone::{TestPhone, photo_file, publish_small_method};

const LEAD: &str = "quill@larkfield.example";
/// Owner and lead of the firm, and not on these jobs.
const OTHER_LEAD: &str = "marlow@larkfield.example";
const TECHNICIAN: &str = "ashdown@larkfield.example";
const OFFICE: &str = "pendle@larkfield.example";

/// Of many jobs that are planned in one go a reader waits for a few; the rest is done behind everybody's back, and nobody on a
/// crew leaves without the answers of their next jobs.
#[tokio::test(flavor = "multi_thread")]
async fn a_lead_does_not_wait_for_the_answers_of_a_whole_morning() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let jobs: Vec<JobId> = (0..30).map(|_| lead.plan_job(&method, &[ids::ASHDOWN])).collect();
    lead.push().await;
    let owner = app.db.owner_pool().await;
    let batches = async || -> i64 {
        sqlx::query_scalar("select count(distinct job_id) from voice_answers").fetch_one(&owner).await.unwrap()
    };
    let mut other = TestPhone::sign_in(&app, OTHER_LEAD).await;
    let seen = other.pull_once(&[]).await;
    assert_eq!(seen.manifest.len(), jobs.len(), "all jobs are seen, projected or not");
    // In the end every job has its answers, drawn once, whoever drew them.
    let mut news = 0;
    while batches().await < 30 {
        server::job_files::worker::project_now(&app.state, lead.firm()).await.unwrap();
        news += 1;
        assert!(news < 10, "{} of 30", batches().await);
    }
    let mut phone = TestPhone::sign_in(&app, TECHNICIAN).await;
    phone.pull().await;
    for job in jobs {
        let file = &phone.files[&job];
        let drawn = file.iter().filter(|held| matches!(held.entry.body(), Some(Body::VoiceAnswers(_)))).count();
        assert_eq!(drawn, 1, "{job}");
    }
    // Who sees all jobs anyway waits for the projections of a few; the worker may be at it too, so it is asked more than once.
    let caller =
        Caller { person: ids::MARLOW, firm: lead.firm(), device: other.device(), roles: vec![Role::Owner, Role::Lead] };
    let mut is_left = false;
    for _ in 0..3 {
        sqlx::query("update jobs set projected_head = 0").execute(&owner).await.unwrap();
        is_left |= project_for_pull(&app.state, &caller).await.unwrap();
    }
    assert!(is_left, "a lead waits for the projections of thirty jobs");
}

struct Site {
    app: TestApp,
    method: Method,
    lead: TestPhone,
    phone: TestPhone,
    job: JobId,
}

impl Site {
    async fn open() -> Self {
        let app = TestApp::start().await;
        let method = publish_small_method(&app).await;
        let mut lead = TestPhone::sign_in(&app, LEAD).await;
        let job = lead.plan_job(&method, &[ids::ASHDOWN]);
        lead.push().await;
        let mut phone = TestPhone::sign_in(&app, TECHNICIAN).await;
        phone.pull().await;
        Self { app, method, lead, phone, job }
    }

    fn batches(&self) -> Vec<(EntryId, VoiceAnswers)> {
        let file = &self.phone.files[&self.job];
        let mut all: Vec<(EntryId, VoiceAnswers)> = file
            .iter()
            .filter_map(|held| match held.entry.body() {
                Some(Body::VoiceAnswers(batch)) => {
                    let header = &held.entry.header;
                    assert_eq!(header.author.uuid(), header.device.uuid(), "by the server's own device");
                    Some((header.id, batch.clone()))
                }
                _ => None,
            })
            .collect();
        all.sort_by_key(|(id, _)| *id);
        all
    }

    /// Who was shown an answer, and for which place.
    fn showings(&self) -> Vec<(PersonId, Place)> {
        let shown = self.phone.files[&self.job].iter().filter_map(|held| match held.entry.body() {
            Some(Body::VoiceAnswerShown(shown)) => Some((held.entry.header.author, shown.at.clone())),
            _ => None,
        });
        shown.collect()
    }

    async fn show(&self, client: &Client, at: &Place) -> Answer {
        client.post(&format!("/api/jobs/{}/voice-answers", self.job), &json!(at)).await
    }

    async fn row(&self) -> Value {
        self.lead.client.get(&format!("/api/jobs/{}", self.job)).await.body
    }
}

fn names(batch: &VoiceAnswers) -> Vec<String> {
    batch.answers.iter().map(|own| format!("{}/{}/{}", own.at.step, own.at.slot, own.at.requirement)).collect()
}

fn photo() -> Place {
    Place::of("arrive", 0, "photo")
}

#[tokio::test(flavor = "multi_thread")]
async fn answers_come_with_the_job_once_and_later_places_get_theirs() {
    let mut site = Site::open().await;
    let batches = site.batches();
    assert_eq!(batches.len(), 1, "with the first pull that brings the job");
    let all = [
        "arrive/0/photo",
        "arrive/0/here",
        "plates/1/serial",
        "plates/1/label",
        "plates/2/serial",
        "plates/2/label",
        "grid-profile/0/profile",
    ];
    assert_eq!(names(&batches[0].1), all, "and none for the stop-work step");
    site.lead.tick(site.job, Place::of("arrive", 0, "here"));
    site.lead.push().await;
    site.row().await;
    site.phone.pull().await;
    assert_eq!(site.batches(), batches, "drawn once");
    // Another module.
    site.lead.pull().await;
    let equipment = site.lead.files[&site.job].iter().find_map(|held| match held.entry.body() {
        Some(Body::Equipment(equipment)) => Some(equipment.clone()),
        _ => None,
    });
    let mut equipment = equipment.unwrap();
    equipment.slots.push(domain::job_file::body::Slot { number: 3, model: 0, new: true });
    site.lead.write(site.job, Body::Equipment(equipment));
    site.lead.push().await;
    site.phone.pull().await;
    assert_eq!(names(&site.batches()[1].1), ["plates/3/serial", "plates/3/label"]);
    // Without a crew nothing is drawn: nobody could use it.
    let planned = site.lead.plan_job(&site.method, &[]);
    site.lead.push().await;
    site.lead.pull().await;
    assert!(!site.lead.files[&planned].iter().any(|held| matches!(held.entry.body(), Some(Body::VoiceAnswers(_)))));
}

#[tokio::test(flavor = "multi_thread")]
async fn only_a_lead_of_the_job_is_shown_an_answer_and_each_showing_is_an_entry() {
    let mut site = Site::open().await;
    for (email, expected) in
        [(TECHNICIAN, (403, "not_permitted")), (OFFICE, (403, "not_permitted")), (OTHER_LEAD, (403, "not_permitted"))]
    {
        let client = site.app.sign_in(email).await;
        assert_eq!(site.show(&client, &photo()).await.problem(), expected, "{email}");
    }
    let elsewhere = site.app.open_firm("Other Firm", "owner@other.example").await;
    assert_eq!(site.show(&elsewhere, &photo()).await.problem(), (404, "not_found"));
    assert_eq!(site.show(&site.app.stranger(), &photo()).await.problem(), (401, "token_missing"));
    for nowhere in [Place::of("dead", 0, "v"), Place::of("arrive", 0, "none"), Place::of("plates", 9, "serial")] {
        assert_eq!(site.show(&site.lead.client, &nowhere).await.problem(), (409, "no_answer"), "{nowhere:?}");
    }
    let path = format!("/api/jobs/{}/voice-answers", site.job);
    let malformed = site.lead.client.post(&path, &json!({"step": "arrive", "slot": -1, "requirement": "photo"})).await;
    assert_eq!(malformed.problem(), (400, "malformed"));
    site.phone.pull().await;
    assert_eq!(site.showings(), [], "who was refused was shown nothing");

    let first = site.show(&site.lead.client, &photo()).await;
    assert_eq!((first.status, first.header("cache-control")), (200, "no-store"));
    let again = site.show(&site.lead.client, &photo()).await;
    assert_eq!(first.body, again.body, "a call that broke off can be made again");
    let (_, batch) = site.batches().remove(0);
    let answer = first.body["answer"].as_str().unwrap();
    let proof = proof_of(answer, &batch.salt, batch.rounds, &photo()).unwrap();
    let sealed = batch.answers.iter().find(|own| own.at == photo()).unwrap();
    assert_eq!(seal_of(proof), sealed.hash, "what is read out is what the phone knows");
    site.phone.pull().await;
    let quill = site.lead.person();
    assert_eq!(site.showings(), [(quill, photo()), (quill, photo())]);
    assert_eq!((&site.row().await["breaches"], site.row().await["findings"].clone()), (&json!(0), json!(0)));

    // Nobody needs all of a job's at once: ten in a row, and those that were refused count.
    for _ in 0..5 {
        assert_eq!(site.show(&site.lead.client, &photo()).await.status, 200);
    }
    let over = site.show(&site.lead.client, &photo()).await;
    assert_eq!(over.problem(), (429, "too_many_tries"));
    assert!(over.header("retry-after").parse::<u64>().is_ok_and(|s| s <= 61), "{}", over.header("retry-after"));
    site.app.wait_us(61_000_000);
    assert_eq!(site.show(&site.lead.client, &photo()).await.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn no_other_address_gives_an_answer_away() {
    let mut site = Site::open().await;
    let shown = site.show(&site.lead.client, &photo()).await;
    let answers: Vec<String> = sqlx::query_scalar("select answer from voice_answers")
        .fetch_all(&site.app.db.owner_pool().await)
        .await
        .unwrap();
    assert_eq!(answers.len(), 7);
    let in_bytes = |bytes: &[u8], answer: &str| {
        let plain = answer.replace('-', "");
        [answer, plain.as_str()].iter().any(|text| bytes.windows(text.len()).any(|part| part == text.as_bytes()))
    };
    assert!(answers.iter().filter(|answer| in_bytes(&shown.bytes, answer)).count() == 1, "and never two at once");
    let job = site.job;
    let mut seen: Vec<(String, Vec<u8>)> = Vec::new();
    for path in [
        "/api/jobs".to_owned(),
        format!("/api/jobs/{job}"),
        format!("/api/jobs/{job}/photos"),
        format!("/api/jobs/{job}/registration.json"),
        format!("/api/jobs/{job}/registration.csv"),
        format!("/api/jobs/{job}/voice-answers"),
        "/api/registration".to_owned(),
        "/api/held".to_owned(),
        "/api/units".to_owned(),
        "/api/reference".to_owned(),
    ] {
        seen.push((path.clone(), site.lead.client.get(&path).await.bytes));
    }
    site.lead.pull().await;
    site.phone.pull().await;
    for held in site.lead.files[&job].iter().chain(site.phone.files[&job].iter()) {
        seen.push((format!("kind {}", held.entry.header.kind), held.entry.bytes().to_vec()));
    }
    for (from, bytes) in &seen {
        assert!(!answers.iter().any(|answer| in_bytes(bytes, answer)), "{from}");
    }
    // A query that forgets the firm sees nothing either, and nobody changes what was drawn.
    let pool = sqlx::PgPool::connect(&site.app.db.app_url()).await.unwrap();
    let count: i64 = sqlx::query_scalar("select count(*) from voice_answers").fetch_one(&pool).await.unwrap();
    assert_eq!(count, 0);
    for change in ["update voice_answers set answer = '2222-2222-2222'", "delete from voice_answers"] {
        assert!(sqlx::query(change).execute(&pool).await.unwrap_err().to_string().contains("permission denied"));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_departure_allowed_by_voice_arrives_as_allowed_and_its_answer_is_spent() {
    let mut site = Site::open().await;
    let answer = site.show(&site.lead.client, &photo()).await.body["answer"].as_str().unwrap().to_owned();
    let (issue, batch) = site.batches().remove(0);
    let job = site.job;
    site.phone.tick(job, Place::of("arrive", 0, "here"));
    let remark = site.phone.write(job, Body::Remark(Remark { at: Some(photo()), text: "Lens broken".into() }));
    let photo_file = photo_file(b"how it is");
    let asked = DeviationAsked { at: photo(), remark, photo: photo_file, preview: None };
    let asked = site.phone.write(job, Body::DeviationAsked(asked));
    let proof = proof_of(&answer.to_lowercase(), &batch.salt, batch.rounds, &photo()).unwrap();
    site.phone.write(job, Body::DeviationByVoice(DeviationByVoice { asked, issue, proof }));
    assert!(site.phone.push().await.iter().all(|own| matches!(own, PushVerdict::Stored(_))));
    let row = site.row().await;
    assert_eq!((&row["breaches"], &row["deviations_open"], &row["steps"]["done"]), (&json!(0), &json!(0), &json!(1)));
    // The next one for this place is another answer.
    let next = site.show(&site.lead.client, &photo()).await;
    assert_eq!(next.status, 200);
    assert_ne!(next.body["answer"], json!(answer));
    // A made-up proof is kept and counts for nothing.
    let invented = DeviationByVoice { asked, issue, proof: Hash32::of([7; 32]) };
    site.phone.write(job, Body::DeviationByVoice(invented));
    site.phone.push().await;
    assert_eq!(site.row().await["breaches"], json!(1));
}
