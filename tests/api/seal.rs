//! Seals: who may, when not, what is in a pack, and what comes after one.

use domain::ids::{Hash32, JobId};
use domain::job_file::body::{Choice, DrawnNumber, Photo, PhotoAbsent, Plain, Reading, ReadingQuality, Remark, Sign};
use domain::job_file::{Body, Place};
use domain::seal::verify::{Fault, Verified, verify};
use domain::seal::zip;
use serde_json::{Value, json};
use server::clock::Clock;
use server::config::Config;
use server::demo::ids;
use tests::app::TestApp;
use tests::client::{Answer, Client};
use tests::phone::{TestPhone, photo, photo_file, publish_small_method};
use tokio::net::TcpListener;

const LEAD: &str = "quill@larkfield.example";
const TECHNICIAN: &str = "ashdown@larkfield.example";
const OFFICE: &str = "pendle@larkfield.example";

struct Site {
    app: TestApp,
    lead: TestPhone,
    job: JobId,
}

fn jpeg(width: u32, height: u32) -> Vec<u8> {
    let picture = image::RgbImage::from_fn(width, height, |x, y| image::Rgb([x as u8, y as u8, (x * y) as u8]));
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Jpeg).unwrap();
    bytes.into_inner()
}

/// As a phone writes it: a block of metadata behind the first two bytes.
fn jpeg_with_position(width: u32, height: u32) -> Vec<u8> {
    let (plain, note) = (jpeg(width, height), b"Exif\0\0 where it was taken");
    let length = u16::try_from(note.len() + 2).unwrap().to_be_bytes();
    [&plain[..2], &[0xff, 0xe1], &length, note, &plain[2..]].concat()
}

/// Original and preview of the photo at arrival.
fn pictures_of() -> (Vec<u8>, Vec<u8>) {
    (jpeg_with_position(64, 48), jpeg(32, 24))
}

impl Site {
    /// A job whose review has passed; the photo of its arrival is named with a preview, and neither is sent.
    async fn passed() -> Self {
        Self::passed_with(TestApp::start().await).await
    }

    async fn passed_with(app: TestApp) -> Self {
        let method = publish_small_method(&app).await;
        let mut lead = TestPhone::sign_in(&app, LEAD).await;
        let job = lead.plan_job(&method, &[ids::ASHDOWN]);
        lead.equip(job, Some(30));
        let (original, preview) = pictures_of();
        let named = Photo { preview: Some(photo_file(&preview)), ..photo(Place::of("arrive", 0, "photo"), &original) };
        lead.write(job, Body::Photo(named));
        lead.tick(job, Place::of("arrive", 0, "here"));
        for slot in [1, 2] {
            lead.scan(job, slot, &format!("BX24-00000{slot}"));
            lead.photograph(job, Place::of("plates", slot, "label"), &jpeg(20, 20 + u32::from(slot)));
        }
        let volts = Reading {
            at: Place::of("dead", 0, "v"),
            raw: "0".into(),
            micro: Some(0),
            unit: domain::electrical::Unit::Volt.code(),
            sign: Sign::Equal,
            quality: ReadingQuality::Ok,
            instrument: None,
            corrects: None,
            test_voltage: None,
        };
        lead.write(job, Body::Reading(volts));
        let at = Place::of("grid-profile", 0, "profile");
        lead.write(job, Body::Choice(Choice { at, option: "b".into(), corrects: None }));
        lead.write(job, Body::Submitted(Plain {}));
        lead.write(job, Body::Passed(Plain {}));
        tests::phone::all_stored(&lead.push().await).unwrap();
        Self { app, lead, job }
    }

    async fn send_photos(&self) {
        let (original, preview) = pictures_of();
        for bytes in [original, preview, jpeg(20, 21), jpeg(20, 22)] {
            self.lead.upload(self.job, &bytes).await;
        }
    }

    async fn seal(&self, client: &Client) -> Answer {
        client.post(&format!("/api/jobs/{}/seal", self.job), &json!({"language": "en"})).await
    }

    async fn standing(&self, client: &Client) -> Value {
        client.get(&format!("/api/jobs/{}/seals", self.job)).await.body
    }

    async fn state(&self) -> String {
        let row = self.lead.client.get(&format!("/api/jobs/{}", self.job)).await.body;
        row["state"].as_str().unwrap().to_owned()
    }

    async fn pack(&self, client: &Client, number: u32) -> Vec<u8> {
        let answer = client.get(&format!("/api/jobs/{}/seals/{number}/pack", self.job)).await;
        assert_eq!((answer.status, answer.header("content-type")), (200, "application/zip"));
        let name = format!("attachment; filename=\"witnessmark-{}-seal-{number}.zip\"", self.job.short());
        assert_eq!(answer.header("content-disposition"), name);
        answer.bytes
    }

    async fn verified(&self, number: u32) -> Verified {
        let key = self.app.stranger().get("/.well-known/witnessmark-seal-key").await.body;
        let fingerprint = Hash32::from_hex(key["fingerprint"].as_str().unwrap()).unwrap();
        verify(&self.pack(&self.lead.client, number).await, Some(&fingerprint)).unwrap()
    }
}

fn codes(obstacles: &Value) -> Vec<&str> {
    obstacles.as_array().unwrap().iter().map(|one| one["code"].as_str().unwrap()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lead_seals_and_the_pack_says_what_was_sealed() {
    let site = Site::passed().await;
    site.send_photos().await;
    assert_eq!(site.standing(&site.lead.client).await["obstacles"], json!([]));
    let made = site.seal(&site.lead.client).await;
    assert_eq!((made.status, &made.body["number"]), (200, &json!(1)), "{}", made.body);
    assert_eq!(site.state().await, "sealed");
    let pack = site.pack(&site.lead.client, 1).await;
    let verified = site.verified(1).await;
    let (original, preview) = pictures_of();
    assert_eq!(verified.manifest.photos, [Hash32::sha256(&preview)]);
    let mut kept = [original.clone(), jpeg(20, 21), jpeg(20, 22)].map(|bytes| Hash32::sha256(&bytes));
    kept.sort();
    assert_eq!((verified.manifest.photos_kept, verified.manifest.photos_absent), (kept.to_vec(), vec![]));
    assert!(!pack.windows(4).any(|window| window == b"Exif"), "no position leaves the firm");
    let files = zip::read(&pack).unwrap();
    for name in ["report.pdf", "registration.json", "registration.csv", "README.txt", "names.cbor"] {
        assert!(files.contains_key(name), "{name}");
    }
    let names = verified.names.unwrap();
    assert_eq!(names.person(site.lead.person()), Some("Tobias Quill"), "{names:?}");
    // Asked again, with nothing new: the same seal.
    let again = site.seal(&site.lead.client).await;
    assert_eq!((again.status, &again.body["number"]), (200, &json!(1)));
    assert_eq!(site.pack(&site.lead.client, 1).await, pack);
    // One flipped bit of a photo is told.
    let at = pack.windows(preview.len()).position(|window| window == preview).unwrap() + preview.len() / 2;
    let mut flipped = pack.clone();
    flipped[at] ^= 1;
    assert!(matches!(verify(&flipped, None), Err(Fault::Archive(_))));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_missing_is_listed_until_it_came_or_somebody_said_that_it_will_not() {
    let mut site = Site::passed().await;
    let refused = site.seal(&site.lead.client).await;
    assert_eq!(refused.problem(), (422, "not_ready_to_seal"));
    assert_eq!(codes(&refused.body["obstacles"]), ["photo"; 4], "{}", refused.body);
    assert_eq!(refused.body["obstacles"], site.standing(&site.lead.client).await["obstacles"]);
    let (original, preview) = pictures_of();
    site.lead.upload(site.job, &jpeg(20, 21)).await;
    site.lead.upload(site.job, &preview).await;
    let remark = site.lead.write(site.job, Body::Remark(Remark { at: None, text: "phone lost".into() }));
    for bytes in [&original, &jpeg(20, 22)] {
        site.lead.write(site.job, Body::PhotoAbsent(PhotoAbsent { hash: Hash32::sha256(bytes), remark }));
    }
    site.lead.push().await;
    let made = site.seal(&site.lead.client).await;
    assert_eq!(made.status, 200, "{}", made.body);
    let verified = site.verified(1).await;
    assert_eq!(verified.manifest.photos, [Hash32::sha256(&preview)]);
    assert_eq!(verified.manifest.photos_absent.len(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn only_leads_seal_and_another_firm_sees_nothing() {
    let site = Site::passed().await;
    site.send_photos().await;
    for email in [TECHNICIAN, OFFICE] {
        let client = site.app.sign_in(email).await;
        assert_eq!(site.seal(&client).await.problem(), (403, "not_permitted"), "{email}");
        assert_eq!(codes(&site.standing(&client).await["obstacles"]), Vec::<&str>::new(), "{email}");
    }
    let stranger = site.app.open_firm("Other Firm", "owner@other.example").await;
    assert_eq!(site.seal(&stranger).await.problem(), (404, "not_found"));
    assert_eq!(site.seal(&site.lead.client).await.status, 200);
    for path in ["seals", "seals/1/pack"] {
        let path = format!("/api/jobs/{}/{path}", site.job);
        assert_eq!(stranger.get(&path).await.problem(), (404, "not_found"), "{path}");
        assert_eq!(site.app.stranger().get(&path).await.problem(), (401, "token_missing"), "{path}");
    }
    let technician = site.app.sign_in(TECHNICIAN).await;
    assert!(verify(&site.pack(&technician, 1).await, None).is_ok(), "whoever sees the job has the pack");
    let path = format!("/api/jobs/{}/seals/2/pack", site.job);
    assert_eq!(technician.get(&path).await.problem(), (404, "not_found"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_late_entry_stays_outside_and_asks_for_the_next_seal() {
    let mut site = Site::passed().await;
    site.send_photos().await;
    assert_eq!(site.seal(&site.lead.client).await.status, 200);
    let first = site.verified(1).await.manifest;
    let mut technician = TestPhone::sign_in(&site.app, TECHNICIAN).await;
    technician.pull().await;
    technician.write(site.job, Body::Remark(Remark { at: None, text: "found in the van".into() }));
    technician.push().await;
    let standing = site.standing(&site.lead.client).await;
    assert_eq!((&standing["later"], &standing["obstacles"]), (&json!(1), &json!([])), "{standing}");
    assert_eq!(site.state().await, "sealed");
    assert_eq!(site.verified(1).await.manifest, first, "the first pack stays as it was");
    let made = site.seal(&site.lead.client).await;
    assert_eq!(made.body["number"], json!(2), "{}", made.body);
    let second = site.verified(2).await.manifest;
    // The remark, and the entry that tells of the first seal.
    assert_eq!((second.number, second.entries.len()), (2, first.entries.len() + 2));
    assert_eq!(site.standing(&site.lead.client).await["later"], json!(0));
    site.lead.pull().await;
    let told = site.lead.files[&site.job].iter().filter(|held| matches!(held.entry.body(), Some(Body::Sealed(_))));
    assert_eq!(told.count(), 2);
}

/// A second server on the same rows and photos.
async fn beside(app: &TestApp) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let base = format!("http://{}", listener.local_addr().unwrap());
    let config = Config { demo: false, ..(*app.state.config).clone() };
    let other = server::build_with(config, Clock::system()).await.unwrap();
    tokio::spawn(server::serve(listener, other, std::future::pending()));
    base
}

#[tokio::test(flavor = "multi_thread")]
async fn two_servers_that_seal_at_once_make_one_seal() {
    let site = Site::passed().await;
    site.send_photos().await;
    let mut others = Vec::new();
    for _ in 0..3 {
        let mut client = Client::new(&beside(&site.app).await);
        client.sign_in(LEAD, server::demo::PASSWORD, None).await;
        others.push(client);
    }
    let (one, two, three, four) =
        tokio::join!(site.seal(&site.lead.client), site.seal(&others[0]), site.seal(&others[1]), site.seal(&others[2]));
    for answer in [&one, &two, &three, &four] {
        assert_eq!((answer.status, &answer.body), (200, &one.body), "{}", answer.body);
    }
    let standing = site.standing(&others[0]).await;
    assert_eq!(standing["seals"].as_array().unwrap().len(), 1, "{standing}");
    let folder = match &site.app.state.config.photo_store {
        server::config::PhotoStoreSetting::Folder(folder) => folder.join(ids::FIRM.to_string()),
        other => panic!("{other:?}"),
    };
    let packs = std::fs::read_dir(folder)
        .unwrap()
        .filter(|file| file.as_ref().unwrap().file_name().to_str().unwrap().starts_with("pack-"));
    assert_eq!(packs.count(), 1, "what lost the race is not left in the store");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_without_a_key_says_so() {
    let db = tests::db::TestDb::create().await;
    let app = TestApp::start_with(db, |config| {
        config.demo = true;
        config.seal_key = None;
    })
    .await;
    let site = Site::passed_with(app).await;
    site.send_photos().await;
    assert_eq!(site.app.stranger().get("/.well-known/witnessmark-seal-key").await.problem(), (404, "not_found"));
    assert_eq!(site.standing(&site.lead.client).await["can_seal"], json!(false));
    assert_eq!(site.seal(&site.lead.client).await.problem(), (409, "seal_key_missing"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_number_of_the_server_shows_what_was_not_made_before() {
    let mut site = Site::passed().await;
    site.send_photos().await;
    let before = site.app.state.clock.now_wire_us();
    let number = site.lead.pull_once(&[]).await.drawn_number.unwrap();
    assert_eq!(site.lead.pull_once(&[]).await.drawn_number, Some(number), "one an hour");
    let stranger = site.app.open_firm("Other Firm", "owner@other.example").await;
    assert_ne!(TestPhone::of(stranger).pull_once(&[]).await.drawn_number, Some(number), "each firm has its own");
    for number in [number, Hash32::sha256(b"made up")] {
        site.lead.write(site.job, Body::DrawnNumber(DrawnNumber { number }));
    }
    site.lead.write(site.job, Body::Remark(Remark { at: None, text: "young".into() }));
    tests::phone::all_stored(&site.lead.push().await).unwrap();
    site.app.wait_us(60 * 60 * server::clock::SECOND_US);
    assert_eq!(site.lead.client.refresh().await.status, 200);
    assert_ne!(site.lead.pull_once(&[]).await.drawn_number, Some(number), "an hour later it is another");
    assert_eq!(site.seal(&site.lead.client).await.status, 200);
    let verified = site.verified(1).await;
    let (count, since) = verified.not_before.unwrap();
    assert_eq!(count, 3, "the number itself and what follows it");
    assert!(since <= before + 60_000_000 && verified.manifest.nonces.len() == 1, "{since}");
}
