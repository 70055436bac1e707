use domain::ids::JobId;
use domain::job_file::body::{FindingCode, Remark};
use domain::job_file::{Body, Place};
use serde_json::{Value, json};
use server::demo::ids;
use server::job_files::project::{project_dirty, reproject_all};
use tests::app::TestApp;
use tests::phone::{TestPhone, publish_small_method, serial_read};

const LEAD: &str = "quill@larkfield.example";
const TECHNICIAN: &str = "ashdown@larkfield.example";

async fn rows(app: &TestApp) -> Vec<Value> {
    let pool = app.db.owner_pool().await;
    let mut all = Vec::new();
    for table in ["job_rows", "unit_rows"] {
        let sql = format!("select to_jsonb(t) from {table} t order by to_jsonb(t)::text");
        let rows: Vec<Value> = sqlx::query_scalar(&sql).fetch_all(&pool).await.unwrap();
        assert!(!rows.is_empty(), "{table}");
        all.extend(rows);
    }
    pool.close().await;
    all
}

/// Findings of a job as a phone has them: (code, about, other).
fn findings(phone: &TestPhone, job: JobId) -> Vec<(FindingCode, String, String)> {
    let bodies = phone.files[&job].iter().filter_map(|held| match held.entry.body() {
        Some(Body::Finding(finding)) => {
            Some((finding.code, finding.about.to_string(), finding.other.unwrap().to_string()))
        }
        _ => None,
    });
    bodies.collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn projections_made_anew_are_the_same() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let mut technician = TestPhone::sign_in(&app, TECHNICIAN).await;
    for number in 0..3 {
        let job = lead.plan_job(&method, &[ids::ASHDOWN]);
        lead.push().await;
        technician.pull().await;
        technician.arrive(job, &[number]);
        technician.scan(job, 1, "BX24-000001");
        technician.scan(job, 2, &format!("BX24-00000{number}"));
        let mut better = serial_read(2, &format!("BX24-10000{number}"), Some("L7"));
        better.corrects = technician.tray.last().map(|(_, id)| *id);
        technician.write(job, Body::Serial(better));
        technician.tick(job, Place::of("no-such-step", 0, "x"));
        technician.push().await;
    }
    project_dirty(&app.state, ids::FIRM).await.unwrap();
    let before = rows(&app).await;
    assert!(before.iter().any(|row| row["standing"] == json!("replaced")));
    assert!(before.iter().any(|row| row["findings"].as_i64() > Some(0)));
    reproject_all(&app.state, ids::FIRM).await.unwrap();
    assert_eq!(rows(&app).await, before);
    let again: i64 = count(&app, "select count(*) from jobs where projected_head < head").await;
    assert_eq!(again, 0);
}

async fn count(app: &TestApp, sql: &str) -> i64 {
    let pool = app.db.owner_pool().await;
    sqlx::query_scalar(sql).fetch_one(&pool).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_serial_on_two_jobs_is_found_once_on_each() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let first = lead.plan_job(&method, &[]);
    let second = lead.plan_job(&method, &[]);
    lead.push().await;
    lead.arrive(first, b"one");
    lead.arrive(second, b"two");
    let here = lead.scan(first, 1, "bx24-000150");
    let there = lead.scan(second, 2, "BX24 000 150");
    lead.push().await;
    for _ in 0..3 {
        lead.pull().await;
        // Anything new makes the job be projected again.
        lead.write(first, Body::Remark(Remark { at: None, text: "again".into() }));
        lead.push().await;
    }
    lead.pull().await;
    let (here, there) = (here.to_string(), there.to_string());
    assert_eq!(findings(&lead, first), [(FindingCode::SerialElsewhere, here.clone(), there.clone())]);
    assert_eq!(findings(&lead, second), [(FindingCode::SerialElsewhere, there, here)]);
    let row = lead.client.get(&format!("/api/jobs/{second}")).await.body;
    assert_eq!((&row["findings"], &row["breaches"]), (&json!(1), &json!(0)), "{row}");
    let held = lead.files[&first].iter().find(|held| matches!(held.entry.body(), Some(Body::Finding(_)))).unwrap();
    assert!(held.stamp.is_some() && held.entry.header.device != lead.device());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_photo_on_two_jobs_is_found() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let first = lead.plan_job(&method, &[]);
    let second = lead.plan_job(&method, &[]);
    lead.push().await;
    let here = lead.photograph(first, Place::of("arrive", 0, "photo"), b"same bytes").to_string();
    let there = lead.photograph(second, Place::of("arrive", 0, "photo"), b"same bytes").to_string();
    lead.push().await;
    lead.pull().await;
    assert_eq!(findings(&lead, first), [(FindingCode::PhotoElsewhere, here.clone(), there.clone())]);
    assert_eq!(findings(&lead, second), [(FindingCode::PhotoElsewhere, there, here)]);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_entries_after_one_are_a_forked_chain() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[]);
    lead.push().await;
    let note = |text: &str| Body::Remark(Remark { at: None, text: text.into() });
    let (one, two) = (lead.draft(job, note("one")), lead.draft(job, note("two")));
    let (first, later) = (one.header.id.to_string(), two.header.id.to_string());
    lead.push_bytes(&[one.bytes().to_vec(), two.bytes().to_vec()]).await;
    lead.pull().await;
    assert_eq!(findings(&lead, job), [(FindingCode::ForkedChain, later, first)]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_of_an_unknown_method_is_listed_without_guesses() {
    let app = TestApp::start().await;
    let mut method = publish_small_method(&app).await;
    method.id = "from-elsewhere".into();
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    lead.arrive(job, b"x");
    lead.push().await;
    let row = lead.client.get(&format!("/api/jobs/{job}")).await.body;
    assert_eq!(row["method_known"], json!(false));
    assert_eq!((&row["steps"]["total"], &row["breaches"]), (&json!(0), &json!(0)));
    assert_eq!((&row["town"], &row["crew"]), (&json!("10000 Exampleton"), &json!([ids::ASHDOWN])));
}
