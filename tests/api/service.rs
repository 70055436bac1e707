//! What every answer has, the files, and the start.

use serde_json::{Value, json};
use tests::app::TestApp;
use tests::client::{Client, send};
use tests::db::TestDb;
use tests::program::Program;

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
    std::fs::create_dir(dist.path().join("icons")).unwrap();
    write("icons/mark.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>");
    write("app-0123456789abcdef_bg.wasm", b"\0asm\x01\0\0\0");
    write("app-0123456789abcdef.js", b"export {}");
    write("app-0123456789abcdef.js.br", b"not really brotli");
    let folder = dist.path().to_owned();
    let app = TestApp::start_with(TestDb::create().await, move |config| config.web_dist = Some(folder)).await;
    let client = app.stranger();

    for path in ["/", "/index.html", "/jobs/17", "/link/some-token"] {
        let page = client.get(path).await;
        assert_eq!((page.status, page.header("cache-control")), (200, "no-cache"), "{path}");
        assert_eq!(page.header("content-type"), "text/html; charset=utf-8", "{path}");
        let policy = page.header("content-security-policy");
        assert!(policy.contains("'wasm-unsafe-eval'") && policy.contains("frame-ancestors 'none'"), "{policy}");
        assert!(page.header("witnessmark-protocol").is_empty(), "only the API says so");
    }
    assert_eq!(client.get("/sw.js").await.header("cache-control"), "no-cache");
    assert_eq!(client.get("/icons/mark.svg").await.header("cache-control"), "public, max-age=3600");
    assert_eq!(client.get("/icons/none.svg").await.header("cache-control"), "no-cache");
    let wasm = client.get("/app-0123456789abcdef_bg.wasm").await;
    assert_eq!(wasm.header("content-type"), "application/wasm");
    assert_eq!(wasm.header("cache-control"), "public, max-age=31536000, immutable");
    assert_eq!(client.get("/app-ffffffffffffffff.js").await.status, 404, "a missing script is no page");
    assert_eq!(client.get("/app-ffffffffffffffff.js").await.header("cache-control"), "no-cache");
    for path in ["/..%2f..%2f..%2fetc%2fpasswd", "/assets/..%5c..%5csecret.txt"] {
        assert_eq!(client.get(path).await.status, 404, "{path}");
    }

    // An address that is neither: a browser sees the app, which says so; a probe or a scraper is not told that all is well.
    for path in ["/healthz", "/health", "/metrics", "/status", "/actuator/health", "/no/such/screen"] {
        assert_eq!(client.get(path).await.problem(), (404, "not_found"), "{path}");
        let browser = client.request(reqwest::Method::GET, path).header("accept", "text/html,*/*;q=0.8");
        let browser = send(browser).await;
        assert_eq!((browser.status, browser.header("content-type")), (404, "text/html; charset=utf-8"), "{path}");
        assert!(String::from_utf8_lossy(&browser.bytes).contains("<title>app"), "{path}");
    }

    let packed = client.request(reqwest::Method::GET, "/app-0123456789abcdef.js").header("accept-encoding", "br");
    let packed = send(packed).await;
    assert_eq!((packed.header("content-encoding"), packed.bytes.as_slice()), ("br", &b"not really brotli"[..]));
    assert_eq!(packed.header("content-type"), "text/javascript");
    assert_eq!(packed.header("vary"), "accept-encoding", "a cache between us must not give it to everybody");
    assert_eq!(client.get("/app-0123456789abcdef.js").await.bytes, b"export {}", "who packs nothing out gets it plain");
    assert_eq!(client.post("/", &json!({})).await.status, 405);
}

/// The server knows the app's screens by the first parts of their addresses.
#[test]
fn every_screen_of_the_app_is_a_screen_for_the_server() {
    let table = include_str!("../../web/src/routes.rs");
    let parse = table.split("pub fn parse(").nth(1).unwrap().split("\n            _ => Self::Nowhere").next().unwrap();
    let arms = parse.lines().filter_map(|line| line.trim().strip_prefix("[\""));
    let firsts: std::collections::BTreeSet<&str> = arms.map(|arm| arm.split('"').next().unwrap()).collect();
    let known: std::collections::BTreeSet<&str> = server::http::files::SCREENS.into_iter().collect();
    assert!(firsts.len() > 10, "{firsts:?}");
    assert_eq!(firsts, known);
}

#[tokio::test(flavor = "multi_thread")]
async fn probes_tell_what_is_wrong() {
    let photos = tempfile::tempdir().unwrap();
    let folder = photos.path().join("photos");
    let store = server::config::PhotoStoreSetting::Folder(folder.clone());
    let app = TestApp::start_with(TestDb::create().await, move |config| config.photo_store = store).await;
    let client = app.stranger();
    let parts = async || {
        let answer = client.get("/readyz").await;
        assert_eq!(answer.problem(), (503, "not_ready"), "{}", answer.body);
        answer.body["parts"].clone()
    };
    assert_eq!((client.get("/livez").await.status, client.get("/readyz").await.status), (200, 200));
    // A disk that is not mounted any more looks like an empty folder.
    std::fs::rename(&folder, photos.path().join("elsewhere")).unwrap();
    std::fs::create_dir(&folder).unwrap();
    assert_eq!(parts().await, json!(["store"]));
    std::fs::remove_dir(&folder).unwrap();
    std::fs::rename(photos.path().join("elsewhere"), &folder).unwrap();
    assert_eq!(client.get("/readyz").await.status, 200);

    let owner = app.db.owner_pool().await;
    sqlx::query("update _sqlx_migrations set success = false where version > 9").execute(&owner).await.unwrap();
    assert_eq!(parts().await, json!(["migrations"]));
    sqlx::query("update _sqlx_migrations set success = true").execute(&owner).await.unwrap();
    assert_eq!(client.get("/readyz").await.status, 200);

    sqlx::query("alter table server_epoch rename to gone").execute(&owner).await.unwrap();
    assert_eq!(parts().await, json!(["database"]));
    assert_eq!(client.get("/livez").await.status, 200, "the process lives, and a restart would help nobody");
}

/// The note in the first migration says that the row may be deleted: so it may.
#[tokio::test(flavor = "multi_thread")]
async fn a_deleted_epoch_begins_another_life() {
    let app = TestApp::start_empty().await;
    let client = app.stranger();
    let before = client.get("/api/health").await.body["epoch"].clone();
    let owner = app.db.owner_pool().await;
    sqlx::query("delete from server_epoch").execute(&owner).await.unwrap();
    let after = client.get("/api/health").await;
    assert_eq!(after.status, 200, "{}", after.body);
    assert!(after.body["epoch"].as_str().is_some_and(|epoch| epoch.len() == 32) && after.body["epoch"] != before);
    assert_eq!(client.get("/api/health").await.body["epoch"], after.body["epoch"]);
}

/// As `docker-compose.yml` has it. Where this fails on a cluster of yours, `cargo xtask db reset` makes it anew.
#[tokio::test(flavor = "multi_thread")]
async fn databases_fold_letters_and_notice_rotten_pages() {
    let db = TestDb::create().await;
    let pool = db.owner_pool().await;
    let folds: bool = sqlx::query_scalar("select lower('Ö') = 'ö' and 'Ä' > 'Z'").fetch_one(&pool).await.unwrap();
    assert!(folds, "letters beyond ASCII have no capitals, or bytes lost their order");
    let checked: String = sqlx::query_scalar("show data_checksums").fetch_one(&pool).await.unwrap();
    assert_eq!(checked, "on");
}

/// The standard output of a service is a log that is kept.
#[tokio::test(flavor = "multi_thread")]
async fn the_first_owners_link_is_printed_by_the_command_and_not_by_the_service() {
    let folder = tempfile::tempdir().unwrap();
    let photos = format!("file://{}", folder.path().join("photos").display());
    let db = TestDb::create().await;
    let mut program = Program::of(&db, photos, folder.path()).unwrap().with("DEMO", "0".to_owned());
    program.start().await.unwrap();
    let printed = program.command("new-firm").await.unwrap();
    let link = printed.split_whitespace().find(|word| word.contains("/link/")).unwrap();
    let said = format!("{}{}", program.said().unwrap(), program.log());
    assert!(said.contains("`new-firm`") && !said.contains("/link/"), "{said}");
    let body = json!({"password": tests::app::PASSWORD, "display_name": "n", "firm_name": "f", "email": "a@b.example"});
    let followed = Client::new(&program.address()).post(&tests::app::api_of(link), &body).await;
    assert_eq!(followed.status, 204, "{}", followed.body);
    program.kill().await.unwrap();
}

/// A log that a program reads: durations are numbers, and a line has its request's id.
#[tokio::test(flavor = "multi_thread")]
async fn lines_of_the_log_can_be_counted_with() {
    let folder = tempfile::tempdir().unwrap();
    let photos = format!("file://{}", folder.path().join("photos").display());
    let db = TestDb::create().await;
    let mut program = Program::of(&db, photos, folder.path()).unwrap();
    program.start().await.unwrap();
    let asked = Client::new(&program.address())
        .request(reqwest::Method::GET, "/api/people")
        .header("x-request-id", "look-for-me");
    assert_eq!(send(asked).await.status, 401);
    program.kill().await.unwrap();
    let log = program.log();
    let lines: Vec<Value> = log.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
    let line =
        lines.iter().find(|line| line["fields"]["request_id"] == "look-for-me").unwrap_or_else(|| panic!("{log}"));
    assert!(line["fields"]["took_ms"].is_u64() && line["fields"]["status"] == 401, "{line}");
}

/// A store that cannot be used is found at the start, and named.
#[tokio::test(flavor = "multi_thread")]
async fn a_photo_store_that_takes_nothing_stops_the_start() {
    let app = TestApp::start_empty().await;
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("probe"), "").unwrap();
    let mut config = (*app.state.config).clone();
    config.photo_store = server::config::PhotoStoreSetting::Folder(folder.path().to_owned());
    let error = server::build(config).await.err().expect("it must not start").to_string();
    assert!(error.starts_with("PHOTO_STORE: nothing can be written there"), "{error}");
}

/// A browser that asks by age would keep the page of a build that was taken back, beside the worker of the one before.
#[tokio::test(flavor = "multi_thread")]
async fn what_may_change_is_known_by_its_bytes_and_not_by_its_age() {
    let dist = tempfile::tempdir().unwrap();
    let page = dist.path().join("index.html");
    let put = |text: &str, packed: &[u8]| {
        std::fs::write(&page, text).unwrap();
        std::fs::write(page.with_extension("html.br"), packed).unwrap();
        // As files of an image have it that is built the same way each time.
        let file = std::fs::File::options().write(true).open(&page).unwrap();
        file.set_modified(std::time::UNIX_EPOCH + std::time::Duration::from_secs(86_400)).unwrap();
    };
    put("<!doctype html><title>one</title>", b"one, packed");
    let folder = dist.path().to_owned();
    let app = TestApp::start_with(TestDb::create().await, move |config| config.web_dist = Some(folder)).await;
    let client = app.stranger();
    let ask = |encoding: &'static str, mark: String| {
        let asked = client.request(reqwest::Method::GET, "/jobs/17").header("accept-encoding", encoding);
        send(asked.header("if-none-match", mark).header("if-modified-since", "Fri, 02 Jan 1970 00:00:00 GMT"))
    };
    for encoding in ["identity", "br"] {
        let first = ask(encoding, String::new()).await;
        assert_eq!(first.status, 200, "{encoding}: nobody has it yet, whatever its age");
        assert_eq!(first.header("last-modified"), "");
        let mark = first.header("etag").to_owned();
        assert!(mark.starts_with("W/\""), "{mark}");
        let known = ask(encoding, mark.clone()).await;
        assert_eq!((known.status, known.bytes.len(), known.header("etag")), (304, 0, mark.as_str()));
        assert_eq!(known.header("vary"), "accept-encoding");
        put("<!doctype html><title>two</title>", b"two, packed");
        let other = ask(encoding, mark).await;
        assert_eq!(other.status, 200, "{encoding}: another build of the same age");
        put("<!doctype html><title>one</title>", b"one, packed");
    }
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
