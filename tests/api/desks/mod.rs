//! Lists of jobs and units, and the registration desk.

use domain::identification::csv;
use domain::job_file::Body;
use domain::job_file::Place;
use domain::job_file::body::{Choice, SiteDetails};
use serde_json::{Value, json};
use server::demo::ids;
use tests::app::TestApp;
use tests::phone::{TestPhone, publish_small_method, serial_read};

const LEAD: &str = "quill@larkfield.example";

fn column(rows: &Value, key: &str) -> Vec<String> {
    rows.as_array().unwrap().iter().map(|row| row[key].as_str().unwrap().to_owned()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn jobs_are_listed_by_day_and_found_by_name() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let mut jobs = Vec::new();
    for (day, town) in [("2026-12-03", "A_town"), ("2026-12-01", "Btown"), ("", "Ctown"), ("2026-12-03", "Dtown")] {
        let job = lead.plan_job(&method, &[ids::ASHDOWN]);
        let day = domain::job_file::body::Schedule { day: day.into(), start: "08:00".into() };
        lead.write(job, Body::Schedule(day));
        lead.write(job, Body::SiteDetails(SiteDetails { town: town.into(), ..SiteDetails::default() }));
        jobs.push(job);
    }
    lead.tick(jobs[1], Place::of("arrive", 0, "here"));
    lead.push().await;
    let office = app.sign_in("pendle@larkfield.example").await;
    let list = async |query: &str| office.get(&format!("/api/jobs{query}")).await.body;
    assert_eq!(column(&list("").await, "town"), ["Dtown", "A_town", "Btown", "Ctown"]);
    assert_eq!(column(&list("?state=on_site").await, "town"), ["Btown"]);
    assert_eq!(column(&list("?state=on_site,with_crew&q=d").await, "town"), ["Dtown"]);
    assert_eq!(column(&list("?q=_tow").await, "town"), ["A_town"], "signs of a pattern mean themselves");
    assert_eq!(column(&list(&format!("?after={}", jobs[0])).await, "town"), ["Btown", "Ctown"]);
    assert_eq!(column(&list(&format!("?q={}", jobs[2].short())).await, "town"), ["Ctown"]);
    let row = list("?q=Btown").await[0].clone();
    assert_eq!(
        (&row["steps"], &row["purpose"], &row["start"]),
        (&json!({"done": 0, "total": 5}), &json!("install"), &json!("08:00"))
    );
    assert_eq!(office.get("/api/jobs/not-an-id").await.problem(), (404, "not_found"));
}

#[tokio::test(flavor = "multi_thread")]
async fn searches_see_neither_case_nor_accents_nor_how_a_name_was_typed() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let names = [
        ("Bécu", "Österreicher Weg 3"),
        ("Be\u{301}cu", "12 Cafe\u{301} Row"),
        ("Ángel", "12 Café Row"),
        ("Zorn", "Große Straße"),
    ];
    for (householder, street) in names {
        let job = lead.plan_job(&method, &[]);
        let (householder, street) = (householder.to_owned(), street.to_owned());
        lead.write(job, Body::SiteDetails(SiteDetails { householder, street, ..SiteDetails::default() }));
    }
    lead.push().await;
    let found = async |words: &str| {
        let rows = lead.client.get(&format!("/api/jobs?q={words}")).await.body;
        let mut found = column(&rows, "householder");
        found.sort_unstable();
        found
    };
    assert_eq!(found("becu").await, ["Be\u{301}cu", "Bécu"]);
    assert_eq!(found("BE%CC%81CU").await, ["Be\u{301}cu", "Bécu"]);
    assert_eq!(found("b%C3%A9cu").await, ["Be\u{301}cu", "Bécu"]);
    assert_eq!(found("cafe%20row").await, ["Be\u{301}cu", "Ángel"]);
    assert_eq!(found("%C3%B6sterreicher").await, ["Bécu"]);
    assert_eq!(found("%C3%A1ngel").await, ["Ángel"]);
    assert_eq!(found("strasse").await, ["Zorn"]);
    assert_eq!(found("cu%2012").await, [""; 0], "no text runs on into the next");
}

#[tokio::test(flavor = "multi_thread")]
async fn units_are_found_by_serial_look_and_lot() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[]);
    lead.arrive(job, b"x");
    lead.scan(job, 1, "BX24-000150");
    lead.write(job, Body::Serial(serial_read(2, "QQ-1%", Some("Lot 7"))));
    lead.push().await;
    // Recorded where the gate was shut: it does not count, and a recall must find it all the same.
    let shut = lead.plan_job(&method, &[]);
    lead.scan(shut, 1, "ZZ-9");
    lead.push().await;
    let find = async |query: &str| {
        let rows = lead.client.get(&format!("/api/units?q={query}")).await.body;
        column(&rows, "serial").into_iter().zip(column(&rows, "found_by")).collect::<Vec<_>>()
    };
    let found = |serial: &str, by: &str| vec![(serial.to_owned(), by.to_owned())];
    assert_eq!(find("bx24%20000").await, found("BX24-000150", "serial"));
    assert_eq!(find("8X24-OO015").await, found("BX24-000150", "look_alike"));
    assert_eq!(find("lot%207").await, found("QQ-1%", "lot"));
    assert_eq!(find("L%C3%B6T%207").await, found("QQ-1%", "lot"));
    assert_eq!(find("Q%25").await, vec![]);
    assert_eq!(find("09521234543213").await.len(), 3, "the catalogue's product code");
    assert_eq!(find("").await.len(), 3);
    let row = lead.client.get("/api/units?q=ZZ9").await.body[0].clone();
    assert_eq!((&row["standing"], &row["job"]), (&json!("breach"), &json!(shut)), "{row}");
    let technician = app.sign_in("ashdown@larkfield.example").await;
    for path in ["/api/units".to_owned(), "/api/registration".into(), format!("/api/jobs/{job}/registration.json")] {
        assert_eq!(technician.get(&path).await.problem(), (403, "not_permitted"), "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_registration_says_what_is_missing_until_nothing_is() {
    let app = TestApp::start().await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[]);
    lead.equip(job, Some(30));
    lead.arrive(job, b"arrived");
    for slot in [1, 2] {
        lead.scan(job, slot, &format!("=BX24-00000{slot}"));
        lead.photograph(job, Place::of("plates", slot, "label"), format!("label {slot}").as_bytes());
    }
    lead.push().await;
    let path = format!("/api/jobs/{job}/registration.json");
    let found = lead.client.get(&path).await.body;
    let codes: Vec<&str> =
        found["missing"].as_array().unwrap().iter().map(|missing| missing["code"].as_str().unwrap()).collect();
    assert_eq!(codes, ["commissioned_on", "grid_profile", "photos", "review"]);
    assert_eq!((&found["missing"][2]["count"], &found["complete"]), (&json!(3), &json!(false)));
    assert_eq!(found["installer"], json!("Larkfield Home Batteries (demo)"));
    assert!(found["installed_on"].is_string() && found["deadline"].is_null());

    for bytes in [&b"arrived"[..], b"label 1", b"label 2"] {
        lead.upload(job, bytes).await;
    }
    let volts = domain::job_file::body::Reading {
        at: Place::of("dead", 0, "v"),
        raw: "0".into(),
        micro: Some(0),
        unit: domain::electrical::Unit::Volt.code(),
        sign: domain::job_file::body::Sign::Equal,
        quality: domain::job_file::body::ReadingQuality::Ok,
        instrument: None,
        corrects: None,
        test_voltage: None,
    };
    lead.write(job, Body::Reading(volts));
    let choice = Choice { at: Place::of("grid-profile", 0, "profile"), option: "b".into(), corrects: None };
    lead.write(job, Body::Choice(choice));
    lead.write(job, Body::Submitted(domain::job_file::body::Plain {}));
    lead.write(job, Body::Passed(domain::job_file::body::Plain {}));
    lead.push().await;
    let office = app.sign_in("pendle@larkfield.example").await;
    let listed = office.get("/api/registration").await.body;
    let found = &listed[0];
    assert_eq!((&found["job"], &found["state"]), (&json!(job), &json!("passed")), "{listed}");
    assert_eq!((&found["missing"], &found["complete"]), (&json!([]), &json!(true)));
    assert_eq!(found["deadline"]["days_left"], json!(30));
    assert_eq!((&found["grid_profile"], &found["units"][1]["serial"]), (&json!("Region B"), &json!("=BX24-000002")));

    let csv_path = format!("/api/jobs/{job}/registration.csv");
    let file = office.get(&csv_path).await;
    assert_eq!(file.header("content-type"), "text/csv; charset=utf-8");
    let text = String::from_utf8(file.bytes).unwrap();
    let lines: Vec<&str> = text.strip_prefix('\u{feff}').unwrap().split_terminator(csv::LINE_END).collect();
    assert_eq!(lines.len(), 3);
    assert!(lines[1].contains(",'=BX24-000001,") && lines[2].contains(",yes,"), "{text}");
}
