//! A whole server in this process, on a real Postgres, listening on a free port.

use std::sync::Mutex;

use serde_json::{Value, json};
use server::clock::Clock;
use server::config::{Config, PhotoStoreSetting};
use server::handover::key::Sealing;
use server::state::{AppState, Objects, open_objects};
use server::{App, Welcome};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

use crate::client::{Answer, Client};
use crate::db::TestDb;

/// The password of people whom tests let in; the demo's people have the demo's.
pub const PASSWORD: &str = "correct horse for tests";
/// Signs the tokens of servers under test.
const SECRET: [u8; 32] = [42; 32];
/// Repeated, the key that seals in tests: the same in every server.
pub const SEAL_KEY_PART: &str = "2a";

/// A server under test.
pub struct TestApp {
    /// `http://127.0.0.1:port`
    pub base: String,
    /// What the handlers reach: the clock can be moved, methods looked up.
    pub state: AppState,
    /// Where its rows are; dropped last.
    pub db: TestDb,
    /// The link for the first owner, where the server began empty.
    pub first_owner_link: Option<String>,
    stop: Mutex<Option<oneshot::Sender<()>>>,
    serving: JoinHandle<()>,
    _photos: TempDir,
}

impl TestApp {
    /// With the demo firm in it.
    pub async fn start() -> Self {
        Self::start_with(TestDb::create().await, |config| config.demo = true).await
    }

    /// With nobody in it.
    pub async fn start_empty() -> Self {
        Self::start_with(TestDb::create().await, |_| {}).await
    }

    /// On this database, with other settings.
    ///
    /// # Panics
    /// The server does not start.
    pub async fn start_with(db: TestDb, change: impl FnOnce(&mut Config)) -> Self {
        Self::start_over(db, change, None).await
    }

    /// The same with photos in a store that the test has opened.
    ///
    /// # Panics
    /// The server does not start.
    pub async fn start_over(db: TestDb, change: impl FnOnce(&mut Config), objects: Option<Objects>) -> Self {
        let photos = tempfile::tempdir().expect("a temporary folder");
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let base = format!("http://{}", listener.local_addr().expect("an address"));
        let mut config = Config {
            database_url: db.app_url(),
            database_owner_url: Some(db.owner_url()),
            photo_store: PhotoStoreSetting::Folder(photos.path().to_owned()),
            listen: listener.local_addr().expect("an address"),
            web_dist: None,
            public_url: base.clone(),
            token_secret: SECRET.to_vec(),
            seal_key: Sealing::of_hex(&SEAL_KEY_PART.repeat(32)),
            demo: false,
            demo_jobs: false,
            trust_forwarded_for: false,
        };
        change(&mut config);
        if objects.is_some() {
            config.photo_store = PhotoStoreSetting::S3 { bucket: "elsewhere".to_owned(), endpoint: None };
        }
        let objects = objects.map_or_else(|| open_objects(&config.photo_store), Ok).expect("a store of photos");
        let app: App = server::build_over(config, Clock::system(), objects).await.expect("the server starts");
        let state = app.state.clone();
        let first_owner_link = match &app.welcome {
            Welcome::NobodyOwns => {
                Some(server::firms::first_owner_link(&state.db, &state.clock, &state.config).await.expect("a link"))
            }
            Welcome::Usual | Welcome::Demo(_) => None,
        };
        let (stop, stopped) = oneshot::channel();
        let serving = tokio::spawn(async move {
            let stopped = async {
                let _ = stopped.await;
            };
            server::serve(listener, app, stopped).await.expect("serving");
        });
        Self { base, state, db, first_owner_link, stop: Mutex::new(Some(stop)), serving, _photos: photos }
    }

    /// Somebody without a session.
    pub fn stranger(&self) -> Client {
        Client::new(&self.base)
    }

    /// Somebody of the demo firm, signed in on a new device.
    pub async fn sign_in(&self, email: &str) -> Client {
        self.sign_in_with(email, server::demo::PASSWORD).await
    }

    /// Somebody with this password, signed in on a new device.
    ///
    /// # Panics
    /// The server refuses.
    pub async fn sign_in_with(&self, email: &str, password: &str) -> Client {
        let mut client = self.stranger();
        let answer = client.sign_in(email, password, None).await;
        assert_eq!(answer.status, 200, "{email} cannot sign in: {}", answer.body);
        client
    }

    /// One more firm with an owner, who is signed in.
    ///
    /// # Panics
    /// The server refuses.
    pub async fn open_firm(&self, name: &str, email: &str) -> Client {
        let state = &self.state;
        let link = server::firms::first_owner_link(&state.db, &state.clock, &state.config).await.expect("a link");
        let body = json!({"password": PASSWORD, "display_name": "Other Owner", "firm_name": name, "email": email});
        let answer = self.follow(&link, &body).await;
        assert_eq!(answer.status, 204, "{}", answer.body);
        self.sign_in_with(email, PASSWORD).await
    }

    /// Follows a one-time link with this body.
    pub async fn follow(&self, link: &str, body: &Value) -> Answer {
        self.stranger().post(&api_of(link), body).await
    }

    /// Moves the server's clock.
    pub fn wait_us(&self, us: i64) {
        self.state.clock.advance(us);
    }

    /// Stops the server as SIGTERM would.
    pub async fn stop(mut self) {
        if let Some(stop) = self.stop.lock().expect("nobody panicked").take() {
            let _ = stop.send(());
        }
        let _ = (&mut self.serving).await;
    }
}

impl Drop for TestApp {
    fn drop(&mut self) {
        self.serving.abort();
    }
}

/// `/api/links/{token}` of a link that the server made.
pub fn api_of(link: &str) -> String {
    let (_, token) = link.rsplit_once('/').expect("a link ends with its token");
    format!("/api/links/{token}")
}
