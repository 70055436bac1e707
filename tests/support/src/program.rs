//! The server's own program: started, killed, started again at the same place.

use std::fs::OpenOptions;
use std::net::{Ipv4Addr, SocketAddr, TcpListener as StdListener};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::{Duration, Instant};

use anyhow::{Context as _, Result, bail};
use tokio::process::{Child, Command};

use crate::db::TestDb;
use crate::server_process::setting;

/// Migrations, the demo firm and its password hashes on a busy machine.
const START_WITHIN: Duration = Duration::from_secs(240);
const ASK_EVERY: Duration = Duration::from_millis(20);
/// Two bytes as four digits, sixteen times over: as long as the server demands.
const SECRET_PART: &str = "5ca1";

/// A place for the program, and the program while it runs.
#[derive(Debug)]
pub struct Program {
    /// Where it listens.
    pub listen: SocketAddr,
    settings: Vec<(&'static str, String)>,
    folder: PathBuf,
    child: Option<Child>,
}

impl Program {
    /// On this database, with photos where `photo_store` says, which is a setting of the server's. It writes what it says below
    /// `folder`.
    ///
    /// # Errors
    /// No port is free.
    pub fn of(db: &TestDb, photo_store: String, folder: &Path) -> Result<Self> {
        let listen = SocketAddr::from((Ipv4Addr::LOCALHOST, free_port()?));
        let settings = vec![
            ("DATABASE_URL", db.app_url()),
            ("DATABASE_OWNER_URL", db.owner_url()),
            ("PHOTO_STORE", photo_store),
            ("LISTEN", listen.to_string()),
            ("PUBLIC_URL", format!("http://{listen}")),
            ("TOKEN_SECRET", SECRET_PART.repeat(16)),
            ("DEMO", "1".to_owned()),
            ("DEMO_JOBS", "0".to_owned()),
        ];
        Ok(Self { listen, settings, folder: folder.to_owned(), child: None })
    }

    /// With one setting more, or another value.
    #[must_use]
    pub fn with(mut self, name: &'static str, value: String) -> Self {
        self.settings.retain(|(known, _)| *known != name);
        self.settings.push((name, value));
        self
    }

    /// Starts it and waits for its first answer.
    ///
    /// # Errors
    /// It does not come up.
    pub async fn start(&mut self) -> Result<()> {
        self.spawn()?;
        let began = Instant::now();
        while began.elapsed() < START_WITHIN {
            if self.is_up().await? {
                return Ok(());
            }
            tokio::time::sleep(ASK_EVERY).await;
        }
        bail!("the server did not answer within {START_WITHIN:?}:\n{}", self.log())
    }

    /// `kill -9`, and no process is left.
    ///
    /// # Errors
    /// It could not be killed.
    pub async fn kill(&mut self) -> Result<()> {
        match self.child.take() {
            Some(mut child) => child.kill().await.context("kill -9"),
            None => Ok(()),
        }
    }

    /// The process, while there is one.
    pub fn id(&self) -> Option<u32> {
        self.child.as_ref().and_then(Child::id)
    }

    /// Waits until it ends by itself or by another's hand.
    ///
    /// # Errors
    /// It was not started.
    pub async fn ended(&mut self) -> Result<()> {
        self.child.as_mut().context("the server was not started")?.wait().await?;
        Ok(())
    }

    /// Bytes of memory that it holds now.
    ///
    /// # Errors
    /// It does not run, or the system does not say.
    pub fn resident_bytes(&self) -> Result<u64> {
        let id = self.id().context("the server does not run")?;
        let status = std::fs::read_to_string(format!("/proc/{id}/status"))?;
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).context("no VmRSS")?;
        let kilobytes: u64 = line.trim().trim_end_matches(" kB").parse()?;
        Ok(kilobytes * 1024)
    }

    /// `http://127.0.0.1:port`
    pub fn address(&self) -> String {
        format!("http://{}", self.listen)
    }

    /// What it logged.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.file("log")).unwrap_or_default()
    }

    /// What it printed on its standard output.
    ///
    /// # Errors
    /// It never ran.
    pub fn said(&self) -> Result<String> {
        Ok(std::fs::read_to_string(self.file("said"))?)
    }

    /// What one of its commands prints, with the same settings, beside the server or without it.
    ///
    /// # Errors
    /// It fails.
    pub async fn command(&self, name: &str) -> Result<String> {
        let program = setting("WITNESSMARK_SERVER_BIN")?;
        let settings = self.settings.iter().map(|(name, value)| (name, value));
        let done = Command::new(program).arg(name).envs(settings).stdin(Stdio::null()).output().await?;
        if !done.status.success() {
            bail!("`{name}` failed: {}", String::from_utf8_lossy(&done.stderr));
        }
        Ok(String::from_utf8(done.stdout)?)
    }

    fn file(&self, what: &str) -> PathBuf {
        self.folder.join(format!("{what}-{}", self.listen.port()))
    }

    /// Starts it and waits for nothing.
    ///
    /// # Errors
    /// There is no such program.
    pub fn spawn(&mut self) -> Result<()> {
        let program = setting("WITNESSMARK_SERVER_BIN")?;
        let open = |what: &str| {
            let file = OpenOptions::new().create(true).append(true).open(self.file(what));
            file.context("a file for what the server says")
        };
        let child = Command::new(program)
            .envs(self.settings.iter().map(|(name, value)| (name, value)))
            .stdin(Stdio::null())
            .stdout(open("said")?)
            .stderr(open("log")?)
            .kill_on_drop(true)
            .spawn()
            .context("the server's program does not start")?;
        self.child = Some(child);
        Ok(())
    }

    /// It answers as our server does. That something listens is not enough.
    async fn is_up(&mut self) -> Result<bool> {
        let child = self.child.as_mut().context("the server was not started")?;
        if let Some(status) = child.try_wait()? {
            bail!("the server ended with {status}:\n{}", self.log());
        }
        let asked = reqwest::Client::new().get(format!("{}/api/setup", self.address())).send().await;
        Ok(asked.is_ok_and(|answer| answer.status().is_success()))
    }
}

/// Below the ports that the system gives to connections by itself: while a killed process is away nobody takes its port, and who
/// knocks there is refused and does not reach himself.
const PORTS: std::ops::Range<u128> = 20_000..32_000;
const PORT_TRIES: usize = 200;

/// A port for a process that will be killed and come back.
///
/// # Errors
/// None of many is free.
pub(crate) fn free_port() -> Result<u16> {
    for _ in 0..PORT_TRIES {
        let port = PORTS.start + uuid::Uuid::new_v4().as_u128() % (PORTS.end - PORTS.start);
        let port = u16::try_from(port)?;
        if StdListener::bind((Ipv4Addr::LOCALHOST, port)).is_ok() {
            return Ok(port);
        }
    }
    bail!("no port is free between {} and {}", PORTS.start, PORTS.end)
}
