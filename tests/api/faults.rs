//! What no caller may bring about: a fault of ours by a text of theirs. Every field of every JSON body and every part of every
//! address, with what a database or a folder cannot take.

use domain::job_file::Body;
use domain::job_file::body::{Schedule, SiteDetails};
use domain::wire::sync::PushVerdict;
use reqwest::Method;
use serde_json::{Value, json};
use server::demo::ids;
use server::job_files::project::project_dirty;
use tests::app::TestApp;
use tests::client::{Answer, Client, send};
use tests::phone::{TestPhone, publish_small_method, serial_read};
use uuid::Uuid;

/// Every address that takes JSON, with a body that would be good for it.
fn bodies(job: Uuid, device: Uuid, person: Uuid) -> Vec<(Method, String, Value)> {
    let instrument =
        json!({"kind": "k", "label": "l", "serial": "s", "calibration_due": "2027-01-01", "retired": false});
    let model = json!({"kind": "module", "maker": "m", "name": "n", "gtin": "09521234543213", "serial_prefix": "p",
        "serial_length": [1, 9], "values": {"current_max": 5}, "retired": false});
    vec![
        (
            Method::POST,
            "/api/session".into(),
            json!({"email": "a@b", "password": "p", "device": device, "device_label": "d"}),
        ),
        (
            Method::POST,
            "/api/links/token".into(),
            json!({"password": "long enough for us", "display_name": "n", "firm_name": "f", "email": "a@b"}),
        ),
        (
            Method::POST,
            "/api/people".into(),
            json!({"email": "a@b.example", "display_name": "n", "roles": ["lead"], "language": "en"}),
        ),
        (
            Method::PATCH,
            format!("/api/people/{}", ids::ASHDOWN),
            json!({"display_name": "n", "roles": ["lead"], "active": true, "tickets": [{"kind": "k", "expires": "2027-01-01"}]}),
        ),
        (Method::PATCH, format!("/api/people/{person}"), json!({"language": "en", "decimal": "."})),
        (Method::PUT, format!("/api/people/{person}/pin"), json!({"password": "p", "pin": "493817"})),
        (Method::PATCH, "/api/firm".into(), json!({"name": "n", "shows_last_seen": true})),
        (Method::PUT, format!("/api/devices/{device}/key"), json!({"key": "04"})),
        (Method::POST, "/api/instruments".into(), instrument.clone()),
        (Method::PATCH, format!("/api/instruments/{}", ids::VOLTMETER), instrument),
        (Method::POST, "/api/models".into(), model.clone()),
        (Method::PATCH, format!("/api/models/{}", ids::MODULE), model),
        (
            Method::POST,
            "/api/rule-sets/uk".into(),
            json!({"after": 0, "changes": [{"rule": "UK-1M", "micro": 1_500_000, "reason": "r"}]}),
        ),
        (Method::POST, format!("/api/jobs/{job}/voice-answers"), json!({"step": "s", "slot": 0, "requirement": "r"})),
        (Method::POST, format!("/api/jobs/{job}/seal"), json!({"language": "en"})),
    ]
}

/// The body with one thing in it replaced, for every thing in it: texts, keys, numbers, lists.
fn each_spoilt(body: &Value, by: &Value) -> Vec<Value> {
    let mut all = vec![by.clone()];
    match body {
        Value::Object(fields) => {
            for (key, value) in fields {
                all.extend(each_spoilt(value, by).into_iter().map(|spoilt| {
                    let mut fields = fields.clone();
                    fields.insert(key.clone(), spoilt);
                    Value::Object(fields)
                }));
                if let Value::String(name) = by {
                    let mut fields = fields.clone();
                    fields.insert(name.clone(), value.clone());
                    all.push(Value::Object(fields));
                }
            }
        }
        Value::Array(items) => {
            for (at, item) in items.iter().enumerate() {
                all.extend(each_spoilt(item, by).into_iter().map(|spoilt| {
                    let mut items = items.clone();
                    items[at] = spoilt;
                    Value::Array(items)
                }));
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
    all
}

/// Refused or done, and never our fault.
fn no_fault(answer: &Answer, what: &str) {
    assert!(answer.status < 500, "{what}: {} {}", answer.status, answer.body);
    if answer.status >= 400 && what.contains("/api") {
        assert_eq!(answer.header("content-type"), "application/problem+json", "{what}");
    }
}

/// A job of the small method, and its owner, who leads too.
async fn owner_with_job(app: &TestApp) -> (Client, Uuid) {
    let method = publish_small_method(app).await;
    let mut owner = TestPhone::sign_in(app, "marlow@larkfield.example").await;
    let job = owner.plan_job(&method, &[]);
    owner.push().await;
    (owner.client, job.uuid())
}

#[tokio::test(flavor = "multi_thread")]
async fn no_text_number_or_list_in_a_body_is_a_fault_of_ours() {
    let app = TestApp::start().await;
    let (owner, job) = owner_with_job(&app).await;
    let spoils = [
        json!("a\0b"),
        json!("x".repeat(10_000)),
        json!("\u{e9}".repeat(300)),
        json!("\u{202e}\u{200b}\u{feff}"),
        json!(""),
        json!(i64::MAX),
        json!(-1),
        json!(1e300),
        json!([]),
        Value::Null,
    ];
    let mut asked = 0;
    for (method, path, good) in bodies(job, owner.device(), owner.person()) {
        for by in &spoils {
            for spoilt in each_spoilt(&good, by) {
                let answer = send(owner.request(method.clone(), &path).json(&spoilt)).await;
                no_fault(&answer, &format!("{method} {path} {:.200}", spoilt.to_string()));
                if by == &spoils[0] {
                    assert_eq!(answer.problem(), (400, "malformed"), "{method} {path} {spoilt}");
                }
                asked += 1;
            }
        }
    }
    assert!(asked > 700, "{asked} bodies");
}

#[tokio::test(flavor = "multi_thread")]
async fn no_part_of_an_address_is_a_fault_of_ours() {
    let dist = tempfile::tempdir().unwrap();
    std::fs::write(dist.path().join("index.html"), "<!doctype html>").unwrap();
    let folder = dist.path().to_owned();
    let app = TestApp::start_with(tests::db::TestDb::create().await, move |config| {
        config.web_dist = Some(folder);
        config.demo = true;
    })
    .await;
    let (owner, job) = owner_with_job(&app).await;
    let long = "x".repeat(256);
    let longer = "%C3%A9".repeat(2_000);
    let parts =
        ["a%00b", "%00", long.as_str(), longer.as_str(), "%ff", "%2e%2e", "%E2%80%AE", "-1", "99999999999999999999"];
    let job = job.to_string();
    for pattern in [
        "/api/links/{}",
        "/api/people/{}",
        "/api/people/{}/reset",
        "/api/people/{}/pin",
        "/api/devices/{}",
        "/api/devices/{}/key",
        "/api/methods/{}/1",
        "/api/methods/small/{}",
        "/api/methods/{}/1/sheet.pdf",
        "/api/instruments/{}",
        "/api/models/{}",
        "/api/rule-sets/{}",
        "/api/photos/uploads/{}",
        "/api/jobs/{}",
        "/api/jobs/{}/photos",
        "/api/jobs/JOB/photos/{}",
        "/api/jobs/JOB/photos/{}/upright",
        "/api/jobs/{}/voice-answers",
        "/api/jobs/{}/registration.json",
        "/api/jobs/{}/registration.csv",
        "/api/jobs/{}/seal",
        "/api/jobs/{}/seals",
        "/api/jobs/JOB/seals/{}/pack",
        "/api/jobs/{}/report.pdf",
        "/api/{}",
        "/{}",
        "/assets/{}",
        "/assets/{}.js",
        "/jobs/{}",
    ] {
        for part in parts {
            let path = pattern.replace("JOB", &job).replace("{}", part);
            for method in [Method::GET, Method::HEAD, Method::POST, Method::PATCH, Method::PUT, Method::DELETE] {
                let answer = send(owner.request(method.clone(), &path).json(&json!({}))).await;
                let what = format!("{method} {path:.120}");
                assert!(answer.status < 500, "{what}: {} {}", answer.status, answer.body);
                if part.contains("%00") || part.len() > 255 {
                    assert_eq!(answer.status, 404, "{what}");
                }
            }
        }
    }
    for path in ["/api/jobs", "/api/units", "/api/registration", &format!("/api/jobs/{job}/report.pdf")] {
        for name in ["q", "state", "after", "language"] {
            for part in parts {
                let answer = owner.get(&format!("{path}?{name}={part}")).await;
                no_fault(&answer, &format!("{path}?{name}={part:.60}"));
                if part.contains("%00") {
                    assert_eq!(answer.problem(), (400, "malformed"), "{path}?{name}");
                }
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_problem_names_its_request_as_the_answer_and_the_log_do() {
    let app = TestApp::start().await;
    let stranger = app.stranger();
    let given = stranger.request(Method::GET, "/api/people").header("x-request-id", "front-17");
    let given = send(given).await;
    assert_eq!((given.header("x-request-id"), &given.body["request"]), ("front-17", &json!("front-17")));
    let ours = stranger.get("/api/people").await;
    let id: Uuid = ours.header("x-request-id").parse().unwrap();
    assert_eq!(ours.body["request"], json!(id));
    let odd = send(stranger.request(Method::GET, "/api/health").header("x-request-id", "Mira Quill, <b>")).await;
    assert!(odd.header("x-request-id").parse::<Uuid>().is_ok(), "{}", odd.header("x-request-id"));
}

#[tokio::test(flavor = "multi_thread")]
async fn names_have_one_form_whatever_the_keyboard() {
    let app = TestApp::start().await;
    let owner = app.sign_in("marlow@larkfield.example").await;
    let renamed = owner.patch("/api/firm", &json!({"name": "Cafe\u{301} A\u{308}rger"})).await;
    assert_eq!(renamed.body["name"], json!("Café Ärger"));
    let invitation =
        json!({"email": "be\u{301}cu@b.example", "display_name": "Be\u{301}cu", "roles": ["lead"], "language": "en"});
    let invited = owner.post("/api/people", &invitation).await;
    assert_eq!(invited.body["person"]["display_name"], json!("Bécu"));
    let again = json!({"email": "bécu@b.example", "display_name": "Bécu", "roles": ["lead"], "language": "en"});
    assert_eq!(owner.post("/api/people", &again).await.problem(), (409, "email_taken"));
    // Whoever set a password on one keyboard signs in on another.
    let link = invited.body["link"].as_str().unwrap();
    let password = |e: &str| format!("correct caf{e} for tests");
    assert_eq!(app.follow(link, &json!({"password": password("e\u{301}")})).await.status, 204);
    app.sign_in_with("be\u{301}cu@b.example", &password("é")).await;
}

/// What a phone wrote is kept whatever it says. What the database cannot hold of it is left out of the lists and stops nobody.
#[tokio::test(flavor = "multi_thread")]
async fn no_text_in_an_entry_is_a_fault_of_ours() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, "quill@larkfield.example").await;
    let job = lead.plan_job(&method, &[]);
    lead.push().await;
    // Chance, so that no index can pack it into one of its rows.
    let endless: String = (0..400).map(|_| Uuid::new_v4().simple().to_string()).collect();
    lead.write(job, Body::Schedule(Schedule { day: endless.clone(), start: endless.clone() }));
    let site = SiteDetails {
        householder: "Rowan\0 Example".into(),
        street: "Lane\0 7".into(),
        town: "\0".into(),
        zone: "Europe/\0Berlin".into(),
        ..SiteDetails::default()
    };
    lead.write(job, Body::SiteDetails(site));
    lead.arrive(job, b"one");
    lead.write(job, Body::Serial(serial_read(1, "BX24\0-000150", Some(&endless))));
    lead.write(job, Body::Serial(serial_read(2, "BX24-000151", Some("L\u{0}7"))));
    let verdicts = lead.push().await;
    assert!(verdicts.iter().all(|verdict| matches!(verdict, PushVerdict::Stored(_))), "{verdicts:?}");
    project_dirty(&app.state, ids::FIRM).await.unwrap();
    let row = lead.client.get(&format!("/api/jobs/{job}")).await;
    assert_eq!((row.status, &row.body["householder"]), (200, &json!("Rowan Example")), "{}", row.body);
    let kept = row.body["day"].as_str().unwrap();
    assert!(!kept.is_empty() && kept.len() < 100 && endless.starts_with(kept), "{kept}");
    let lot = lead.client.get("/api/units?q=L7").await;
    assert_eq!(lot.body.as_array().map(Vec::len), Some(1), "{}", lot.body);
    let all = lead.client.get("/api/jobs?q=rowan%20example").await;
    assert_eq!(all.status, 200, "{}", all.body);
    // The file itself has every character.
    let mut other = TestPhone::sign_in(&app, "marlow@larkfield.example").await;
    other.pull().await;
    let whole = other.files[&job]
        .iter()
        .any(|held| matches!(held.entry.body(), Some(Body::Schedule(own)) if own.day == endless));
    assert!(whole, "nothing of an entry is cut");
}
