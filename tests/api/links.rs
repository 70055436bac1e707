use serde_json::json;
use server::clock::DAY_US;
use server::demo::ids;
use tests::app::{PASSWORD, TestApp, api_of};
use tests::db::TestDb;

#[tokio::test(flavor = "multi_thread")]
async fn the_first_owner_comes_by_a_link_that_works_once() {
    let app = TestApp::start_empty().await;
    let mut owner = app.stranger();
    assert_eq!(owner.get("/api/setup").await.body, json!({"needed": true}));
    let link = app.first_owner_link.clone().unwrap();
    let view = owner.get(&api_of(&link)).await;
    assert_eq!(view.body, json!({"purpose": "first_owner"}));

    let whole = json!({"password": PASSWORD, "display_name": "Ada Fen", "firm_name": "Fen & Daughter", "email": "Ada@Fen.example"});
    for missing in ["display_name", "firm_name", "email"] {
        let mut body = whole.clone();
        body.as_object_mut().unwrap().remove(missing);
        assert_eq!(app.follow(&link, &body).await.problem(), (422, missing));
    }
    assert_eq!(app.follow(&link, &whole).await.status, 204);
    assert_eq!(app.follow(&link, &whole).await.problem(), (410, "link_used"));
    assert_eq!(owner.get("/api/setup").await.body, json!({"needed": false}));
    assert_eq!(owner.sign_in("ada@fen.example", PASSWORD, None).await.status, 200);
    assert_eq!(owner.session["person"]["roles"], json!(["owner", "lead"]));
    assert_eq!(owner.session["firm"]["name"], "Fen & Daughter");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_followers_at_once_make_one_owner() {
    let app = TestApp::start_empty().await;
    let link = app.first_owner_link.clone().unwrap();
    let body = |email: &str| json!({"password": PASSWORD, "display_name": "A", "firm_name": "F", "email": email});
    let (one, two) = (body("one@fen.example"), body("two@fen.example"));
    let (one, two) = tokio::join!(app.follow(&link, &one), app.follow(&link, &two));
    let mut statuses = [one.status, two.status];
    statuses.sort_unstable();
    assert_eq!(statuses, [204, 410]);
}

#[tokio::test(flavor = "multi_thread")]
async fn links_run_out_and_a_newer_one_ends_the_older() {
    let app = TestApp::start().await;
    let owner = app.sign_in("marlow@larkfield.example").await;
    let path = format!("/api/people/{}/reset", ids::ASHDOWN);
    let older = owner.post(&path, &json!({})).await.body["link"].as_str().unwrap().to_owned();
    let newer = owner.post(&path, &json!({})).await.body["link"].as_str().unwrap().to_owned();
    let body = json!({"password": PASSWORD});
    assert_eq!(app.follow(&older, &body).await.problem(), (410, "link_expired"));
    app.wait_us(DAY_US + 1);
    assert_eq!(app.follow(&newer, &body).await.problem(), (410, "link_expired"));
    assert_eq!(app.stranger().get("/api/links/never-made").await.problem(), (404, "not_found"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reset_gives_a_new_password_and_ends_every_session() {
    let app = TestApp::start().await;
    let owner = app.sign_in("marlow@larkfield.example").await;
    let mut technician = app.sign_in("ashdown@larkfield.example").await;
    let reset = owner.post(&format!("/api/people/{}/reset", ids::ASHDOWN), &json!({})).await;
    let link = reset.body["link"].as_str().unwrap();
    let view = technician.get(&api_of(link)).await;
    assert_eq!((&view.body["purpose"], &view.body["email"]), (&json!("reset"), &json!("ashdown@larkfield.example")));
    assert_eq!(technician.refresh().await.status, 200, "looking at a link does nothing");

    assert_eq!(app.follow(link, &json!({"password": "a brand new phrase"})).await.status, 204);
    assert_eq!(technician.refresh().await.problem(), (401, "session_ended"));
    let mut again = app.stranger();
    assert_eq!(again.sign_in("ashdown@larkfield.example", server::demo::PASSWORD, None).await.status, 401);
    assert_eq!(again.sign_in("ashdown@larkfield.example", "a brand new phrase", None).await.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_restart_without_an_owner_makes_a_new_link_and_no_second_firm() {
    let db = TestDb::create().await;
    let (owner_url, app_url) = (db.owner_url(), db.app_url());
    let first = TestApp::start_with(db, |_| {}).await;
    let second = TestApp::start_with(TestDb::create().await, |config| {
        config.database_url = app_url;
        config.database_owner_url = Some(owner_url);
    })
    .await;
    let (old, new) = (first.first_owner_link.clone().unwrap(), second.first_owner_link.clone().unwrap());
    assert_eq!(first.stranger().get(&api_of(&old)).await.problem(), (410, "link_expired"));
    assert_eq!(first.stranger().get(&api_of(&new)).await.status, 200, "any server process knows it");
    assert_eq!(first.state.db.firm_ids().await.unwrap().len(), 1);
}
