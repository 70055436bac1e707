//! What every answer has, the files, and the start.

use serde_json::json;
use tests::app::TestApp;
use tests::client::send;
use tests::db::TestDb;

#[tokio::test(flavor = "multi_thread")]
async fn every_answer_of_the_api_is_marked_as_ours() {
    let app = TestApp::start().await;
    let client = app.stranger();
    let health = client.get("/api/health").await;
    assert_eq!((health.status, &health.body["ok"]), (200, &json!(true)));
    assert_eq!(health.body["epoch"].as_str().unwrap().len(), 32);
    let too_large = json!({"email": "x".repeat(70_000), "password": "", "device_label": ""});
    let plain_text = client.request(reqwest::Method::POST, "/api/session").body("hello");
    for (answer, problem) in [
        (health, (200, "")),
        (client.get("/api/people").await, (401, "token_missing")),
        (client.get("/api/nothing/here").await, (404, "not_found")),
        (client.get("/api").await, (404, "not_found")),
        (client.delete("/api/people").await, (405, "method_not_allowed")),
        (client.post("/api/session", &too_large).await, (413, "too_large")),
        (client.post("/api/session", &json!({"email": 1})).await, (400, "malformed")),
        (send(plain_text).await, (415, "media_type")),
    ] {
        assert_eq!(answer.problem(), problem);
        assert_eq!(answer.header("witnessmark-protocol"), "1", "{problem:?}");
        assert_eq!(answer.header("cache-control"), "no-store", "{problem:?}");
        assert_eq!(answer.header("x-content-type-options"), "nosniff");
        let expected = if problem.0 == 200 { "application/json" } else { "application/problem+json" };
        assert_eq!(answer.header("content-type"), expected, "{problem:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_app_is_served_with_the_right_types_and_ages() {
    let dist = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| std::fs::write(dist.path().join(name), bytes).unwrap();
    write("index.html", b"<!doctype html><title>app</title>");
    write("sw.js", b"// worker");
    write("app-0123456789abcdef_bg.wasm", b"\0asm\x01\0\0\0");
    write("app-0123456789abcdef.js", b"export {}");
    write("app-0123456789abcdef.js.br", b"not really brotli");
    let folder = dist.path().to_owned();
    let app = TestApp::start_with(TestDb::create().await, move |config| config.web_dist = Some(folder)).await;
    let client = app.stranger();

    for path in ["/", "/index.html", "/jobs/17", "/link/some-token"] {
        let page = client.get(path).await;
        assert_eq!((page.status, page.header("cache-control")), (200, "no-cache"), "{path}");
        assert_eq!(page.header("content-type"), "text/html", "{path}");
        let policy = page.header("content-security-policy");
        assert!(policy.contains("'wasm-unsafe-eval'") && policy.contains("frame-ancestors 'none'"), "{policy}");
        assert!(page.header("witnessmark-protocol").is_empty(), "only the API says so");
    }
    assert_eq!(client.get("/sw.js").await.header("cache-control"), "no-cache");
    let wasm = client.get("/app-0123456789abcdef_bg.wasm").await;
    assert_eq!(wasm.header("content-type"), "application/wasm");
    assert_eq!(wasm.header("cache-control"), "public, max-age=31536000, immutable");
    assert_eq!(client.get("/app-ffffffffffffffff.js").await.status, 404, "a missing script is no page");
    assert_eq!(client.get("/app-ffffffffffffffff.js").await.header("cache-control"), "no-cache");
    for path in ["/..%2f..%2f..%2fetc%2fpasswd", "/assets/..%5c..%5csecret.txt"] {
        assert_eq!(client.get(path).await.status, 404, "{path}");
    }

    let packed = client.request(reqwest::Method::GET, "/app-0123456789abcdef.js").header("accept-encoding", "br");
    let packed = send(packed).await;
    assert_eq!((packed.header("content-encoding"), packed.bytes.as_slice()), ("br", &b"not really brotli"[..]));
    assert_eq!(client.post("/", &json!({})).await.status, 405);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_role_that_passes_row_level_security_is_refused() {
    let db = TestDb::create().await;
    let owner_url = db.owner_url();
    let app = TestApp::start_with(db, |_| {}).await;
    let mut config = (*app.state.config).clone();
    config.database_url = owner_url;
    let error = server::build(config).await.err().expect("it must not start").to_string();
    assert!(error.starts_with("DATABASE_URL: the role") && error.contains("row-level security"), "{error}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_table_that_somebody_left_open_stops_the_start() {
    let app = TestApp::start_empty().await;
    let pool = app.db.owner_pool().await;
    sqlx::query("create table forgotten (firm_id uuid not null)").execute(&pool).await.unwrap();
    let error = server::build((*app.state.config).clone()).await.err().expect("it must not start").to_string();
    assert!(error.contains("forgotten"), "{error}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_published_method_that_changed_stops_the_start() {
    let app = TestApp::start_empty().await;
    let pool = app.db.owner_pool().await;
    sqlx::query("update methods set hash = decode(repeat('00', 32), 'hex')").execute(&pool).await.unwrap();
    let error = server::build((*app.state.config).clone()).await.err().expect("it must not start").to_string();
    assert!(error.contains("give the file the next version number"), "{error}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_second_server_on_the_same_database_needs_no_owner_and_shares_sessions() {
    let app = TestApp::start().await;
    let client = app.sign_in("ashdown@larkfield.example").await;
    let (database_url, public_url) = (app.db.app_url(), app.base.clone());
    let second = TestApp::start_with(TestDb::create().await, |config| {
        config.database_url = database_url;
        config.database_owner_url = None;
        config.public_url = public_url;
    })
    .await;
    let mut there = second.stranger();
    there.token = client.token.clone();
    assert_eq!(there.get("/api/people").await.status, 200);
    there.cookie = client.cookie.clone();
    assert_eq!(there.refresh().await.status, 200);
    second.stop().await;
}
