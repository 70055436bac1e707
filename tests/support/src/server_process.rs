//! The server as it ships: its own program, its own database and photo folder, behind a road that can be cut.

use std::fs::File;
use std::net::{Ipv4Addr, SocketAddr, TcpListener as StdListener};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::{Duration, Instant};

use anyhow::{Context as _, Result, bail};
use tempfile::TempDir;
use tokio::process::{Child, Command};

use crate::client::Client;
use crate::db::TestDb;
use crate::proxy::Proxy;

/// Migrations, the demo firm and its password hashes on a busy machine.
const START_WITHIN: Duration = Duration::from_secs(240);
const ASK_EVERY: Duration = Duration::from_millis(100);
/// Two bytes as four digits, sixteen times over: as long as the server demands.
const SECRET_PART: &str = "5ca1";

/// What a server begins with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Content {
    /// Nobody: it prints the first owner's link.
    Nothing,
    /// The demo firm with its people and catalogue.
    Firm,
    /// And with its jobs.
    FirmAndJobs,
}

/// A running server and the road to it.
pub struct ServerProcess {
    /// Cut, heal, portal.
    pub road: Proxy,
    /// Dropped after the server, which still holds connections.
    pub db: TestDb,
    child: Child,
    direct: SocketAddr,
    folder: TempDir,
}

impl ServerProcess {
    /// On an empty database and an empty photo folder.
    ///
    /// # Errors
    /// The environment is not set, or the server does not come up.
    pub async fn start(content: Content) -> Result<Self> {
        let program = setting("WITNESSMARK_SERVER_BIN")?;
        let dist = setting("WITNESSMARK_WEB_DIST")?;
        let db = TestDb::create().await;
        let folder = tempfile::tempdir().context("a temporary folder")?;
        let direct = SocketAddr::from((Ipv4Addr::LOCALHOST, free_port()?));
        let road = Proxy::start(direct).await;
        let log = |name: &str| File::create(folder.path().join(name)).context("a file for what the server says");
        let child = Command::new(program)
            .env("DATABASE_URL", db.app_url())
            .env("DATABASE_OWNER_URL", db.owner_url())
            .env("PHOTO_STORE", format!("file://{}", folder.path().join("photos").display()))
            .env("LISTEN", direct.to_string())
            .env("PUBLIC_URL", format!("http://localhost:{}", road.port()))
            .env("WEB_DIST", dist)
            .env("TOKEN_SECRET", SECRET_PART.repeat(16))
            .env("SEAL_KEY", crate::app::SEAL_KEY_PART.repeat(32))
            .env("DEMO", if content == Content::Nothing { "0" } else { "1" })
            .env("DEMO_JOBS", if content == Content::FirmAndJobs { "1" } else { "0" })
            .stdin(Stdio::null())
            .stdout(log("said")?)
            .stderr(log("log")?)
            .kill_on_drop(true)
            .spawn()
            .context("the server's program does not start")?;
        let mut this = Self { road, db, child, direct, folder };
        this.until_it_answers().await?;
        Ok(this)
    }

    /// The address that people type.
    pub fn address(&self) -> String {
        format!("http://localhost:{}", self.road.port())
    }

    /// Past the road: for a test that looks at what the server holds while the road is cut.
    pub fn direct_address(&self) -> String {
        format!("http://{}", self.direct)
    }

    /// Somebody of this password, signed in past the road on a device of their own.
    ///
    /// # Errors
    /// The server refuses.
    pub async fn sign_in(&self, email: &str, password: &str) -> Result<Client> {
        let mut client = Client::new(&self.direct_address());
        let answer = client.sign_in(email, password, None).await;
        if answer.status != 200 {
            bail!("{email} cannot sign in: {} {}", answer.status, answer.body);
        }
        Ok(client)
    }

    /// The one-time link for the first owner, which an empty server prints.
    ///
    /// # Errors
    /// There is none.
    pub fn first_owner_link(&self) -> Result<String> {
        let said = std::fs::read_to_string(self.folder.path().join("said"))?;
        let link = said.split_whitespace().find(|word| word.contains("/link/"));
        Ok(link.with_context(|| format!("no link in: {said}"))?.to_owned())
    }

    /// What the server logged.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("log")).unwrap_or_default()
    }

    /// The folder in which the photos lie.
    pub fn photo_folder(&self) -> PathBuf {
        self.folder.path().join("photos")
    }

    async fn until_it_answers(&mut self) -> Result<()> {
        let http = reqwest::Client::new();
        let address = format!("{}/api/setup", self.direct_address());
        let began = Instant::now();
        while began.elapsed() < START_WITHIN {
            if let Some(status) = self.child.try_wait()? {
                bail!("the server ended with {status}:\n{}", self.log());
            }
            if http.get(&address).send().await.is_ok_and(|answer| answer.status().is_success()) {
                return Ok(());
            }
            tokio::time::sleep(ASK_EVERY).await;
        }
        bail!("the server did not answer within {START_WITHIN:?}:\n{}", self.log())
    }
}

/// A file or program that `cargo xtask test` names.
///
/// # Errors
/// It is not set, or is not there.
pub fn setting(name: &str) -> Result<PathBuf> {
    let path = std::env::var_os(name)
        .map(PathBuf::from)
        .with_context(|| format!("{name} is not set; `cargo xtask test browser` sets it"))?;
    if !Path::new(&path).exists() {
        bail!("{name}: {} is not there", path.display());
    }
    Ok(path)
}

fn free_port() -> Result<u16> {
    Ok(StdListener::bind((Ipv4Addr::LOCALHOST, 0))?.local_addr()?.port())
}
