use serde_json::json;
use server::auth::refresh::{IDLE_US, SAME_ANSWER_US};
use server::clock::{DAY_US, SECOND_US};
use tests::app::TestApp;
use tests::client::send;

const TECHNICIAN: &str = "ashdown@larkfield.example";
const OTHER: &str = "quill@larkfield.example";

#[tokio::test(flavor = "multi_thread")]
async fn signing_in_gives_a_session_and_signing_out_ends_it() {
    let app = TestApp::start().await;
    let mut client = app.stranger();
    let answer = client.sign_in("  Ashdown@Larkfield.example ", server::demo::PASSWORD, None).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    assert_eq!(answer.body["expires_in_s"], 600);
    assert_eq!(answer.body["person"]["roles"], json!(["technician"]));
    assert_eq!(answer.body["person"]["email"], TECHNICIAN);
    assert_eq!(answer.body["firm"]["shows_last_seen"], false);
    assert!(answer.body["server_us"].as_i64().unwrap() > 0);
    let cookie = answer.header("set-cookie");
    for part in ["__Host-witnessmark=", "HttpOnly", "Secure", "SameSite=Strict", "Path=/"] {
        assert!(cookie.contains(part), "{part} missing in {cookie}");
    }
    assert_eq!(client.get("/api/people").await.status, 200);

    let gone = client.sign_out().await;
    assert_eq!(gone.status, 204);
    assert!(gone.header("set-cookie").contains("Max-Age=0"));
    assert_eq!(client.refresh().await.problem(), (401, "session_ended"));
    assert_eq!(client.sign_out().await.status, 204, "signing out twice is no error");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_password_and_an_unknown_address_get_the_same_answer() {
    let app = TestApp::start().await;
    let mut client = app.stranger();
    let mut wrong = client.sign_in(TECHNICIAN, "not the password", None).await;
    let mut unknown = client.sign_in("nobody@larkfield.example", "not the password", None).await;
    for answer in [&mut wrong, &mut unknown] {
        assert!(
            answer.body.as_object_mut().unwrap().remove("request").is_some(),
            "every answer has a number of its own"
        );
    }
    assert_eq!(wrong.problem(), (401, "sign_in_refused"));
    assert_eq!(wrong.body, unknown.body);
    assert_eq!(wrong.header("content-type"), "application/problem+json");
    assert!(wrong.cookie().is_none() && client.token.is_none());
}

#[tokio::test(flavor = "multi_thread")]
async fn guessing_is_slowed_down_and_the_right_password_does_not_count() {
    let app = TestApp::start().await;
    let mut client = app.stranger();
    for _ in 0..12 {
        assert_eq!(client.sign_in(OTHER, server::demo::PASSWORD, None).await.status, 200);
    }
    for _ in 0..10 {
        assert_eq!(client.sign_in(TECHNICIAN, "guess guess guess", None).await.status, 401);
    }
    let stopped = client.sign_in(TECHNICIAN, server::demo::PASSWORD, None).await;
    assert_eq!(stopped.problem(), (429, "too_many_tries"));
    let wait: i64 = stopped.header("retry-after").parse().unwrap();
    assert!((1..=31).contains(&wait), "{wait}");
    assert_eq!(client.sign_in(OTHER, server::demo::PASSWORD, None).await.status, 200, "somebody else is not hindered");
    app.wait_us(wait * SECOND_US);
    assert_eq!(client.sign_in(TECHNICIAN, server::demo::PASSWORD, None).await.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_access_token_runs_out_and_a_refresh_gets_the_next() {
    let app = TestApp::start().await;
    let mut client = app.sign_in(TECHNICIAN).await;
    app.wait_us((600 + 59) * SECOND_US);
    assert_eq!(client.get("/api/people").await.status, 200, "within the leeway");
    app.wait_us(2 * SECOND_US);
    assert_eq!(client.get("/api/people").await.problem(), (401, "token_expired"));
    let before = client.cookie.clone();
    assert_eq!(client.refresh().await.status, 200);
    assert_ne!(client.cookie, before, "the refresh token is a new one");
    assert_eq!(client.get("/api/people").await.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_missing_a_foreign_and_a_broken_token_are_refused() {
    let app = TestApp::start().await;
    let mut client = app.stranger();
    assert_eq!(client.get("/api/people").await.problem(), (401, "token_missing"));
    client.token = Some("rubbish".to_owned());
    assert_eq!(client.get("/api/people").await.problem(), (401, "token_invalid"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_session_survives_45_days_offline_and_ends_after_90_idle_ones() {
    let app = TestApp::start().await;
    let mut client = app.sign_in(TECHNICIAN).await;
    app.wait_us(45 * DAY_US);
    assert_eq!(client.refresh().await.status, 200);
    app.wait_us(IDLE_US - SECOND_US);
    assert_eq!(client.refresh().await.status, 200);
    app.wait_us(IDLE_US);
    assert_eq!(client.refresh().await.problem(), (401, "session_ended"));
}

#[tokio::test(flavor = "multi_thread")]
async fn many_tabs_at_once_end_up_with_one_cookie() {
    let app = TestApp::start().await;
    let mut client = app.sign_in(TECHNICIAN).await;
    let cookie = client.cookie.clone().unwrap();
    let mut tabs = tokio::task::JoinSet::new();
    for _ in 0..40 {
        let (tab, cookie) = (client.clone(), cookie.clone());
        tabs.spawn(async move { tab.refresh_with(&cookie).await });
    }
    let answers = tabs.join_all().await;
    let first = answers[0].cookie();
    assert!(first.is_some());
    for answer in &answers {
        assert_eq!(answer.status, 200, "{}", answer.body);
        assert_eq!(answer.cookie(), first);
    }
    client.cookie = first;
    assert_eq!(client.refresh().await.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lost_answer_costs_nothing_soon_or_late() {
    let app = TestApp::start().await;
    let mut client = app.sign_in(TECHNICIAN).await;
    for pause_us in [0, SECOND_US, SAME_ANSWER_US + SECOND_US, 20 * DAY_US] {
        for _ in 0..3 {
            let cookie = client.cookie.clone().unwrap();
            assert_eq!(client.refresh_with(&cookie).await.status, 200, "this answer is lost");
            app.wait_us(pause_us);
        }
        assert_eq!(client.refresh().await.status, 200, "after {pause_us} µs");
        assert_eq!(client.get("/api/people").await.status, 200);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_replay_after_the_successor_was_used_ends_the_family() {
    let app = TestApp::start().await;
    let mut client = app.sign_in(TECHNICIAN).await;
    let elsewhere = app.sign_in(TECHNICIAN).await;
    let stolen = client.cookie.clone().unwrap();
    assert_eq!(client.refresh().await.status, 200);
    assert_eq!(client.refresh().await.status, 200);
    assert_eq!(client.refresh_with(&stolen).await.problem(), (401, "session_replayed"));
    assert_eq!(client.refresh().await.problem(), (401, "session_ended"), "the family is ended");
    let mut elsewhere = elsewhere;
    assert_eq!(elsewhere.refresh().await.status, 200, "another sign-in of the same person is another family");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_who_hold_one_old_token_are_found_out() {
    let app = TestApp::start().await;
    let client = app.sign_in(TECHNICIAN).await;
    let stolen = client.cookie.clone().unwrap();
    let owner_next = client.refresh_with(&stolen).await.cookie().unwrap();
    app.wait_us(SAME_ANSWER_US + SECOND_US);
    let thief_next = client.refresh_with(&stolen).await.cookie().unwrap();
    assert_ne!(owner_next, thief_next, "a late repeat gets another successor");
    assert_eq!(client.refresh_with(&owner_next).await.problem(), (401, "session_replayed"));
    assert_eq!(client.refresh_with(&thief_next).await.problem(), (401, "session_ended"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_cookie_alone_changes_nothing_without_our_header() {
    let app = TestApp::start().await;
    let mut client = app.sign_in(TECHNICIAN).await;
    let cookie = format!("__Host-witnessmark={}", client.cookie.clone().unwrap());
    for (method, path) in [(reqwest::Method::POST, "/api/session/refresh"), (reqwest::Method::DELETE, "/api/session")] {
        let answer = send(app.stranger().request(method, path).header("cookie", &cookie)).await;
        assert_eq!(answer.problem(), (403, "header_missing"), "{path}");
    }
    assert_eq!(client.refresh().await.status, 200, "neither did anything");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_enrolment_is_taken_up_again_by_its_own_person_only() {
    let app = TestApp::start().await;
    let mut client = app.sign_in(TECHNICIAN).await;
    let device = client.device();
    client.sign_in(TECHNICIAN, server::demo::PASSWORD, Some(device)).await;
    assert_eq!(client.device(), device);

    let mut other = app.stranger();
    other.sign_in(OTHER, server::demo::PASSWORD, Some(device)).await;
    assert_ne!(other.device(), device, "the tablet is shared, the enrolment is not");

    assert_eq!(client.delete(&format!("/api/devices/{device}")).await.status, 204);
    client.sign_in(TECHNICIAN, server::demo::PASSWORD, Some(device)).await;
    assert_ne!(client.device(), device, "a revoked one is not taken up again");
}
