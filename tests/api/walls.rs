//! Between firms, and between roles: asked of every route.

use reqwest::Method;
use serde_json::{Value, json};
use server::demo::ids;
use tests::app::TestApp;
use tests::client::{Answer, Client, send};

async fn call(client: &Client, method: &Method, path: &str, body: &Value) -> Answer {
    let request = client.request(method.clone(), path);
    send(if *method == Method::GET || *method == Method::DELETE { request } else { request.json(body) }).await
}

/// Every route that names a thing of a firm, with a body that would be good for it.
fn routes_to_things(device: uuid::Uuid) -> Vec<(Method, String, Value)> {
    vec![
        (Method::PATCH, format!("/api/people/{}", ids::ASHDOWN), json!({"display_name": "Taken over"})),
        (Method::PATCH, format!("/api/people/{}", ids::ASHDOWN), json!({"language": "de"})),
        (Method::POST, format!("/api/people/{}/reset", ids::ASHDOWN), json!({})),
        (Method::DELETE, format!("/api/devices/{device}"), json!({})),
        (Method::PUT, format!("/api/devices/{device}/key"), json!({"key": "04"})),
        (Method::PATCH, format!("/api/instruments/{}", ids::VOLTMETER), json!({"label": "Taken over"})),
        (Method::PATCH, format!("/api/models/{}", ids::MODULE), json!({"name": "Taken over"})),
    ]
}

#[tokio::test(flavor = "multi_thread")]
async fn another_firm_sees_nothing_on_any_route() {
    let app = TestApp::start().await;
    let technician = app.sign_in("ashdown@larkfield.example").await;
    let stranger = app.open_firm("Other Firm", "owner@other.example").await;
    assert_ne!(stranger.firm(), technician.firm());

    let people = stranger.get("/api/people").await;
    assert_eq!(people.body.as_array().unwrap().len(), 1);
    assert_eq!(stranger.get("/api/devices").await.body.as_array().unwrap().len(), 1);
    assert_eq!(stranger.get("/api/instruments").await.body, json!([]));
    assert_eq!(stranger.get("/api/models").await.body, json!([]));
    let reference = stranger.get("/api/reference").await;
    assert_eq!(reference.body["people"].as_array().unwrap().len(), 1);
    assert_eq!((&reference.body["instruments"], &reference.body["models"]), (&json!([]), &json!([])));
    let text = String::from_utf8(reference.bytes).unwrap();
    assert!(!text.contains("larkfield") && !text.contains("Larkfield"), "{text}");

    for (method, path, body) in routes_to_things(technician.device()) {
        let answer = call(&stranger, &method, &path, &body).await;
        assert_eq!(answer.problem(), (404, "not_found"), "{method} {path}");
    }
    let after = technician.get("/api/reference").await;
    assert!(!String::from_utf8(after.bytes).unwrap().contains("Taken over"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_query_that_forgets_the_firm_still_sees_one_firm() {
    let app = TestApp::start().await;
    let other = app.open_firm("Other Firm", "owner@other.example").await;
    let pool = sqlx::PgPool::connect(&app.db.app_url()).await.unwrap();
    let count = async |firm: Option<String>| -> i64 {
        let mut tx = pool.begin().await.unwrap();
        if let Some(firm) = firm {
            sqlx::query("select set_config('app.firm', $1, true)").bind(firm).execute(&mut *tx).await.unwrap();
        }
        sqlx::query_scalar("select count(*) from people").fetch_one(&mut *tx).await.unwrap()
    };
    assert_eq!(count(None).await, 0, "no firm, no rows");
    assert_eq!(count(Some(other.firm().to_string())).await, 1);
    assert_eq!(count(Some(ids::FIRM.to_string())).await, 5);
    assert_eq!(count(Some(String::new())).await, 0);

    let mut tx = pool.begin().await.unwrap();
    sqlx::query("select set_config('app.firm', $1, true)")
        .bind(other.firm().to_string())
        .execute(&mut *tx)
        .await
        .unwrap();
    let smuggled = sqlx::query("insert into instruments (firm_id, id, kind, label, serial, calibration_due, changed_us) values ($1, $2, 'k', 'l', '', '', 0)")
        .bind(ids::FIRM.uuid())
        .bind(uuid::Uuid::new_v4())
        .execute(&mut *tx)
        .await;
    assert!(smuggled.unwrap_err().to_string().contains("row-level security"));
}

#[tokio::test(flavor = "multi_thread")]
async fn every_table_of_a_firm_is_closed() {
    let app = TestApp::start_empty().await;
    let open: Vec<String> = sqlx::query_scalar(
        "select c.relname::text from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attname = 'firm_id'
         where c.relkind in ('r', 'p') and c.relnamespace = 'public'::regnamespace
           and not (c.relrowsecurity and c.relforcerowsecurity
             and exists (select from pg_policy p where p.polrelid = c.oid and 0 = any (p.polroles)))",
    )
    .fetch_all(&app.db.owner_pool().await)
    .await
    .unwrap();
    assert_eq!(open, Vec::<String>::new());
}

#[tokio::test(flavor = "multi_thread")]
async fn each_route_asks_the_permission_table() {
    let app = TestApp::start().await;
    let people = [
        ("owner", app.sign_in("marlow@larkfield.example").await),
        ("lead", app.sign_in("quill@larkfield.example").await),
        ("technician", app.sign_in("ashdown@larkfield.example").await),
        ("office", app.sign_in("pendle@larkfield.example").await),
    ];
    let solano = format!("/api/people/{}", ids::SOLANO);
    // Bodies that are refused later than by permission, so that nothing changes under the next caller.
    let routes: Vec<(Method, String, Value, &[&str])> = vec![
        (Method::GET, "/api/people".into(), json!({}), &["owner", "lead", "technician", "office"]),
        (Method::GET, "/api/devices".into(), json!({}), &["owner", "lead", "technician", "office"]),
        (Method::GET, "/api/reference".into(), json!({}), &["owner", "lead", "technician", "office"]),
        (Method::GET, "/api/instruments".into(), json!({}), &["owner", "lead", "technician", "office"]),
        (Method::GET, "/api/models".into(), json!({}), &["owner", "lead", "technician", "office"]),
        (
            Method::POST,
            "/api/people".into(),
            json!({"email": "x", "display_name": "X", "roles": ["lead"], "language": "en"}),
            &["owner"],
        ),
        (Method::PATCH, solano.clone(), json!({"display_name": " "}), &["owner"]),
        (Method::PATCH, solano.clone(), json!({"language": "xx"}), &["owner"]),
        (Method::POST, format!("{solano}/reset"), json!({}), &["owner"]),
        (Method::PUT, format!("{solano}/pin"), json!({"password": "x", "pin": "1"}), &[]),
        (Method::PATCH, "/api/firm".into(), json!({"name": " "}), &["owner"]),
        (Method::POST, "/api/instruments".into(), json!({"kind": "tape"}), &["owner", "lead", "office"]),
        (Method::PATCH, format!("/api/instruments/{}", ids::TAPE), json!({"label": ""}), &["owner", "lead", "office"]),
        (Method::POST, "/api/models".into(), json!({"kind": "module"}), &["owner", "lead", "office"]),
        (Method::PATCH, format!("/api/models/{}", ids::MODULE), json!({"maker": ""}), &["owner", "lead", "office"]),
    ];
    for (method, path, body, allowed) in &routes {
        assert_eq!(
            call(&app.stranger(), method, path, body).await.problem(),
            (401, "token_missing"),
            "{method} {path}"
        );
        for (role, client) in &people {
            let answer = call(client, method, path, body).await;
            if allowed.contains(role) {
                assert!(
                    matches!(answer.status, 200 | 422),
                    "{role}: {method} {path} gives {} {}",
                    answer.status,
                    answer.body
                );
            } else {
                assert_eq!(answer.problem(), (403, "not_permitted"), "{role}: {method} {path}");
            }
        }
    }
}
