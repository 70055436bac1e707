//! A firm's own rule sets: copied, tightened, loosened with a reason, and never another firm's.

use serde_json::{Value, json};
use tests::app::TestApp;
use tests::client::Client;

const UK: &str = "/api/rule-sets/uk";

fn change(rule: &str, micro: i64, reason: &str) -> Value {
    json!({"rule": rule, "micro": micro, "reason": reason})
}

fn next(after: u32, changes: &[Value]) -> Value {
    json!({"after": after, "changes": changes})
}

async fn listed(client: &Client) -> Value {
    client.get("/api/rule-sets").await.body
}

#[tokio::test(flavor = "multi_thread")]
async fn a_copy_is_tightened_and_every_version_stays() {
    let app = TestApp::start().await;
    let lead = app.sign_in("quill@larkfield.example").await;
    let technician = app.sign_in("ashdown@larkfield.example").await;
    let version = async || technician.get("/api/reference").await.body["version"].as_i64().unwrap();
    let first = version().await;
    let copy = lead.post(UK, &next(0, &[])).await;
    assert_eq!(copy.status, 201, "{}", copy.body);
    assert_eq!(copy.body, json!({"place": "uk", "version": 1, "base": 1, "changes": []}));
    let tight = lead.post(UK, &next(1, &[change("UK-1M", 1_500_000, "")])).await;
    assert_eq!((&tight.body["version"], tight.status), (&json!(2), 201));
    let loose = lead.post(UK, &next(2, &[change("UK-1M", 800_000, " agreed with the fire officer ")])).await;
    assert_eq!((&loose.body["version"], loose.status), (&json!(3), 201));
    assert_eq!(loose.body["changes"][0]["reason"], json!("agreed with the fire officer"));
    // Offline a device needs all of them: a job names one.
    let reference = technician.get("/api/reference").await.body;
    let all = reference["rule_sets"].as_array().unwrap();
    let metres: Vec<i64> = all.iter().filter_map(|one| one["changes"][0]["micro"].as_i64()).collect();
    assert_eq!((all.len(), metres), (3, vec![1_500_000, 800_000]));
    assert_eq!(version().await, first + 3, "devices learn of each");
    // No row of it can be changed by the server at all.
    let pool = sqlx::PgPool::connect(&app.db.app_url()).await.unwrap();
    for statement in ["update rule_sets set version = 9", "delete from rule_sets"] {
        let refused = sqlx::query(statement).execute(&pool).await.unwrap_err().to_string();
        assert!(refused.contains("permission denied"), "{statement}: {refused}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_rule_set_cannot_be_is_a_problem_document() {
    let app = TestApp::start().await;
    let lead = app.sign_in("quill@larkfield.example").await;
    let long = "x".repeat(301);
    for (rule, micro, reason, code) in [
        ("UK-1M", 999_999, "", "rule_reason_missing"),
        ("UK-1M", 999_999, "  ", "rule_reason_missing"),
        ("UK-1M", 999_999, long.as_str(), "rule_reason_long"),
        ("UK-LOFT", 1, "said", "rule_fixed"),
        ("UK-RCD-1", 200_000, "", "rule_fixed"),
        ("UK-9M", 1, "said", "rule_unknown"),
        ("UK-1M", -1, "said", "rule_implausible"),
        ("UK-1M", i64::MAX, "", "rule_implausible"),
        ("UK-G98-B", 1_500_000, "", "rule_implausible"),
    ] {
        let refused = lead.post(UK, &next(0, &[change(rule, micro, reason)])).await;
        assert_eq!(refused.problem(), (422, code), "{rule} {micro}");
        assert_eq!(refused.header("content-type"), "application/problem+json");
        assert_eq!(refused.body["detail"], json!(rule));
    }
    let twice = [change("UK-1M", 2_000_000, ""), change("UK-1M", 900_000, "")];
    assert_eq!(lead.post(UK, &next(0, &twice)).await.problem(), (422, "rule_twice"));
    assert_eq!(lead.post("/api/rule-sets/atlantis", &next(0, &[])).await.problem(), (404, "not_found"));
    assert_eq!(lead.post(UK, &json!({"after": 0})).await.problem(), (400, "malformed"));
    assert_eq!(lead.post(UK, &next(1, &[])).await.problem(), (409, "changed_meanwhile"));
    assert_eq!(listed(&lead).await, json!([]), "nothing of it was kept");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_leads_at_once_make_one_version() {
    let app = TestApp::start().await;
    let (one, two) = (app.sign_in("marlow@larkfield.example").await, app.sign_in("quill@larkfield.example").await);
    for round in 0..4 {
        let body = next(round, &[change("UK-1M", 1_100_000 + i64::from(round), "")]);
        let (left, right) = tokio::join!(one.post(UK, &body), two.post(UK, &body));
        let mut answers = [left.status, right.status];
        answers.sort_unstable();
        assert_eq!(answers, [201, 409], "round {round}");
    }
    assert_eq!(listed(&one).await.as_array().unwrap().len(), 4);
}

#[tokio::test(flavor = "multi_thread")]
async fn only_who_plans_changes_rules_and_another_firm_sees_none() {
    let app = TestApp::start().await;
    let owner = app.sign_in("marlow@larkfield.example").await;
    assert_eq!(owner.post(UK, &next(0, &[change("UK-1M", 1_250_000, "")])).await.status, 201);
    for name in ["ashdown", "pendle"] {
        let other = app.sign_in(&format!("{name}@larkfield.example")).await;
        assert_eq!(other.post(UK, &next(1, &[])).await.problem(), (403, "not_permitted"), "{name}");
        assert_eq!(listed(&other).await.as_array().unwrap().len(), 1, "{name} sees what judges the work");
    }
    let stranger = app.open_firm("Other Firm", "owner@other.example").await;
    assert_eq!(listed(&stranger).await, json!([]));
    assert_eq!(stranger.get("/api/reference").await.body["rule_sets"], json!([]));
    // Their versions count from one by themselves.
    let own = stranger.post(UK, &next(0, &[])).await;
    assert_eq!((&own.body["version"], own.status), (&json!(1), 201));
    assert_eq!(listed(&owner).await[0]["changes"][0]["micro"], json!(1_250_000));
}
