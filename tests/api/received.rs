//! An entry that says to have seen less than its device had received.

use domain::ids::{EntryId, JobId};
use domain::job_file::Body;
use domain::job_file::body::{DoubtCode, Remark};
use domain::wire::sync::PushVerdict;
use tests::app::TestApp;
use tests::phone::{TestPhone, all_stored, publish_small_method};
use uuid::Uuid;

const LEAD: &str = "quill@larkfield.example";

fn note(text: &str) -> Body {
    Body::Remark(Remark { at: None, text: text.into() })
}

/// Two devices of a lead at one job.
struct Site {
    app: TestApp,
    one: TestPhone,
    other: TestPhone,
    job: JobId,
}

impl Site {
    async fn open() -> Self {
        let app = TestApp::start().await;
        let method = publish_small_method(&app).await;
        let mut one = TestPhone::sign_in(&app, LEAD).await;
        let mut other = TestPhone::sign_in(&app, LEAD).await;
        let job = one.plan_job(&method, &[]);
        all_stored(&one.push().await).unwrap();
        one.pull().await;
        other.pull().await;
        Self { app, one, other, job }
    }

    /// The other device records something, and both send and fetch until each has said that it has it.
    async fn other_records(&mut self) {
        self.other.write(self.job, note("by the other"));
        all_stored(&self.other.push().await).unwrap();
        for _ in 0..2 {
            self.one.pull().await;
            self.other.pull().await;
        }
    }

    fn written_as_if(&mut self, seen: u64) -> EntryId {
        let entry = self.one.draft_having(EntryId::of(Uuid::now_v7()), self.job, note("by the one"), seen);
        self.one.keep(entry)
    }

    async fn doubted(&mut self) -> Vec<EntryId> {
        assert_eq!(self.one.client.get(&format!("/api/jobs/{}", self.job)).await.status, 200);
        self.one.pull().await;
        let doubts = self.one.files[&self.job].iter().filter_map(|held| match held.entry.body() {
            Some(Body::OriginDoubt(doubt)) => Some((doubt.code, doubt.about)),
            _ => None,
        });
        let (codes, about): (Vec<DoubtCode>, Vec<EntryId>) = doubts.unzip();
        assert!(codes.iter().all(|code| *code == DoubtCode::SeenLess), "{codes:?}");
        about
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_entry_that_leaves_out_what_its_device_had_received_is_marked_and_kept() {
    let mut site = Site::open().await;
    let before = site.one.files[&site.job].head();
    site.other_records().await;
    let now = site.one.files[&site.job].head();
    assert!(now > before);
    let honest = site.written_as_if(now);
    all_stored(&site.one.push().await).unwrap();
    assert_eq!(site.doubted().await, [], "{honest:?} says what it had");
    let less = site.written_as_if(before);
    assert!(matches!(site.one.push().await[..], [PushVerdict::Stored(_)]), "it is marked, not refused");
    assert_eq!(site.doubted().await, [less]);
    assert_eq!(site.doubted().await, [less], "it is told once");
    drop(site.app);
}

/// What waited on the device when it fetched was written before it had that, whatever arrives first; and what comes back of its own is
/// no news to it.
#[tokio::test(flavor = "multi_thread")]
async fn what_waited_while_the_device_fetched_is_not_doubted() {
    let mut site = Site::open().await;
    let before = site.one.files[&site.job].head();
    site.written_as_if(before);
    site.written_as_if(before);
    site.other_records().await;
    assert!(site.one.files[&site.job].head() > before, "fetched while two entries wait");
    all_stored(&site.one.push().await).unwrap();
    assert_eq!(site.doubted().await, []);
    // Its own entries were pushed and fetched again; the next one was made while their stamps were on the way.
    let before = site.one.files[&site.job].head();
    site.written_as_if(before);
    all_stored(&site.one.push().await).unwrap();
    site.one.pull().await;
    site.one.pull().await;
    site.written_as_if(before);
    all_stored(&site.one.push().await).unwrap();
    assert_eq!(site.doubted().await, []);
    drop(site.app);
}
