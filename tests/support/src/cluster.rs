//! A Postgres of one test's own, which can be stopped in the middle of everything and started again on the same data.
//!
//! Made in a private folder below `/var/tmp`, with fsync on, on a free loopback port, behind a password. Postgres refuses to run
//! as root, so root starts it as the user `postgres`, as `cargo xtask` does.

use std::path::{Path, PathBuf};
use std::process::Stdio;

use anyhow::{Context as _, Result, bail};
use sqlx::{Connection as _, Executor as _, PgConnection};
use tempfile::TempDir;
use tokio::process::Command;

use crate::program::free_port;
use crate::server_process::setting;

const SUPERUSER: &str = "kills_super";
const OWNER: &str = "kills_owner";
/// Who runs Postgres when we are root.
const SYSTEM_USER: &str = "postgres";

/// It is stopped and removed when this is dropped.
#[derive(Debug)]
pub struct Cluster {
    bin: PathBuf,
    folder: TempDir,
    port: u16,
    password: String,
    settings: Vec<String>,
    /// Which process writes the log of changes to the disk, while it is stopped.
    stopped_writer: Option<u32>,
}

impl Cluster {
    /// Makes and starts one. `settings` come after ours, as `name=value`.
    ///
    /// # Errors
    /// `WITNESSMARK_POSTGRES_BIN` does not name a folder with its programs, or they fail.
    pub async fn start(settings: &[&str]) -> Result<Self> {
        let bin = setting("WITNESSMARK_POSTGRES_BIN")?;
        let folder = tempfile::Builder::new().prefix("witnessmark-cluster-").tempdir_in("/var/tmp")?;
        let password = uuid::Uuid::new_v4().simple().to_string();
        std::fs::write(folder.path().join("password"), &password)?;
        if is_root() {
            run(Command::new("chown").arg("-R").arg(format!("{SYSTEM_USER}:")).arg(folder.path())).await?;
        }
        let port = free_port()?;
        let settings = settings.iter().map(|one| (*one).to_owned()).collect();
        let this = Self { bin, folder, port, password, settings, stopped_writer: None };
        let mut initdb = this.program("initdb");
        initdb.arg("--pgdata").arg(this.data()).arg("--pwfile").arg(this.folder.path().join("password"));
        initdb.args(["--username", SUPERUSER, "--auth", "scram-sha-256", "--encoding", "UTF8"]);
        // As the one that ships: `docker-compose.yml` says why.
        initdb.args(["--locale", "C.UTF-8", "--data-checksums"]);
        run(&mut initdb).await?;
        this.start_again().await?;
        // No superuser, as on a managed Postgres.
        let mut superuser = PgConnection::connect(&this.url(SUPERUSER)).await.context("the new cluster")?;
        let role = format!(
            "create role {OWNER} login createdb createrole bypassrls nosuperuser password '{}'; \
             grant pg_signal_backend to {OWNER}",
            this.password
        );
        superuser.execute(role.as_str()).await?;
        superuser.close().await?;
        Ok(this)
    }

    /// The owner's address, as [`crate::db::TestDb::create_in`] takes it.
    pub fn owner_url(&self) -> String {
        self.url(OWNER)
    }

    /// Stops it as a crash does: nobody is asked, nothing is written.
    ///
    /// # Errors
    /// It does not stop.
    pub async fn stop_at_once(&mut self) -> Result<()> {
        let mut stop = self.program("pg_ctl");
        let mut stopping = stop.args(["stop", "-w", "-m", "immediate", "-D"]).arg(self.data()).spawn()?;
        // A process that stands still cannot obey: Postgres would wait five seconds for it.
        if let Some(writer) = self.stopped_writer.take() {
            signal("KILL", writer).await?;
        }
        let status = stopping.wait().await?;
        if !status.success() {
            bail!("Postgres does not stop: {status}");
        }
        Ok(())
    }

    /// From now on what is committed before it is on the disk stays in memory: the process that writes it a moment later stands still.
    /// Until the next stop; with `synchronous_commit=off` only, else nothing is committed at all.
    ///
    /// # Errors
    /// There is no such process.
    pub async fn stop_the_writer(&mut self) -> Result<()> {
        let id_file = std::fs::read_to_string(self.data().join("postmaster.pid"))?;
        let postmaster: u32 = id_file.lines().next().context("no process id")?.trim().parse()?;
        let mut writer = None;
        for process in std::fs::read_dir("/proc")? {
            let process = process?;
            let Ok(id) = process.file_name().to_string_lossy().parse::<u32>() else { continue };
            let read = |name: &str| std::fs::read_to_string(process.path().join(name)).unwrap_or_default();
            let is_child = read("status").lines().any(|line| line == format!("PPid:\t{postmaster}"));
            if is_child && read("cmdline").contains("walwriter") {
                writer = Some(id);
            }
        }
        let writer = writer.context("no process writes the log of changes")?;
        signal("STOP", writer).await?;
        self.stopped_writer = Some(writer);
        Ok(())
    }

    /// Starts it on the data that is there.
    ///
    /// # Errors
    /// It does not start.
    pub async fn start_again(&self) -> Result<()> {
        let mut options = format!(
            "-c listen_addresses=127.0.0.1 -c port={} -c unix_socket_directories= -c max_connections=100 -c fsync=on",
            self.port
        );
        for setting in &self.settings {
            options.push_str(" -c ");
            options.push_str(setting);
        }
        let mut start = self.program("pg_ctl");
        start.args(["start", "-w", "-t", "60", "-D"]).arg(self.data());
        start.arg("-l").arg(self.log_file()).arg("-o").arg(options);
        run(&mut start).await.with_context(|| self.log())
    }

    fn url(&self, role: &str) -> String {
        format!("postgres://{role}:{}@127.0.0.1:{}/postgres", self.password, self.port)
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    fn log_file(&self) -> PathBuf {
        self.folder.path().join("log")
    }

    /// What it wrote down.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.log_file()).unwrap_or_default()
    }

    fn program(&self, name: &str) -> Command {
        let mut command = as_system_user(&self.bin.join(name));
        // The other user may not be able to enter the folder that we stand in. What Postgres inherits it keeps for life.
        command.current_dir("/").stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        command
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        let mut stop = self.program("pg_ctl");
        stop.args(["stop", "-w", "-m", "immediate", "-D"]).arg(self.data());
        if !stop.as_std_mut().status().is_ok_and(|status| status.success()) {
            eprintln!("a Postgres may still run in {}", self.folder.path().display());
        }
    }
}

async fn signal(name: &str, process: u32) -> Result<()> {
    run(Command::new("kill").arg(format!("-{name}")).arg(process.to_string())).await
}

async fn run(command: &mut Command) -> Result<()> {
    let status = command.status().await.with_context(|| format!("{command:?} does not start"))?;
    if !status.success() {
        bail!("{command:?} ended with {status}");
    }
    Ok(())
}

fn as_system_user(program: &Path) -> Command {
    if !is_root() {
        return Command::new(program);
    }
    let mut command = Command::new("runuser");
    command.args(["-u", SYSTEM_USER, "--"]).arg(program);
    command
}

fn is_root() -> bool {
    use std::os::unix::fs::MetadataExt as _;
    std::fs::metadata("/proc/self").is_ok_and(|own| own.uid() == 0)
}
