use domain::ids::JobId;
use domain::job_file::Body;
use domain::job_file::body::{Plain, Remark};
use domain::wire::limits::PULL_ENTRIES_MAX;
use serde_json::json;
use server::demo::ids;
use tests::app::TestApp;
use tests::phone::{TestPhone, publish_small_method};

const DAY_US: i64 = 86_400_000_000;

fn remark(text: String) -> Body {
    Body::Remark(Remark { at: None, text })
}

async fn phones(app: &TestApp) -> (TestPhone, TestPhone, TestPhone) {
    (
        TestPhone::sign_in(app, "quill@larkfield.example").await,
        TestPhone::sign_in(app, "ashdown@larkfield.example").await,
        TestPhone::sign_in(app, "pendle@larkfield.example").await,
    )
}

#[tokio::test(flavor = "multi_thread")]
async fn a_phone_gets_what_it_lacks_and_nothing_twice() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let (mut lead, mut technician, mut office) = phones(&app).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    // And the answers for the telephone, which the server draws when a job has a crew.
    let planned = lead.tray.len() + 1;
    lead.push().await;
    let reply = technician.pull_once(&[]).await;
    assert_eq!((reply.entries.len(), reply.more), (planned, false));
    assert_eq!(reply.methods, [method.reference()]);
    assert_eq!(reply.firm, ids::FIRM);
    assert!(reply.reference_version >= 1);
    assert_eq!(technician.pull().await, 0, "an assignment works at once, and only once");
    technician.write(job, remark("from the site".into()));
    technician.push().await;
    assert_eq!(technician.pull().await, 0, "its own push told it the stamps");
    assert_eq!(lead.pull().await, 2);
    assert_eq!(office.pull().await, planned + 1);
    assert_eq!(lead.files[&job], technician.files[&job]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_technician_sees_their_jobs_and_the_desk_all() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let (mut lead, mut technician, mut office) = phones(&app).await;
    let mine = lead.plan_job(&method, &[ids::ASHDOWN]);
    let theirs = lead.plan_job(&method, &[ids::SOLANO]);
    lead.push().await;
    technician.pull_once(&[theirs]).await;
    assert!(technician.sees(mine) && !technician.sees(theirs), "asking for it by name does not help");
    office.pull().await;
    assert!(office.sees(mine) && office.sees(theirs));
    let path = format!("/api/jobs/{theirs}");
    assert_eq!(technician.client.get(&path).await.problem(), (404, "not_found"));
    assert_eq!(technician.client.get("/api/jobs").await.body.as_array().unwrap().len(), 1);
    // Given to somebody else: gone from the manifest at once, as nothing was written in it.
    lead.assign(mine, &[ids::SOLANO]);
    lead.assign(theirs, &[ids::ASHDOWN]);
    lead.push().await;
    technician.pull().await;
    assert!(!technician.sees(mine) && technician.sees(theirs));
}

#[tokio::test(flavor = "multi_thread")]
async fn large_answers_come_in_pieces() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let (mut lead, mut technician, _) = phones(&app).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    for number in 0..40 {
        lead.write(job, remark(format!("{number} {}", "x".repeat(60_000))));
        if number % 8 == 7 {
            lead.push().await;
        }
    }
    let reply = technician.pull_once(&[]).await;
    assert!(reply.more && reply.entries.len() < 25, "{}", reply.entries.len());
    lead.pull().await;
    assert_eq!(reply.manifest[0].position, lead.files[&job].head(), "the manifest names the whole");
    technician.pull().await;
    assert_eq!(technician.files[&job], lead.files[&job]);

    let other = lead.plan_job(&method, &[ids::ASHDOWN]);
    // One more comes from the server: the answers for the telephone.
    let many = PULL_ENTRIES_MAX + 9 - lead.tray.len();
    for number in 0..many {
        lead.write(other, remark(format!("{number}")));
        if number % 400 == 0 {
            lead.push().await;
        }
    }
    lead.push().await;
    let reply = technician.pull_once(&[]).await;
    assert_eq!((reply.entries.len(), reply.more), (PULL_ENTRIES_MAX, true));
    let reply = technician.pull_once(&[]).await;
    assert_eq!((reply.entries.len(), reply.more), (10, false));
}

#[tokio::test(flavor = "multi_thread")]
async fn positions_of_another_server_life_count_for_nothing() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let (mut lead, mut technician, _) = phones(&app).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    lead.push().await;
    let all = technician.pull().await;
    assert_eq!(technician.pull().await, 0);
    let pool = app.db.owner_pool().await;
    sqlx::query("update server_epoch set epoch = decode(repeat('ab', 16), 'hex')").execute(&pool).await.unwrap();
    let reply = technician.pull_once(&[]).await;
    assert_eq!(reply.entries.len(), all, "everything is sent again");
    assert_eq!(reply.epoch.as_slice(), [0xab; 16]);
    assert_eq!(technician.pull().await, 0);
    assert_eq!(technician.files[&job].len(), all);
}

#[tokio::test(flavor = "multi_thread")]
async fn finished_jobs_leave_the_phones_after_a_while_and_can_be_asked_for() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let (mut lead, _, mut office) = phones(&app).await;
    let job = lead.plan_job(&method, &[]);
    let open = lead.plan_job(&method, &[]);
    lead.write(job, Body::Withdrawn(Plain {}));
    lead.push().await;
    office.pull().await;
    assert!(office.sees(job) && office.sees(open));
    app.wait_us(61 * DAY_US);
    office.client.refresh().await;
    office.pull().await;
    assert!(!office.sees(job) && office.sees(open));
    let missing: JobId = job;
    office.files.remove(&missing);
    let reply = office.pull_once(&[job]).await;
    assert!(office.sees(job) && !reply.entries.is_empty());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_office_learns_what_waits_on_a_device() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let (mut lead, _, _) = phones(&app).await;
    lead.plan_job(&method, &[]);
    let waiting = lead.tray.len();
    lead.pull_once(&[]).await;
    let pool = app.db.owner_pool().await;
    let (rows, contact): (i32, Option<i64>) =
        sqlx::query_as("select waiting, last_contact_us from devices where id = $1")
            .bind(lead.device().uuid())
            .fetch_one(&pool)
            .await
            .unwrap();
    assert_eq!(json!(rows), json!(waiting));
    assert!(contact.is_some());
}
