//! Nobody who reads by position ever misses an entry: see `server::job_files::append`.

use std::collections::BTreeSet;
use std::time::Duration;

use domain::ids::{EntryId, JobId};
use domain::job_file::Body;
use domain::job_file::body::Remark;
use domain::wire::sync::{PushVerdict, RefusedWhy};
use server::demo::ids;
use server::job_files::append::{Appended, FirmLock, append};
use tests::app::TestApp;
use tests::phone::{TestPhone, publish_small_method};

const LEAD: &str = "quill@larkfield.example";
const TECHNICIAN: &str = "ashdown@larkfield.example";

fn remark(text: &str) -> Body {
    Body::Remark(Remark { at: None, text: text.into() })
}

fn position(verdict: &PushVerdict) -> u64 {
    match verdict {
        PushVerdict::Stored(stamp) => stamp.position,
        other => panic!("{other:?}"),
    }
}

async fn planned(app: &TestApp) -> (TestPhone, TestPhone, JobId) {
    let method = publish_small_method(app).await;
    let mut lead = TestPhone::sign_in(app, LEAD).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    lead.push().await;
    let mut technician = TestPhone::sign_in(app, TECHNICIAN).await;
    technician.pull().await;
    (lead, technician, job)
}

#[tokio::test(flavor = "multi_thread")]
async fn of_two_transactions_at_once_none_becomes_visible_below_the_other() {
    let app = TestApp::start().await;
    let (lead, mut technician, job) = planned(&app).await;
    let before = technician.files[&job].head();

    // A has its position and is slow to commit.
    let slow = lead.draft(job, remark("slow"));
    let mut tx = app.state.db.begin_for_firm(ids::FIRM).await.unwrap();
    let mut lock = FirmLock::take(&mut tx).await.unwrap();
    let outcome = append(&mut tx, &mut lock, app.state.clock.now_us(), std::slice::from_ref(&slow)).await.unwrap();
    let Appended::Stored(stamp) = outcome[0] else { panic!("{outcome:?}") };
    assert_eq!(stamp.position, before + 1);

    // B comes later and must not overtake it.
    let fast = technician.draft(job, remark("fast")).bytes().to_vec();
    let sender = TestPhone::of(technician.client.clone());
    let mut pushed = tokio::spawn(async move { sender.push_bytes(&[fast]).await });
    let waits = tokio::time::timeout(Duration::from_millis(400), &mut pushed).await;
    assert!(waits.is_err(), "B was answered before A's fate is known");
    // A reader waits for neither.
    assert_eq!(technician.pull().await, 0);

    tx.commit().await.unwrap();
    assert_eq!(position(&pushed.await.unwrap()[0]), before + 2);
    assert_eq!(technician.pull().await, 2);
    assert!(technician.files[&job].get(slow.header.id).is_some());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_transaction_that_fails_leaves_no_gap() {
    let app = TestApp::start().await;
    let (lead, mut technician, job) = planned(&app).await;
    let before = technician.files[&job].head();
    let lost = lead.draft(job, remark("lost"));
    let mut tx = app.state.db.begin_for_firm(ids::FIRM).await.unwrap();
    let mut lock = FirmLock::take(&mut tx).await.unwrap();
    append(&mut tx, &mut lock, app.state.clock.now_us(), &[lost]).await.unwrap();
    drop(tx);
    technician.write(job, remark("next"));
    assert_eq!(position(&technician.push().await[0]), before + 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn stamps_never_go_back_although_the_machine_s_clock_does() {
    let app = TestApp::start().await;
    let (_, mut technician, job) = planned(&app).await;
    technician.write(job, remark("one"));
    let first = technician.push().await;
    let PushVerdict::Stored(first) = first[0] else { panic!("{first:?}") };
    let two = technician.draft(job, remark("two"));
    let mut tx = app.state.db.begin_for_firm(ids::FIRM).await.unwrap();
    let mut lock = FirmLock::take(&mut tx).await.unwrap();
    let an_hour_ago = app.state.clock.now_us() - 3_600_000_000;
    let second = append(&mut tx, &mut lock, an_hour_ago, &[two]).await.unwrap();
    let Appended::Stored(second) = second[0] else { panic!("{second:?}") };
    assert_eq!(second.time_us, first.time_us + 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn many_writers_and_a_reader_end_with_the_same_entries() {
    const WRITERS: usize = 6;
    const PUSHES: usize = 12;
    let app = TestApp::start().await;
    let (_, mut reader, job) = planned(&app).await;
    let start = reader.files[&job].len();
    let mut writers = Vec::new();
    for number in 0..WRITERS {
        let mut phone = TestPhone::sign_in(&app, TECHNICIAN).await;
        writers.push(tokio::spawn(async move {
            for push in 0..PUSHES {
                // Several at once every third time, so that batches differ in length.
                for _ in 0..=(push % 3) {
                    phone.write(job, remark(&format!("{number} {push}")));
                }
                let verdicts = phone.push().await;
                assert!(verdicts.iter().all(|verdict| matches!(verdict, PushVerdict::Stored(_))));
            }
        }));
    }
    while writers.iter().any(|writer| !writer.is_finished()) {
        reader.pull().await;
        let file = &reader.files[&job];
        assert_eq!(file.head(), file.len() as u64, "a position was skipped");
    }
    for writer in writers {
        writer.await.unwrap();
    }
    reader.pull().await;
    let pool = app.db.owner_pool().await;
    let rows: Vec<uuid::Uuid> = sqlx::query_scalar("select entry_id from entries").fetch_all(&pool).await.unwrap();
    let table: BTreeSet<EntryId> = rows.into_iter().map(EntryId::of).collect();
    let read: BTreeSet<EntryId> = reader.files[&job].iter().map(|held| held.entry.header.id).collect();
    assert_eq!(read, table);
    assert_eq!(table.len(), start + WRITERS * PUSHES * 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_entry_that_the_database_refuses_holds_up_no_other() {
    let app = TestApp::start().await;
    let (_, mut technician, job) = planned(&app).await;
    let before = technician.files[&job].head();
    // Something that no check of ours knows.
    let guilty = technician.draft(job, remark("guilty")).header.device;
    let pool = app.db.owner_pool().await;
    let rule = format!("alter table entries add constraint entries_test check (device_id <> '{guilty}' or seq <> 4)");
    sqlx::query(&rule).execute(&pool).await.unwrap();
    for number in 1..=9 {
        technician.write(job, remark(&format!("{number}")));
    }
    let verdicts = technician.push().await;
    let stored: Vec<u64> =
        verdicts.iter().enumerate().filter(|(at, _)| *at != 3).map(|(_, verdict)| position(verdict)).collect();
    assert_eq!(verdicts[3], PushVerdict::Refused(RefusedWhy::Malformed));
    assert_eq!(stored, (before + 1..=before + 8).collect::<Vec<_>>(), "in their order and without a gap");
}
