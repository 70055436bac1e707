//! `server`: reads the settings, builds, prints where it is, serves, stops cleanly on Ctrl-C and on SIGTERM.
//!
//! `server new-firm` prints a one-time link for the first owner of one more firm, and ends. `server reproject` makes the
//! projections of all firms anew from their logs, and ends: after an update that folds otherwise, or when in doubt.

use std::io::IsTerminal as _;
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use server::config::Config;
use server::job_files::project::reproject_all;
use server::state::AppState;
use server::{App, Welcome, firms};
use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};
use tracing_subscriber::EnvFilter;

/// The C library's allocator keeps memory apart for each thread that ever asked for some. Reports are laid out on many threads, and each
/// of them kept what its largest page had needed: 300 MB on two cores at rest, more on more cores.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// What is logged where `RUST_LOG` says nothing.
const LOG_USUALLY: &str = "info,sqlx=warn";

#[tokio::main]
async fn main() -> ExitCode {
    match run().await {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            // For people: a sentence, not the place in the code.
            eprintln!("Witnessmark stops: {error:#}");
            ExitCode::FAILURE
        }
    }
}

async fn run() -> anyhow::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let config = Config::from_env()?;
    start_log();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        [] => serve(config).await,
        ["new-firm"] => new_firm(config).await,
        ["reproject"] => reproject(config).await,
        other => {
            bail!("`{}` is not a command; there are `new-firm` and `reproject`, or nothing to serve", other.join(" "))
        }
    }
}

async fn serve(config: Config) -> anyhow::Result<()> {
    let listen = config.listen;
    let public_url = config.public_url.clone();
    let app = server::build(config).await?;
    let shown = shown_link(&app).await?;
    let listener = TcpListener::bind(listen)
        .await
        .with_context(|| format!("LISTEN: cannot listen on {listen}. Example: LISTEN=127.0.0.1:8080"))?;
    greet(&public_url, &app.welcome, shown.as_deref());
    server::serve(listener, app, stop_asked()?).await?;
    tracing::info!("stopped");
    Ok(())
}

/// The first owner's link, where a person reads what is printed. The standard output of a service is a log that is kept, and
/// whoever reads it could own the installation.
async fn shown_link(app: &App) -> anyhow::Result<Option<String>> {
    match app.welcome {
        Welcome::NobodyOwns if std::io::stdout().is_terminal() => {
            let AppState { db, clock, config, .. } = &app.state;
            Ok(Some(firms::first_owner_link(db, clock, config).await?))
        }
        Welcome::NobodyOwns | Welcome::Usual | Welcome::Demo(_) => Ok(None),
    }
}

/// To standard output, for people.
fn greet(public_url: &str, welcome: &Welcome, link: Option<&str>) {
    println!("Witnessmark is at {public_url}");
    match (welcome, link) {
        (Welcome::Usual, _) => {}
        (Welcome::NobodyOwns, Some(link)) => {
            println!("Nobody owns this installation yet. Open this link within seven days; it works once:\n  {link}");
        }
        (Welcome::NobodyOwns, None) => {
            println!(
                "Nobody owns this installation yet. `new-firm`, a command of this program, prints the link for it."
            );
        }
        (Welcome::Demo(sign_ins), _) => {
            println!("Demo sign-ins, all with the password \"{}\" and the PIN {}:", sign_ins.password, sign_ins.pin);
            for (email, what) in &sign_ins.people {
                println!("  {email:<32} {what}");
            }
        }
    }
}

async fn new_firm(config: Config) -> anyhow::Result<()> {
    let app = server::build(Config { demo: false, ..config }).await?;
    let link = firms::first_owner_link(&app.state.db, &app.state.clock, &app.state.config).await?;
    println!("For the first owner of the new firm, within seven days; it works once:\n  {link}");
    app.state.db.close().await;
    Ok(())
}

/// Servers may go on serving meanwhile: whoever needs a projection makes it.
async fn reproject(config: Config) -> anyhow::Result<()> {
    let app = server::build(Config { demo: false, ..config }).await?;
    for firm in app.state.db.firm_ids().await? {
        reproject_all(&app.state, firm).await?;
        println!("{firm}: made anew");
    }
    app.state.db.close().await;
    Ok(())
}

/// One line an event: JSON where a program reads it.
fn start_log() {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new(LOG_USUALLY));
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    if std::io::stderr().is_terminal() { log.init() } else { log.json().init() }
}

fn stop_asked() -> anyhow::Result<impl Future<Output = ()>> {
    let mut interrupt = signal(SignalKind::interrupt()).context("cannot watch for SIGINT")?;
    let mut terminate = signal(SignalKind::terminate()).context("cannot watch for SIGTERM")?;
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
        tracing::info!("asked to stop");
    })
}
