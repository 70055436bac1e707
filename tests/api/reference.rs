use domain::identification::check_digit::gs1_check_digit;
use domain::ids::Hash32;
use domain::method::Method;
use serde_json::json;
use server::demo::ids;
use tests::app::TestApp;

#[tokio::test(flavor = "multi_thread")]
async fn one_answer_holds_all_that_a_device_needs_offline() {
    let app = TestApp::start().await;
    let technician = app.sign_in("ashdown@larkfield.example").await;
    let reference = technician.get("/api/reference").await;
    assert_eq!(reference.status, 200);
    let count = |key: &str| reference.body[key].as_array().unwrap().len();
    assert_eq!(count("people"), 5);
    assert!(count("instruments") >= 5 && count("models") >= 3 && count("methods") >= 1);
    let module =
        reference.body["models"].as_array().unwrap().iter().find(|model| model["id"] == json!(ids::MODULE)).unwrap();
    assert_eq!((&module["kind"], &module["version"]), (&json!("module"), &json!(1)));
    assert!(module["values"]["cell_min"].is_i64());
    let method = &reference.body["methods"][0];
    assert!(!method["title"]["en"].as_str().unwrap().is_empty());

    let path = format!("/api/methods/{}/{}", method["id"].as_str().unwrap(), method["version"]);
    let bytes = technician.get(&path).await;
    assert_eq!(bytes.header("content-type"), "application/cbor");
    assert!(bytes.header("cache-control").contains("immutable"));
    assert_eq!(json!(Hash32::sha256(&bytes.bytes)), method["hash"]);
    assert_eq!(Method::from_bytes(&bytes.bytes).unwrap().id, method["id"].as_str().unwrap());
    assert_eq!(technician.get("/api/methods/no-such/1").await.problem(), (404, "not_found"));
    assert_eq!(technician.get(&path.replace("/1", "/99")).await.problem(), (404, "not_found"));
}

#[tokio::test(flavor = "multi_thread")]
async fn each_change_counts_the_version_up() {
    let app = TestApp::start().await;
    let owner = app.sign_in("marlow@larkfield.example").await;
    let version = async || owner.get("/api/reference").await.body["version"].as_i64().unwrap();
    let mut last = version().await;
    let changes = [
        ("POST", "/api/instruments".to_owned(), json!({"kind": "tape", "label": "T"})),
        ("PATCH", format!("/api/instruments/{}", ids::VOLTMETER), json!({"calibration_due": "2029-01-31"})),
        ("POST", "/api/models".to_owned(), json!({"kind": "module", "maker": "M", "name": "N"})),
        ("PATCH", format!("/api/models/{}", ids::MODULE), json!({"retired": true})),
        ("PATCH", format!("/api/people/{}", ids::SOLANO), json!({"language": "en"})),
        (
            "POST",
            "/api/people".to_owned(),
            json!({"email": "a@b.example", "display_name": "A", "roles": ["lead"], "language": "en"}),
        ),
    ];
    for (method, path, body) in changes {
        let answer = if method == "POST" { owner.post(&path, &body).await } else { owner.patch(&path, &body).await };
        assert!(answer.status < 300, "{path}: {}", answer.body);
        let now = version().await;
        assert!(now > last, "{method} {path}");
        last = now;
    }
    owner.post("/api/instruments", &json!({"kind": "", "label": ""})).await;
    assert_eq!(version().await, last, "what was refused changes nothing");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_changed_model_is_a_new_version_and_the_old_one_stays() {
    let app = TestApp::start().await;
    let office = app.sign_in("pendle@larkfield.example").await;
    let path = format!("/api/models/{}", ids::MODULE);
    let before = office.get("/api/models").await;
    let changed = office.patch(&path, &json!({"values": {"cell_min": 2_600_000}})).await;
    assert_eq!((&changed.body["version"], &changed.body["values"]), (&json!(2), &json!({"cell_min": 2_600_000})));
    assert_eq!(
        changed.body["gtin"],
        before.body.as_array().unwrap().iter().find(|m| m["id"] == json!(ids::MODULE)).unwrap()["gtin"]
    );
    let listed = office.get("/api/models").await;
    assert_eq!(listed.body.as_array().unwrap().len(), before.body.as_array().unwrap().len(), "one line a model");
    let rows: i64 = sqlx::query_scalar("select count(*) from models where id = $1")
        .bind(ids::MODULE.uuid())
        .fetch_one(&app.db.owner_pool().await)
        .await
        .unwrap();
    assert_eq!(rows, 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_maker_does_not_state_is_kept_until_it_is_found() {
    let app = TestApp::start().await;
    let office = app.sign_in("pendle@larkfield.example").await;
    let path = format!("/api/models/{}", ids::MODULE);
    let typed = json!({"values": {"cell_min": 2_500_000}, "not_stated": ["temp_min", "cell_min", "torque_ac_nm_max"]});
    let kept = office.patch(&path, &typed).await;
    assert_eq!(kept.body["not_stated"], json!(["temp_min"]), "neither what is stated nor what a module has not");
    let renamed = office.patch(&path, &json!({"name": "Another"})).await;
    assert_eq!(renamed.body["not_stated"], json!(["temp_min"]), "what is absent stays");
    // A charging range may begin below zero.
    let found = office.patch(&path, &json!({"values": {"temp_min": -10_000_000}})).await;
    assert_eq!((found.status, &found.body["not_stated"]), (200, &json!([])), "{}", found.body);
    let listed = office.get("/api/models").await;
    let own = listed.body.as_array().unwrap().iter().find(|model| model["id"] == json!(ids::MODULE)).unwrap();
    assert_eq!(own["values"], json!({"temp_min": -10_000_000}));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_is_named() {
    let app = TestApp::start().await;
    let office = app.sign_in("pendle@larkfield.example").await;
    for (body, code) in [
        (json!({"kind": "", "label": "L"}), "kind"),
        (json!({"kind": "tape"}), "label"),
        (json!({"kind": "tape", "label": "L", "calibration_due": "2026-02-30"}), "calibration_due"),
        (json!({"kind": "tape", "label": "L", "serial": "x".repeat(61)}), "serial"),
        // Days and names that nobody can mean.
        (json!({"kind": "tape", "label": "L", "calibration_due": "0001-01-01"}), "calibration_due"),
        (json!({"kind": "tape", "label": "L", "calibration_due": "9999-12-31"}), "calibration_due"),
        (json!({"kind": "tape", "label": "x".repeat(121)}), "label"),
        (json!({"kind": "tape", "label": "L\u{7}"}), "label"),
    ] {
        assert_eq!(office.post("/api/instruments", &body).await.problem(), (422, code), "{body}");
    }
    for (change, code) in [
        (json!({"gtin": "09521000001013"}), "gtin"),
        (json!({"maker": ""}), "maker"),
        (json!({"serial_length": [5, 4]}), "serial_length"),
        (json!({"serial_length": [0, 61]}), "serial_length"),
        (json!({"values": {"": 1}}), "values"),
        (json!({"values": {"cell_min": -2_500_000}}), "values_impossible"),
        (json!({"values": {"mass_kg": -120_000_000}}), "values_impossible"),
        (json!({"values": {"temp_min": -9_999_000_000_i64}}), "values_impossible"),
        (json!({"name": "N\u{7}"}), "name"),
    ] {
        assert_eq!(
            office.patch(&format!("/api/models/{}", ids::MODULE), &change).await.problem(),
            (422, code),
            "{change}"
        );
    }
    assert_eq!(office.post("/api/models", &json!({"maker": "M", "name": "N"})).await.problem(), (422, "kind"));
    assert_eq!(office.post("/api/models", &json!({"kind": "rocket"})).await.problem(), (400, "malformed"));
    let digit = gs1_check_digit("952100000999").unwrap();
    let typed = json!({ "gtin": format!("952100000999{digit}") });
    let kept = office.patch(&format!("/api/models/{}", ids::MODULE), &typed).await;
    assert_eq!(kept.body["gtin"], json!(format!("0952100000999{digit}")), "kept with fourteen digits");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_changes_at_once_do_not_overwrite_each_other() {
    let app = TestApp::start().await;
    let (one, two) = (app.sign_in("pendle@larkfield.example").await, app.sign_in("quill@larkfield.example").await);
    let path = format!("/api/models/{}", ids::INVERTER);
    let mut done = 0;
    for round in 0..5 {
        let (left, right) = (json!({"name": format!("A{round}")}), json!({"maker": format!("B{round}")}));
        let (left, right) = tokio::join!(one.patch(&path, &left), two.patch(&path, &right));
        for answer in [left, right] {
            match answer.problem() {
                (200, _) => done += 1,
                (409, "changed_meanwhile") => {}
                other => panic!("{other:?}"),
            }
        }
    }
    let now = one.get("/api/models").await;
    let model = now.body.as_array().unwrap().iter().find(|model| model["id"] == json!(ids::INVERTER)).unwrap().clone();
    assert_eq!(model["version"], json!(1 + done), "each success is one version");
}
