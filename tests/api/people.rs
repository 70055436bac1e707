use serde_json::json;
use server::demo::ids;
use tests::app::{PASSWORD, TestApp};

const OWNER: &str = "marlow@larkfield.example";
const LEAD: &str = "quill@larkfield.example";
const TECHNICIAN: &str = "ashdown@larkfield.example";

#[tokio::test(flavor = "multi_thread")]
async fn everybody_sees_names_and_only_the_owner_addresses() {
    let app = TestApp::start().await;
    let technician = app.sign_in(TECHNICIAN).await;
    let people = technician.get("/api/people").await;
    let people = people.body.as_array().unwrap();
    assert_eq!(people.len(), 5);
    for person in people {
        let own = person["id"] == json!(ids::ASHDOWN);
        assert_eq!(person.get("email").is_some(), own, "{person}");
        assert!(person.get("last_seen_us").is_none(), "off until the owner turns it on");
    }
    let owner = app.sign_in(OWNER).await;
    let seen = owner.get("/api/people").await;
    assert!(seen.body.as_array().unwrap().iter().all(|person| person.get("email").is_some()));
    assert!(seen.body.as_array().unwrap().iter().all(|person| person.get("last_seen_us").is_none()));
}

#[tokio::test(flavor = "multi_thread")]
async fn last_seen_is_shown_once_the_owner_says_so_and_everybody_learns_it() {
    let app = TestApp::start().await;
    let mut technician = app.sign_in(TECHNICIAN).await;
    let owner = app.sign_in(OWNER).await;
    assert_eq!(
        technician.patch("/api/firm", &json!({"shows_last_seen": true})).await.problem(),
        (403, "not_permitted")
    );
    assert_eq!(owner.patch("/api/firm", &json!({"shows_last_seen": true})).await.status, 200);
    let path = format!("/api/people/{}", ids::ASHDOWN);
    let answer = owner.patch(&path, &json!({"display_name": "Wren A."})).await;
    assert!(answer.body["last_seen_us"].is_i64(), "{}", answer.body);
    technician.refresh().await;
    assert_eq!(technician.session["firm"]["shows_last_seen"], true);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_invited_person_sets_a_password_once_and_works() {
    let app = TestApp::start().await;
    let owner = app.sign_in(OWNER).await;
    let invitation = json!({"email": "Birch@Larkfield.example", "display_name": "Nell Birch", "roles": ["technician"], "language": "de"});
    let invited = owner.post("/api/people", &invitation).await;
    assert_eq!(invited.status, 201, "{}", invited.body);
    assert_eq!(owner.post("/api/people", &invitation).await.problem(), (409, "email_taken"));
    let link = invited.body["link"].as_str().unwrap().to_owned();

    let mut birch = app.stranger();
    assert_eq!(birch.sign_in("birch@larkfield.example", PASSWORD, None).await.problem(), (401, "sign_in_refused"));
    let view = birch.get(&tests::app::api_of(&link)).await;
    assert_eq!(view.body["purpose"], "invitation");
    assert_eq!(view.body["email"], "birch@larkfield.example");
    assert_eq!(view.body["firm_name"], "Larkfield Home Batteries (demo)");

    assert_eq!(app.follow(&link, &json!({"password": "short"})).await.problem(), (422, "password_too_short"));
    let body = json!({"password": PASSWORD, "display_name": "Nelly Birch"});
    assert_eq!(app.follow(&link, &body).await.status, 204);
    assert_eq!(app.follow(&link, &body).await.problem(), (410, "link_used"));
    assert_eq!(birch.get(&tests::app::api_of(&link)).await.problem(), (410, "link_used"));
    assert_eq!(birch.sign_in("birch@larkfield.example", PASSWORD, None).await.status, 200);
    assert_eq!(birch.session["person"]["display_name"], "Nelly Birch");
    assert_eq!(birch.session["person"]["language"], "de");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_deactivated_person_is_out_at_once_and_may_come_back() {
    let app = TestApp::start().await;
    let owner = app.sign_in(OWNER).await;
    let mut technician = app.sign_in(TECHNICIAN).await;
    let path = format!("/api/people/{}", ids::ASHDOWN);
    assert_eq!(owner.patch(&path, &json!({"active": false})).await.body["active"], false);
    assert_eq!(technician.get("/api/people").await.problem(), (401, "person_inactive"));
    assert_eq!(technician.refresh().await.problem(), (401, "person_inactive"));
    let mut again = app.stranger();
    assert_eq!(again.sign_in(TECHNICIAN, server::demo::PASSWORD, None).await.problem(), (401, "person_inactive"));
    assert_eq!(again.sign_in(TECHNICIAN, "not the password", None).await.problem(), (401, "sign_in_refused"));
    assert_eq!(owner.post(&format!("{path}/reset"), &json!({})).await.problem(), (409, "person_inactive"));

    assert_eq!(owner.patch(&path, &json!({"active": true})).await.status, 200);
    assert_eq!(again.sign_in(TECHNICIAN, server::demo::PASSWORD, None).await.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_changed_role_holds_from_the_next_request_on() {
    let app = TestApp::start().await;
    let owner = app.sign_in(OWNER).await;
    let mut lead = app.sign_in(LEAD).await;
    assert_eq!(lead.post("/api/instruments", &json!({"kind": "tape", "label": "Tape 2"})).await.status, 201);
    let path = format!("/api/people/{}", ids::QUILL);
    assert_eq!(owner.patch(&path, &json!({"roles": ["technician"]})).await.status, 200);
    let add = json!({"kind": "tape", "label": "Tape 3"});
    assert_eq!(lead.post("/api/instruments", &add).await.problem(), (401, "token_expired"));
    assert_eq!(lead.refresh().await.status, 200);
    assert_eq!(lead.session["person"]["roles"], json!(["technician"]));
    assert_eq!(lead.post("/api/instruments", &add).await.problem(), (403, "not_permitted"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_last_owner_stays() {
    let app = TestApp::start().await;
    let owner = app.sign_in(OWNER).await;
    let path = format!("/api/people/{}", ids::MARLOW);
    assert_eq!(owner.patch(&path, &json!({"active": false})).await.problem(), (409, "last_owner"));
    assert_eq!(owner.patch(&path, &json!({"roles": ["lead"]})).await.problem(), (409, "last_owner"));
    assert_eq!(owner.get("/api/people").await.status, 200, "nothing of it happened");
    let other = format!("/api/people/{}", ids::QUILL);
    assert_eq!(owner.patch(&other, &json!({"roles": ["owner", "lead"]})).await.status, 200);
    assert_eq!(owner.patch(&path, &json!({"roles": ["lead"]})).await.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_owners_who_demote_each_other_leave_one() {
    let app = TestApp::start().await;
    let owner = app.sign_in(OWNER).await;
    let other = format!("/api/people/{}", ids::QUILL);
    owner.patch(&other, &json!({"roles": ["owner"]})).await;
    let second = app.sign_in(LEAD).await;
    let path = format!("/api/people/{}", ids::MARLOW);
    let (body_one, body_two) = (json!({"roles": ["office"]}), json!({"roles": ["office"]}));
    let (one, two) = tokio::join!(owner.patch(&other, &body_one), second.patch(&path, &body_two));
    let done = [one.status, two.status].iter().filter(|status| **status == 200).count();
    assert_eq!(done, 1, "{} {}", one.body, two.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn own_preferences_are_ones_own() {
    let app = TestApp::start().await;
    let technician = app.sign_in(TECHNICIAN).await;
    let own = format!("/api/people/{}", ids::ASHDOWN);
    let answer = technician.patch(&own, &json!({"language": "es", "decimal": ","})).await;
    assert_eq!((answer.status, &answer.body["decimal"]), (200, &json!(",")));
    assert_eq!(technician.patch(&own, &json!({"language": "xx"})).await.problem(), (422, "language"));
    assert_eq!(technician.patch(&own, &json!({"decimal": "'"})).await.problem(), (422, "decimal"));
    for change in
        [json!({"roles": ["owner"]}), json!({"active": true}), json!({"display_name": "X"}), json!({"tickets": []})]
    {
        assert_eq!(technician.patch(&own, &change).await.problem(), (403, "not_permitted"), "{change}");
    }
    let other = format!("/api/people/{}", ids::SOLANO);
    assert_eq!(technician.patch(&other, &json!({"language": "en"})).await.problem(), (403, "not_permitted"));
    assert_eq!(technician.patch(&own, &json!({"surprise": 1})).await.problem(), (400, "malformed"));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_is_named() {
    let app = TestApp::start().await;
    let owner = app.sign_in(OWNER).await;
    let path = format!("/api/people/{}", ids::ASHDOWN);
    for (change, code) in [
        (json!({"roles": []}), "roles"),
        (json!({"display_name": "   "}), "display_name"),
        (json!({"display_name": "x".repeat(121)}), "display_name"),
        (json!({"tickets": [{"kind": "electrician", "expires": "2026-02-30"}]}), "tickets"),
        (json!({"tickets": [{"kind": "", "expires": ""}]}), "tickets"),
        (json!({"tickets": [{"kind": "electrician", "expires": "0001-01-01"}]}), "tickets"),
    ] {
        assert_eq!(owner.patch(&path, &change).await.problem(), (422, code), "{change}");
    }
    let tickets = json!([{"kind": "electrician", "expires": "2028-02-29"}]);
    assert_eq!(owner.patch(&path, &json!({"tickets": tickets})).await.body["tickets"], tickets);
    let invitation = json!({"email": "no address", "display_name": "N", "roles": ["lead"], "language": "en"});
    assert_eq!(owner.post("/api/people", &invitation).await.problem(), (422, "email"));
    for address in ["a@b", "a@b..example", "a b@c.example"] {
        let invitation = json!({"email": address, "display_name": "N", "roles": ["lead"], "language": "en"});
        assert_eq!(owner.post("/api/people", &invitation).await.problem(), (422, "email"), "{address}");
    }
    assert_eq!(owner.patch("/api/people/not-an-id", &json!({})).await.problem(), (404, "not_found"));
}
