//! `cargo xtask up`: everything on one port of this machine, and all of it gone again on Ctrl-C.

use std::fs;
use std::net::{Ipv4Addr, TcpListener};
use std::path::PathBuf;
use std::process::{Command, Stdio};

use anyhow::{Context, Result, bail};

use crate::postgres::{Cluster, DATABASE};
use crate::tools;
use crate::web::{self, Profile};

const DEFAULT_PORT: u16 = 8080;
/// How many ports after the default one are tried when somebody else has it.
const PORTS_TRIED: u16 = 50;

/// What the server asks of the secret that signs access tokens.
const TOKEN_SECRET_BYTES: usize = 32;

/// What the server asks of the key that seals jobs.
const SEAL_KEY_BYTES: usize = 32;

struct Wish {
    port: Option<u16>,
    reset: bool,
    demo: bool,
    web: Profile,
}

/// Runs until Ctrl-C, or until the server ends by itself.
pub(crate) fn command(args: &[String]) -> Result<()> {
    let wish = read_wish(args)?;
    let port = choose_port(wish.port)?;
    if wish.reset {
        reset()?;
    }
    // The database first: where it cannot be had, nobody should wait for a compiler to learn it.
    let services = Services::get(!wish.demo && !wish.reset)?;
    let dist = web::build(wish.web)?;
    let server = build_server()?;

    let mut command = Command::new(server);
    command
        .current_dir(tools::root())
        .stdin(Stdio::null())
        .env("LISTEN", format!("127.0.0.1:{port}"))
        .env("PUBLIC_URL", format!("http://localhost:{port}"))
        .env("WEB_DIST", dist);
    services.tell(&mut command);
    if wish.demo {
        command.env("DEMO", "1");
    } else {
        command.env_remove("DEMO");
    }
    tools::say(format!("starting the server on port {port}; Ctrl-C stops everything"));
    let mut server = command.spawn().context("cannot start the server")?;
    let ended = tools::wait_or_stop(&mut server)?;
    tools::end(&mut server)?;
    services.stop()?;
    match ended {
        None => {
            tools::say("stopped");
            Ok(())
        }
        // Ctrl-C in a terminal reaches the server too, and it may be the first to end.
        Some(status) if status.success() || tools::stop_requested() => Ok(()),
        Some(status) => bail!("the server ended by itself: {status}"),
    }
}

/// The dev build of the server; gives the program.
///
/// With `tests` among the packages: cargo then gives the shared crates the same features as when it builds the suites, and the
/// report's typesetter, minutes of compiling, is compiled once instead of twice.
pub(crate) fn build_server() -> Result<PathBuf> {
    tools::run(&mut tools::cargo(["build", "--package", "server", "--package", "tests", "--bin", "server"]))
        .context("the server does not compile")?;
    Ok(tools::target_dir().join("debug/server"))
}

/// Database and photo store: real ones from the environment, or our own under `.local/`.
struct Services {
    cluster: Option<Cluster>,
    env: Vec<(&'static str, String)>,
}

impl Services {
    fn get(say_if_kept: bool) -> Result<Self> {
        let local = tools::local_dir()?;
        let mut env = Vec::new();
        let cluster = if std::env::var_os("DATABASE_URL").is_some() {
            tools::say("using the database that DATABASE_URL names");
            if std::env::var_os("DATABASE_OWNER_URL").is_none() {
                tools::say("DATABASE_OWNER_URL is not set: the tables are taken to be migrated already");
            }
            None
        } else {
            let cluster = Cluster::start("dev")?;
            let made = cluster.create_database(DATABASE)?;
            if !made && say_if_kept {
                tools::say("the database keeps what it holds; `--reset` begins with an empty one");
            }
            env.push(("DATABASE_URL", cluster.app_url(DATABASE)));
            env.push(("DATABASE_OWNER_URL", cluster.owner_url(DATABASE)));
            Some(cluster)
        };
        if std::env::var_os("PHOTO_STORE").is_none() {
            let photos = local.join("photos");
            fs::create_dir_all(&photos)?;
            env.push(("PHOTO_STORE", format!("file://{}", photos.display())));
        }
        if std::env::var_os("TOKEN_SECRET").is_none() {
            env.push(("TOKEN_SECRET", tools::kept_secret(&local.join("token.secret"), TOKEN_SECRET_BYTES)?));
        }
        if std::env::var_os("SEAL_KEY").is_none() {
            env.push(("SEAL_KEY", tools::kept_secret(&local.join("seal.key"), SEAL_KEY_BYTES)?));
        }
        Ok(Self { cluster, env })
    }

    fn tell(&self, command: &mut Command) {
        for (name, value) in &self.env {
            command.env(name, value);
        }
    }

    fn stop(self) -> Result<()> {
        self.cluster.map_or(Ok(()), Cluster::stop)
    }
}

fn reset() -> Result<()> {
    for name in ["DATABASE_URL", "PHOTO_STORE"] {
        if std::env::var_os(name).is_some() {
            bail!("{name} names a real service: `--reset` only ever empties our own under .local/");
        }
    }
    tools::say("removing the development database and its photos");
    Cluster::remove("dev")?;
    let photos = tools::local_dir()?.join("photos");
    if photos.exists() {
        fs::remove_dir_all(&photos)?;
    }
    Ok(())
}

fn read_wish(args: &[String]) -> Result<Wish> {
    let mut wish = Wish { port: None, reset: false, demo: true, web: Profile::Ship };
    let mut words = args.iter().map(String::as_str);
    while let Some(word) = words.next() {
        match word.split_once('=').map_or((word, None), |(name, value)| (name, Some(value))) {
            ("--port", value) => {
                let value = value.or_else(|| words.next()).context("`--port` needs a number")?;
                wish.port = Some(
                    value.parse().ok().filter(|port| *port != 0).with_context(|| format!("`{value}` is no port"))?,
                );
            }
            ("--reset", None) => wish.reset = true,
            ("--no-demo", None) => wish.demo = false,
            ("--dev", None) => wish.web = Profile::Dev,
            _ => bail!("`up` takes --port N, --reset, --no-demo and --dev, not `{word}`"),
        }
    }
    Ok(wish)
}

fn choose_port(wish: Option<u16>) -> Result<u16> {
    let free = |port: u16| TcpListener::bind((Ipv4Addr::LOCALHOST, port)).is_ok();
    match wish {
        Some(port) if free(port) => Ok(port),
        Some(port) => {
            bail!("port {port} is in use; choose another with --port, or leave the flag out")
        }
        None => (DEFAULT_PORT..DEFAULT_PORT + PORTS_TRIED)
            .find(|port| free(*port))
            .context("no free port found; choose one with --port"),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;

    fn wish(line: &str) -> Result<Wish> {
        read_wish(&line.split_whitespace().map(str::to_owned).collect::<Vec<_>>())
    }

    #[test]
    fn flags_are_read_in_any_order_and_either_form() {
        let read = wish("--no-demo --port 9001 --reset").unwrap();
        assert_eq!((read.port, read.reset, read.demo), (Some(9001), true, false));
        assert_eq!(wish("--port=9002").unwrap().port, Some(9002));
        let plain = wish("").unwrap();
        assert_eq!((plain.port, plain.reset, plain.demo), (None, false, true));
    }

    #[test]
    fn a_wrong_word_is_named() {
        for line in ["--prot 1", "--port", "--port 0", "--port 70000", "--reset=yes", "now"] {
            assert!(wish(line).is_err(), "{line}");
        }
    }

    #[test]
    fn a_taken_port_that_was_asked_for_is_an_error() {
        let held = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        assert!(choose_port(Some(held.local_addr().unwrap().port())).is_err());
    }
}
