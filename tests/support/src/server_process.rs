//! The server as it ships: its own program, its own database and photo folder, behind a road that can be cut.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result, bail};
use tempfile::TempDir;

use crate::client::Client;
use crate::db::TestDb;
use crate::program::Program;
use crate::proxy::Proxy;

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
    program: Program,
    folder: TempDir,
}

impl ServerProcess {
    /// On an empty database and an empty photo folder.
    ///
    /// # Errors
    /// The environment is not set, or the server does not come up.
    pub async fn start(content: Content) -> Result<Self> {
        let dist = setting("WITNESSMARK_WEB_DIST")?;
        let db = TestDb::create().await;
        let folder = tempfile::tempdir().context("a temporary folder")?;
        // A copy of this server's own: a test may put another build there.
        let web = folder.path().join("web");
        copy_folder(&dist, &web).context("a copy of the web app")?;
        let photos = format!("file://{}", folder.path().join("photos").display());
        let program = Program::of(&db, photos, folder.path())?;
        let road = Proxy::start(program.listen).await;
        let switch = |on: bool| String::from(if on { "1" } else { "0" });
        let mut program = program
            .with("PUBLIC_URL", format!("http://localhost:{}", road.port()))
            .with("WEB_DIST", web.display().to_string())
            .with("SEAL_KEY", crate::app::SEAL_KEY_PART.repeat(32))
            .with("DEMO", switch(content != Content::Nothing))
            .with("DEMO_JOBS", switch(content == Content::FirmAndJobs));
        program.start().await?;
        Ok(Self { road, db, program, folder })
    }

    /// Another process of the same server: the same database, photos and secrets, at its own address.
    ///
    /// # Errors
    /// It does not come up.
    pub async fn beside(&self) -> Result<Program> {
        let photos = format!("file://{}", self.photo_folder().display());
        let program = Program::of(&self.db, photos, self.folder.path())?;
        let mut program = program
            .with("PUBLIC_URL", self.address())
            .with("WEB_DIST", self.web_folder().display().to_string())
            .with("SEAL_KEY", crate::app::SEAL_KEY_PART.repeat(32))
            .with("DEMO", "0".to_owned());
        program.start().await?;
        Ok(program)
    }

    /// The address that people type.
    pub fn address(&self) -> String {
        format!("http://localhost:{}", self.road.port())
    }

    /// Past the road: for a test that looks at what the server holds while the road is cut.
    pub fn direct_address(&self) -> String {
        self.program.address()
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

    /// The one-time link for the first owner, as the server's command prints it.
    ///
    /// # Errors
    /// There is none.
    pub async fn first_owner_link(&self) -> Result<String> {
        let said = self.program.command("new-firm").await?;
        let link = said.split_whitespace().find(|word| word.contains("/link/"));
        Ok(link.with_context(|| format!("no link in: {said}"))?.to_owned())
    }

    /// What the server logged.
    pub fn log(&self) -> String {
        self.program.log()
    }

    /// The folder of the web app, which is this server's own: another build may be put there.
    pub fn web_folder(&self) -> PathBuf {
        self.folder.path().join("web")
    }

    /// The folder in which the photos lie.
    pub fn photo_folder(&self) -> PathBuf {
        self.folder.path().join("photos")
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

/// Copies a folder with all that is in it.
///
/// # Errors
/// The disk.
pub fn copy_folder(from: &Path, to: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(to)?;
    for found in std::fs::read_dir(from)? {
        let found = found?;
        let to = to.join(found.file_name());
        if found.file_type()?.is_dir() {
            copy_folder(&found.path(), &to)?;
        } else {
            std::fs::copy(found.path(), to)?;
        }
    }
    Ok(())
}
