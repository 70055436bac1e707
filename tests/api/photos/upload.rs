use std::time::{Duration, Instant};

use domain::ids::{Hash32, JobId};
use domain::wire::limits::{PART_BYTES_MAX, PHOTO_BYTES_MAX};
use reqwest::Method as Verb;
use tests::client::send;
use tests::phone::TestPhone;
use tokio::io::AsyncWriteExt as _;
use tokio::net::TcpStream;
use uuid::Uuid;

use super::{PhotoApp, Store, over_both_stores};

const TECHNICIAN: &str = "ashdown@larkfield.example";
const DAY_US: i64 = 86_400_000_000;
/// Only so that what hangs ends.
const WITHIN: Duration = Duration::from_secs(60);
/// So long the server waits for a connection that brings nothing.
const PATIENCE_OF_THE_SERVER: Duration = Duration::from_secs(30);

fn bytes(length: usize) -> Vec<u8> {
    let noise = (0..length).map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8);
    [0xff, 0xd8, 0xff].into_iter().chain(noise).take(length).collect()
}

over_both_stores! {
    a_photo_goes_up_in_parts,
    other_bytes_than_announced_are_not_kept,
    what_cannot_be_an_upload_gets_a_problem,
    an_upload_is_its_person_s_alone,
    what_nobody_goes_on_with_is_removed,
    a_half_open_connection_locks_nobody_out,
    what_came_before_a_connection_broke_counts,
    a_server_killed_before_the_last_step_does_not_strand_the_upload,
    a_lost_part_ends_in_a_clear_no_and_the_photo_goes_up_anew,
}

async fn start(store: Store) -> (PhotoApp, TestPhone, JobId) {
    let app = PhotoApp::start(store).await;
    let phone = TestPhone::sign_in(&app, TECHNICIAN).await;
    (app, phone, JobId::of(Uuid::now_v7()))
}

async fn count(app: &PhotoApp, sql: &str) -> i64 {
    let pool = app.db.owner_pool().await;
    sqlx::query_scalar(sql).fetch_one(&pool).await.unwrap()
}

async fn a_photo_goes_up_in_parts(store: Store) {
    let (app, phone, job) = start(store).await;
    let photo = bytes(3_000_000);
    let begun = phone.begin_upload(job, &photo).await;
    assert_eq!((begun.status, begun.header("tus-resumable")), (201, "1.0.0"));
    assert!(begun.header("upload-expires").ends_with(" GMT"));
    let location = begun.header("location").to_owned();
    // The answer got lost: asking again finds the same upload.
    assert_eq!(phone.begin_upload(job, &photo).await.header("location"), location);

    let first = phone.go_on(&location, 0, &photo[..1_200_000]).await;
    assert_eq!((first.status, first.header("upload-offset"), first.header("witnessmark-stored")), (204, "1200000", ""));
    let asked = phone.ask(&location).await;
    assert_eq!(
        (asked.status, asked.header("upload-offset"), asked.header("upload-length")),
        (200, "1200000", "3000000")
    );
    assert_eq!(asked.header("cache-control"), "no-store");
    assert_eq!(phone.begin_upload(job, &photo).await.header("upload-offset"), "1200000");
    let wrong = phone.go_on(&location, 1_000_000, &photo[1_000_000..]).await;
    assert_eq!((wrong.problem(), wrong.header("upload-offset")), ((409, "offset"), "1200000"));
    let last = phone.go_on(&location, 1_200_000, &photo[1_200_000..]).await;
    assert_eq!(last.status, 204, "{}", last.body);
    assert_eq!(last.header("witnessmark-stored"), Hash32::sha256(&photo).hex());

    assert_eq!(phone.ask(&location).await.status, 404, "the upload is over");
    let again = phone.begin_upload(job, &photo).await;
    assert_eq!((again.status, again.header("witnessmark-have")), (200, "1"));
    let other_job = phone.begin_upload(JobId::of(Uuid::now_v7()), &photo).await;
    assert_eq!(other_job.status, 201, "had for one job is not had for another");
    assert_eq!(count(&app, "select count(*) from photos").await, 1);
}

async fn other_bytes_than_announced_are_not_kept(store: Store) {
    let (app, phone, job) = start(store).await;
    let photo = bytes(50_000);
    let begun = phone.begin_upload_as(job, Hash32::sha256(b"something else"), 50_000).await;
    let location = begun.header("location").to_owned();
    let sent = phone.go_on(&location, 0, &photo).await;
    assert_eq!(sent.problem(), (460, "checksum_mismatch"));
    assert_eq!(phone.ask(&location).await.status, 404, "the upload is gone");
    assert_eq!(count(&app, "select count(*) from photos").await, 0);
    assert_eq!(count(&app, "select count(*) from uploads").await, 0);
}

async fn what_cannot_be_an_upload_gets_a_problem(store: Store) {
    let (_app, phone, job) = start(store).await;
    let hash = Hash32::sha256(b"x");
    assert_eq!(phone.begin_upload_as(job, hash, PHOTO_BYTES_MAX + 1).await.problem(), (413, "too_large"));
    assert_eq!(phone.begin_upload_as(job, hash, 0).await.problem(), (400, "malformed"));
    let request = |verb, path: &str| phone.client.request(verb, path);
    assert_eq!(send(request(Verb::POST, "/api/photos")).await.problem(), (400, "malformed"));
    let bare = request(Verb::POST, "/api/photos").header("upload-length", "5");
    assert_eq!(send(bare).await.problem(), (400, "malformed"));
    let old = request(Verb::POST, "/api/photos").header("tus-resumable", "0.2.2");
    assert_eq!(send(old).await.problem(), (412, "tus_version"));
    let options = send(request(Verb::OPTIONS, "/api/photos")).await;
    assert_eq!((options.status, options.header("tus-version")), (204, "1.0.0"));
    assert_eq!(options.header("tus-max-size"), PHOTO_BYTES_MAX.to_string());

    let begun = phone.begin_upload_as(job, hash, 100).await;
    let location = begun.header("location").to_owned();
    let plain = request(Verb::PATCH, &location).header("upload-offset", "0").body("x");
    assert_eq!(send(plain).await.problem(), (415, "media_type"));
    assert_eq!(phone.go_on(&location, 0, &bytes(101)).await.problem(), (413, "too_large"));
    let large = phone.begin_upload_as(job, hash, PHOTO_BYTES_MAX).await.header("location").to_owned();
    let too_large = phone.go_on(&large, 0, &vec![0; usize::try_from(PART_BYTES_MAX).unwrap() + 1]).await;
    assert_eq!(too_large.problem(), (413, "too_large"));
    assert_eq!(phone.ask("/api/photos/uploads/not-an-id").await.status, 404);
    assert_eq!(phone.ask(&format!("/api/photos/uploads/{}", Uuid::now_v7())).await.status, 404);
}

async fn an_upload_is_its_person_s_alone(store: Store) {
    let (app, phone, job) = start(store).await;
    let location = phone.begin_upload(job, &bytes(10)).await.header("location").to_owned();
    let other = TestPhone::sign_in(&app, "solano@larkfield.example").await;
    assert_eq!(other.ask(&location).await.status, 404);
    assert_eq!(other.go_on(&location, 0, &bytes(10)).await.status, 404);
    assert_eq!(other.client.delete(&location).await.status, 404);
    assert_eq!(phone.client.delete(&location).await.status, 204);
    assert_eq!(phone.ask(&location).await.status, 404);
}

async fn what_nobody_goes_on_with_is_removed(store: Store) {
    let (app, mut phone, job) = start(store).await;
    let photo = bytes(20);
    let location = phone.begin_upload(job, &photo).await.header("location").to_owned();
    phone.go_on(&location, 0, &photo[..10]).await;
    app.wait_us(8 * DAY_US);
    phone.client.refresh().await;
    assert_eq!(phone.ask(&location).await.status, 410);
    assert_eq!(phone.go_on(&location, 10, &photo[10..]).await.problem(), (410, "gone"));
    let dropped = server::features::photos::expire_uploads(&app.state, server::demo::ids::FIRM).await.unwrap();
    assert_eq!(dropped, 1);
    assert_eq!(phone.ask(&location).await.status, 404);
}

/// A connection that brings so much of a PATCH and then nothing, and stays open.
async fn half_open(app: &PhotoApp, phone: &TestPhone, location: &str, photo: &[u8], sent: usize) -> TcpStream {
    let address = app.base.strip_prefix("http://").unwrap();
    let mut stream = TcpStream::connect(address).await.unwrap();
    let head = format!(
        "PATCH {location} HTTP/1.1\r\nhost: {address}\r\nauthorization: Bearer {}\r\ntus-resumable: 1.0.0\r\n\
         upload-offset: 0\r\ncontent-type: application/offset+octet-stream\r\ncontent-length: {}\r\n\r\n",
        phone.client.token.as_deref().unwrap(),
        photo.len(),
    );
    stream.write_all(head.as_bytes()).await.unwrap();
    stream.write_all(&photo[..sent]).await.unwrap();
    stream.flush().await.unwrap();
    stream
}

/// Waits until the row says that this much counts.
async fn until_received(app: &PhotoApp, least: i64) {
    until_counted(app, "select coalesce(max(received), 0) from uploads", least).await;
}

/// Waits until a PATCH is being received.
async fn until_under_way(app: &PhotoApp) {
    until_counted(app, "select count(*) from uploads where locked_by is not null", 1).await;
}

async fn until_counted(app: &PhotoApp, query: &'static str, least: i64) {
    let began = Instant::now();
    while count(app, query).await < least {
        assert!(began.elapsed() < WITHIN, "{query} never gave {least}");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

async fn a_half_open_connection_locks_nobody_out(store: Store) {
    let (app, phone, job) = start(store).await;
    let photo = bytes(5_000_000);
    let location = phone.begin_upload(job, &photo).await.header("location").to_owned();
    // Less than the server puts away by itself.
    let mut dead = half_open(&app, &phone, &location, &photo, 900_000).await;
    until_under_way(&app).await;

    let began = Instant::now();
    let asked = phone.ask(&location).await;
    let offset: usize = asked.header("upload-offset").parse().unwrap();
    assert_eq!(offset, 900_000, "all that came counts, and nothing goes twice");
    // Late bytes of the dead connection move nothing, where it takes them at all.
    let _ = dead.write_all(&photo[900_000..4_900_000]).await;
    let _ = dead.flush().await;
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert_eq!(phone.ask(&location).await.header("upload-offset"), offset.to_string(), "an offset that was told stays");
    let sent = phone.go_on(&location, offset as u64, &photo[offset..]).await;
    assert_eq!((sent.status, sent.header("witnessmark-stored")), (204, Hash32::sha256(&photo).hex().as_str()));
    assert!(began.elapsed() < PATIENCE_OF_THE_SERVER, "nobody waited for the dead connection");
}

async fn what_came_before_a_connection_broke_counts(store: Store) {
    let (app, phone, job) = start(store).await;
    let photo = bytes(900_000);
    let location = phone.begin_upload(job, &photo).await.header("location").to_owned();
    let broken = half_open(&app, &phone, &location, &photo, 400_000).await;
    until_under_way(&app).await;
    drop(broken);
    until_received(&app, 400_000).await;
    let offset: usize = phone.ask(&location).await.header("upload-offset").parse().unwrap();
    assert_eq!(offset, 400_000);
    assert_eq!(phone.go_on(&location, 400_000, &photo[offset..]).await.status, 204);
}

async fn a_lost_part_ends_in_a_clear_no_and_the_photo_goes_up_anew(store: Store) {
    let (app, phone, job) = start(store).await;
    let photo = bytes(300_000);
    let location = phone.begin_upload(job, &photo).await.header("location").to_owned();
    phone.go_on(&location, 0, &photo[..200_000]).await;
    // As if the machine had lost what was not on the disk yet.
    let pool = app.db.owner_pool().await;
    sqlx::query("update uploads set parts = array[gen_random_uuid()]").execute(&pool).await.unwrap();
    let sent = phone.go_on(&location, 200_000, &photo[200_000..]).await;
    assert_eq!(sent.problem(), (460, "checksum_mismatch"));
    assert_eq!(phone.upload(job, &photo).await.header("witnessmark-stored"), Hash32::sha256(&photo).hex());
}

/// All bytes counted, and nobody left to make a photo of them: the kills found phones that asked for it again and again.
async fn a_server_killed_before_the_last_step_does_not_strand_the_upload(store: Store) {
    let (app, phone, job) = start(store).await;
    let photo = bytes(300_000);
    let location = phone.begin_upload(job, &photo).await.header("location").to_owned();
    phone.go_on(&location, 0, &photo[..200_000]).await;
    // As the row stands between the last part and the last step.
    let pool = app.db.owner_pool().await;
    sqlx::query("update uploads set sha256 = $1, length = 200000")
        .bind(Hash32::sha256(&photo[..200_000]).bytes().to_vec())
        .execute(&pool)
        .await
        .unwrap();
    assert_eq!(phone.ask(&location).await.header("upload-offset"), "200000", "all of it came");
    let again = phone.begin_upload(job, &photo[..200_000]).await;
    assert_eq!((again.status, again.header("witnessmark-have")), (200, "1"), "{}", again.body);
    assert_eq!(count(&app, "select count(*) from photos").await, 1);
    assert_eq!(count(&app, "select count(*) from uploads").await, 0);
}
