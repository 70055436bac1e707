use serde_json::json;
use server::demo::ids;
use tests::app::TestApp;

#[tokio::test(flavor = "multi_thread")]
async fn people_see_their_own_devices_and_the_owner_all() {
    let app = TestApp::start().await;
    let technician = app.sign_in("ashdown@larkfield.example").await;
    let lead = app.sign_in("quill@larkfield.example").await;
    let owner = app.sign_in("marlow@larkfield.example").await;
    let own = technician.get("/api/devices").await;
    let own = own.body.as_array().unwrap();
    assert_eq!(own.len(), 1);
    assert_eq!((&own[0]["here"], &own[0]["label"]), (&json!(true), &json!("test device")));
    assert!(own[0]["last_contact_us"].is_i64(), "one's own contact is no secret");

    let all = owner.get("/api/devices").await;
    assert_eq!(all.body.as_array().unwrap().len(), 3, "the server's own device is not in the list");
    for device in all.body.as_array().unwrap() {
        assert_eq!(device.get("last_contact_us").is_some(), device["person"] == json!(ids::MARLOW), "{device}");
    }
    let path = format!("/api/devices/{}", lead.device());
    assert_eq!(technician.delete(&path).await.problem(), (404, "not_found"));
    assert_eq!(lead.get("/api/people").await.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_revoked_device_is_out_and_the_persons_others_are_not() {
    let app = TestApp::start().await;
    let owner = app.sign_in("marlow@larkfield.example").await;
    let mut lost = app.sign_in("ashdown@larkfield.example").await;
    let mut kept = app.sign_in("ashdown@larkfield.example").await;
    let path = format!("/api/devices/{}", lost.device());
    assert_eq!(owner.delete(&path).await.status, 204);
    assert_eq!(owner.delete(&path).await.status, 204, "twice is no error");
    assert_eq!(lost.get("/api/people").await.problem(), (401, "device_revoked"));
    assert_eq!(lost.refresh().await.problem(), (401, "device_revoked"));
    assert_eq!(kept.get("/api/people").await.status, 200);
    assert_eq!(kept.refresh().await.status, 200);
    let shown = kept.get("/api/devices").await;
    let revoked = shown.body.as_array().unwrap().iter().filter(|device| device.get("revoked_us").is_some()).count();
    assert_eq!(revoked, 1);
}
