use camera::{Picture, stands_upright};
use domain::ids::Hash32;
use domain::job_file::{Body, Place};
use serde_json::json;
use server::demo::ids;
use tests::phone::{TestPhone, photo, photo_file, publish_small_method};

use super::{PhotoApp, Store, over_both_stores};

over_both_stores! {
    a_photo_is_read_only_through_a_job_that_names_it,
    the_view_is_upright_small_and_without_metadata,
}

const LEAD: &str = "quill@larkfield.example";

async fn a_photo_is_read_only_through_a_job_that_names_it(store: Store) {
    let app = PhotoApp::start(store).await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let technician = TestPhone::sign_in(&app, "ashdown@larkfield.example").await;
    let other = TestPhone::sign_in(&app, "solano@larkfield.example").await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    let second = lead.plan_job(&method, &[ids::ASHDOWN]);
    lead.push().await;
    let bytes = Picture { width: 64, height: 48, orientation: 6, seed: 1 }.jpeg();
    let hash = Hash32::sha256(&bytes);
    let path = format!("/api/jobs/{job}/photos/{hash}");
    // The photo comes before its entry: it is here, and nobody can read it.
    lead.upload(job, &bytes).await;
    assert_eq!(lead.client.get(&path).await.problem(), (404, "not_found"));
    let mut body = photo(Place::of("arrive", 0, "photo"), &bytes);
    body.preview = Some(photo_file(b"a preview"));
    let entry = lead.write(job, Body::Photo(body));
    lead.push().await;
    let read = technician.client.get(&path).await;
    assert_eq!((read.status, read.header("content-type"), &read.bytes), (200, "image/jpeg", &bytes), "the very bytes");
    assert!(read.header("cache-control").starts_with("private"));
    assert_eq!(other.client.get(&path).await.problem(), (404, "not_found"));
    assert_eq!(technician.client.get(&format!("/api/jobs/{second}/photos/{hash}")).await.status, 404);
    assert_eq!(technician.client.get(&format!("/api/jobs/{job}/photos/../../x")).await.status, 404);

    let listed = technician.client.get(&format!("/api/jobs/{job}/photos")).await.body;
    assert_eq!(listed.as_array().unwrap().len(), 2);
    assert_eq!((&listed[0]["hash"], &listed[0]["role"]), (&json!(hash), &json!("original")));
    assert!(listed[0]["arrived_us"].is_i64() && listed[1].get("arrived_us").is_none(), "{listed}");
    assert_eq!((&listed[1]["role"], &listed[1]["entry"]), (&json!("preview"), &json!(entry)));
    let row = lead.client.get(&format!("/api/jobs/{job}")).await.body;
    assert_eq!(row["photos"], json!({"named": 1, "arrived": 1}));
    let request = technician.client.request(reqwest::Method::GET, &path).header("if-none-match", read.header("etag"));
    assert_eq!(tests::client::send(request).await.status, 304);
}

async fn the_view_is_upright_small_and_without_metadata(store: Store) {
    let app = PhotoApp::start(store).await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[]);
    let original = Picture { width: 2_400, height: 1_800, orientation: 8, seed: 2 }.jpeg();
    let heic = b"\0\0\0\x18ftypheic\0\0\0\0and so on".to_vec();
    let page = b"<html><script>alert(1)</script>".to_vec();
    for bytes in [&original, &heic, &page] {
        lead.photograph(job, Place::of("arrive", 0, "photo"), bytes);
        lead.upload(job, bytes).await;
    }
    lead.push().await;
    let path = |bytes: &[u8]| format!("/api/jobs/{job}/photos/{}", Hash32::sha256(bytes));
    for _ in 0..2 {
        let view = lead.client.get(&format!("{}/upright", path(&original))).await;
        assert_eq!((view.status, view.header("content-type")), (200, "image/jpeg"));
        let picture = image::load_from_memory(&view.bytes).unwrap().to_rgb8();
        assert_eq!(picture.dimensions(), (1_600, 1_200));
        assert!(stands_upright(&picture));
        assert!(!view.bytes.windows(4).any(|four| four == b"Exif"));
    }
    assert_eq!(lead.client.get(&path(&original)).await.bytes, original, "the original is not touched");
    for without in [&heic, &page] {
        assert_eq!(lead.client.get(&format!("{}/upright", path(without))).await.problem(), (415, "no_view"));
        assert_eq!(&lead.client.get(&path(without)).await.bytes, without);
    }
    let downloaded = lead.client.get(&path(&page)).await;
    assert_eq!(downloaded.header("content-type"), "application/octet-stream");
    assert_eq!(
        (downloaded.header("content-disposition"), downloaded.header("x-content-type-options")),
        ("attachment", "nosniff")
    );
}
