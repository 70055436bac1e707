//! News for devices that are open: across two processes, for those whose job it is, and for nobody else.

use std::time::Duration;

use domain::ids::{JobId, PersonId};
use domain::job_file::Body;
use domain::job_file::body::{Assigned, Assignment, CrewRole, Remark};
use reqwest::{Method, Response};
use serde_json::json;
use server::App;
use server::clock::Clock;
use server::demo::ids;
use tests::app::TestApp;
use tests::client::Client;
use tests::phone::{TestPhone, all_stored, publish_small_method};
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use tokio::time::timeout;

const LEAD: &str = "quill@larkfield.example";
const TECHNICIAN: &str = "ashdown@larkfield.example";
const OTHER_TECHNICIAN: &str = "solano@larkfield.example";
const OFFICE: &str = "pendle@larkfield.example";
/// For a debug server on a busy machine.
const WITHIN: Duration = Duration::from_secs(20);

/// A second process over the same database, as far as the database can tell.
struct Beside {
    base: String,
    stop: oneshot::Sender<()>,
    serving: JoinHandle<anyhow::Result<()>>,
}

impl Beside {
    async fn of(app: &TestApp) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let base = format!("http://{}", listener.local_addr().expect("an address"));
        let config = (*app.state.config).clone();
        let app: App = server::build_with(config, Clock::system()).await.expect("the server starts");
        let (stop, stopped) = oneshot::channel::<()>();
        let serving = tokio::spawn(server::serve(listener, app, async move {
            let _ = stopped.await;
        }));
        Self { base, stop, serving }
    }

    /// Somebody's session, used at this process.
    fn at(&self, client: &Client) -> Client {
        let mut here = Client::new(&self.base);
        here.token.clone_from(&client.token);
        here.session = client.session.clone();
        here
    }
}

/// A stream that is being read.
struct Listening {
    response: Response,
    text: String,
}

impl Listening {
    async fn open(client: &Client) -> Self {
        let response = client.request(Method::GET, "/api/live").send().await.expect("an answer");
        assert_eq!(response.status(), 200);
        let header = |name: &str| response.headers().get(name).and_then(|value| value.to_str().ok()).map(str::to_owned);
        assert_eq!(header("content-type").as_deref(), Some("text/event-stream"));
        assert_eq!(header("content-encoding"), None, "a compressed stream would be held back");
        let mut this = Self { response, text: String::new() };
        assert!(this.hears().await, "the first event comes at once");
        this
    }

    /// Takes one event; false when the stream has ended.
    async fn hears(&mut self) -> bool {
        loop {
            if let Some(end) = self.text.find("\n\n") {
                let block: String = self.text.drain(..end + 2).collect();
                if block.starts_with(':') {
                    continue;
                }
                assert_eq!(block, "event: news\ndata: ask\n\n", "an event says nothing else");
                return true;
            }
            match timeout(WITHIN, self.response.chunk()).await.expect("something in time") {
                Ok(Some(bytes)) => self.text.push_str(&String::from_utf8_lossy(&bytes)),
                Ok(None) | Err(_) => return false,
            }
        }
    }

    /// Nothing has come so far.
    async fn is_quiet(&mut self) -> bool {
        let come = timeout(Duration::ZERO, self.response.chunk()).await;
        self.text.is_empty() && come.is_err()
    }
}

async fn says(phone: &mut TestPhone, job: JobId, text: &str) {
    phone.write(job, Body::Remark(Remark { at: None, text: text.to_owned() }));
    all_stored(&phone.push().await).expect("stored");
}

fn crew(people: &[PersonId]) -> Body {
    let assigned = |person: &PersonId| Assigned { person: *person, role: CrewRole::Technician, tickets: Vec::new() };
    Body::Assignment(Assignment { crew: people.iter().map(assigned).collect() })
}

#[tokio::test(flavor = "multi_thread")]
async fn news_reach_those_whose_job_it_is_through_either_process() {
    let app = TestApp::start().await;
    let beside = Beside::of(&app).await;
    let method = publish_small_method(&app).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    lead.push().await;
    let (technician, other) = (app.sign_in(TECHNICIAN).await, app.sign_in(OTHER_TECHNICIAN).await);
    let (office, stranger) = (app.sign_in(OFFICE).await, app.open_firm("Other Firm", "other@firm.example").await);

    let mut theirs = Listening::open(&beside.at(&technician)).await;
    let mut offices = Listening::open(&beside.at(&office)).await;
    let mut same_process = Listening::open(&technician).await;
    let mut not_theirs = Listening::open(&beside.at(&other)).await;
    let mut other_firm = Listening::open(&beside.at(&stranger)).await;

    says(&mut lead, job, "The key is at number 9.").await;
    assert!(theirs.hears().await && offices.hears().await && same_process.hears().await);
    assert!(not_theirs.is_quiet().await, "whose job it is not learns nothing of it");
    assert!(other_firm.is_quiet().await, "another firm learns nothing");

    // An assignment counts for itself: who comes on the job hears it, and so does who leaves it.
    lead.write(job, crew(&[ids::SOLANO]));
    all_stored(&lead.push().await).expect("stored");
    assert!(not_theirs.hears().await && theirs.hears().await);
    assert!(other_firm.is_quiet().await);

    // A server that stops ends its streams by itself and does not wait for them.
    beside.stop.send(()).expect("it still serves");
    timeout(WITHIN / 2, beside.serving).await.expect("it stops soon").expect("no panic").expect("served");
    // What was still on its way may come first; a stream that does not end is not waited for.
    while theirs.hears().await {}
}

#[tokio::test(flavor = "multi_thread")]
async fn who_is_shut_out_hears_nothing() {
    let app = TestApp::start().await;
    assert_eq!(app.stranger().get("/api/live").await.problem(), (401, "token_missing"));
    let technician = app.sign_in(TECHNICIAN).await;
    let owner = app.sign_in("marlow@larkfield.example").await;
    let gone = owner.delete(&format!("/api/devices/{}", technician.device())).await;
    assert_eq!(gone.status, 204, "{}", gone.body);
    assert_eq!(technician.get("/api/live").await.problem(), (401, "device_revoked"));
    let posted = technician.post("/api/live", &json!({})).await;
    assert_eq!(posted.problem(), (405, "method_not_allowed"));
}
