//! Running other programs, finding them, and asking for them in plain words when they are missing.

use std::ffi::OsStr;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail};

/// How often a running child is looked at; short enough that Ctrl-C feels immediate.
const POLL: Duration = Duration::from_millis(25);
/// How long a child may take to end by itself before it is killed.
const GRACE: Duration = Duration::from_secs(20);

static STOP: AtomicBool = AtomicBool::new(false);

/// From here on Ctrl-C and SIGTERM only set a flag, so that everything we started can be stopped in order.
pub(crate) fn catch_stop_signals() -> Result<()> {
    ctrlc::set_handler(|| STOP.store(true, Ordering::SeqCst)).context("cannot listen for Ctrl-C")
}

/// True once the person asked us to end.
pub(crate) fn stop_requested() -> bool {
    STOP.load(Ordering::SeqCst)
}

/// The folder of the workspace.
pub(crate) fn root() -> PathBuf {
    // `cargo xtask` sets the variable; the compiled-in path serves a binary that was started by hand.
    let own =
        std::env::var_os("CARGO_MANIFEST_DIR").map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")), PathBuf::from);
    own.parent().map_or_else(|| own.clone(), Path::to_path_buf)
}

/// Cargo's target folder: one for everything, also when `CARGO_TARGET_DIR` moves it.
pub(crate) fn target_dir() -> PathBuf {
    match std::env::var_os("CARGO_TARGET_DIR") {
        Some(dir) => root().join(dir),
        None => root().join("target"),
    }
}

/// The folder that keeps what belongs to this machine only: database, passwords, keys. Not in git.
pub(crate) fn local_dir() -> Result<PathBuf> {
    let dir = root().join(".local");
    fs::create_dir_all(&dir).with_context(|| format!("cannot create {}", dir.display()))?;
    Ok(dir)
}

/// One line about what is going on. On stderr, so that stdout stays readable by programs.
pub(crate) fn say(line: impl AsRef<str>) {
    eprintln!("xtask: {}", line.as_ref());
}

/// `cargo` as it was called, in the workspace folder.
pub(crate) fn cargo<S: AsRef<OsStr>>(args: impl IntoIterator<Item = S>) -> Command {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.args(args).current_dir(root());
    // What cargo told *us* must not be taken for what the person told cargo: a build script that looks at it would run anew whenever
    // somebody calls cargo without us.
    let told = |name: &str| name.starts_with("CARGO_PKG_") || name.starts_with("CARGO_MANIFEST_");
    for (name, _) in std::env::vars_os().filter(|(name, _)| name.to_str().is_some_and(told)) {
        command.env_remove(name);
    }
    command
}

/// Runs to the end, with our own input and output. A program that reports failure is an error.
pub(crate) fn run(command: &mut Command) -> Result<()> {
    let status = run_for_status(command)?;
    if !status.success() {
        bail!("`{}` ended with {status}", line_of(command));
    }
    Ok(())
}

/// The same command, which takes what nothing else on the machine wants.
pub(crate) fn in_the_background(command: &Command) -> Command {
    let mut nice = Command::new("nice");
    nice.args(["-n", "19"]).arg(command.get_program()).args(command.get_args());
    if let Some(folder) = command.get_current_dir() {
        nice.current_dir(folder);
    }
    for (name, value) in command.get_envs() {
        match value {
            Some(value) => nice.env(name, value),
            None => nice.env_remove(name),
        };
    }
    nice
}

/// Like [`run`], and the caller judges the status.
pub(crate) fn run_for_status(command: &mut Command) -> Result<ExitStatus> {
    let mut child = command.spawn().with_context(|| format!("cannot start `{}`", line_of(command)))?;
    loop {
        if let Some(status) = child.try_wait()? {
            if stop_requested() {
                bail!("stopped");
            }
            return Ok(status);
        }
        if stop_requested() {
            end(&mut child)?;
            bail!("stopped");
        }
        thread::sleep(POLL);
    }
}

/// Runs to the end and gives what it printed on stdout; on failure the error carries what it printed on stderr.
pub(crate) fn read(command: &mut Command) -> Result<String> {
    let output =
        command.stdin(Stdio::null()).output().with_context(|| format!("cannot start `{}`", line_of(command)))?;
    if !output.status.success() {
        bail!(
            "`{}` ended with {}: {}{}",
            line_of(command),
            output.status,
            String::from_utf8_lossy(&output.stderr).trim(),
            String::from_utf8_lossy(&output.stdout).trim(),
        );
    }
    Ok(String::from_utf8_lossy(&output.stdout).into_owned())
}

/// Like [`read`], and what it says on stderr goes on to ours: for what takes minutes and tells how far it is.
pub(crate) fn read_out(command: &mut Command) -> Result<String> {
    let mut child = command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .with_context(|| format!("cannot start `{}`", line_of(command)))?;
    let mut out = child.stdout.take().context("the pipe was just asked for")?;
    // In a thread, so that Ctrl-C is seen while the child is silent.
    let reader = thread::spawn(move || {
        let mut text = String::new();
        out.read_to_string(&mut text).map(|_| text)
    });
    let Some(status) = wait_or_stop(&mut child)? else {
        end(&mut child)?;
        bail!("stopped");
    };
    if !status.success() {
        bail!("`{}` ended with {status}", line_of(command));
    }
    match reader.join() {
        Ok(text) => Ok(text?),
        Err(_) => bail!("what `{}` printed could not be read", line_of(command)),
    }
}

/// Asks a child to end (SIGTERM), waits, and kills it only when it does not.
pub(crate) fn end(child: &mut Child) -> Result<()> {
    if child.try_wait()?.is_some() {
        return Ok(());
    }
    // The standard library knows SIGKILL only; every shell has `kill` built in.
    let _ = Command::new("sh").arg("-c").arg(format!("kill -TERM {}", child.id())).stderr(Stdio::null()).status();
    let asked = Instant::now();
    while asked.elapsed() < GRACE {
        if child.try_wait()?.is_some() {
            return Ok(());
        }
        thread::sleep(POLL);
    }
    say(format!("process {} did not end within {} s and was killed", child.id(), GRACE.as_secs()));
    child.kill()?;
    child.wait()?;
    Ok(())
}

/// Waits for a child or for Ctrl-C, whichever comes first. `None` means Ctrl-C.
pub(crate) fn wait_or_stop(child: &mut Child) -> Result<Option<ExitStatus>> {
    loop {
        if stop_requested() {
            return Ok(None);
        }
        if let Some(status) = child.try_wait()? {
            return Ok(Some(status));
        }
        thread::sleep(POLL);
    }
}

/// A program by name on PATH.
pub(crate) fn find_program(name: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path).map(|dir| dir.join(name)).find(|file| is_executable(file))
}

/// A file that may be run.
pub(crate) fn is_executable(file: &Path) -> bool {
    use std::os::unix::fs::PermissionsExt;
    fs::metadata(file).is_ok_and(|meta| meta.is_file() && meta.permissions().mode() & 0o111 != 0)
}

/// Postgres refuses to run as root, and only root may use apt.
pub(crate) fn is_root() -> bool {
    static ROOT: OnceLock<bool> = OnceLock::new();
    *ROOT.get_or_init(|| read(Command::new("id").arg("-u")).is_ok_and(|id| id.trim() == "0"))
}

/// Installs Debian packages where that is possible; otherwise the error is the exact line for the person to run.
pub(crate) fn apt_install(what_for: &str, packages: &[&str]) -> Result<()> {
    let line = format!("apt-get update && apt-get install --yes --no-install-recommends {}", packages.join(" "));
    let refused = std::env::var_os("WITNESSMARK_NO_INSTALL").is_some();
    if refused || !is_root() || find_program("apt-get").is_none() {
        let sudo = if is_root() { "" } else { "sudo " };
        let line = line.replace("apt-get", &format!("{sudo}apt-get"));
        bail!("{what_for} is missing. On Debian or Ubuntu run:\n\n    {line}\n\nand then this command again.");
    }
    say(format!("{what_for} is missing: installing {}", packages.join(", ")));
    let apt = |args: &[&str]| {
        let mut command = Command::new("apt-get");
        command.args(args).env("DEBIAN_FRONTEND", "noninteractive").stdin(Stdio::null()).stdout(Stdio::null());
        command
    };
    run(&mut apt(&["update"]))?;
    let mut args = vec!["install", "--yes", "--no-install-recommends"];
    args.extend(packages);
    run(&mut apt(&args)).with_context(|| format!("could not install {what_for}; by hand: {line}"))
}

/// A fresh secret, as hexadecimal digits, from the system's own generator.
pub(crate) fn fresh_secret(bytes: usize) -> Result<String> {
    let mut buffer = vec![0_u8; bytes];
    fs::File::open("/dev/urandom")
        .and_then(|mut file| file.read_exact(&mut buffer))
        .context("cannot read /dev/urandom")?;
    Ok(hex(&buffer))
}

/// A secret that is made once and kept in a file that only its owner can read.
pub(crate) fn kept_secret(file: &Path, bytes: usize) -> Result<String> {
    if let Ok(kept) = fs::read_to_string(file) {
        let kept = kept.trim().to_owned();
        if !kept.is_empty() {
            return Ok(kept);
        }
    }
    let secret = fresh_secret(bytes)?;
    write_private(file, &secret)?;
    Ok(secret)
}

/// Writes a file that only its owner can read.
pub(crate) fn write_private(file: &Path, text: &str) -> Result<()> {
    use std::io::Write;
    use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
    let mut open = fs::OpenOptions::new();
    open.write(true).create(true).truncate(true).mode(0o600);
    let mut handle = open.open(file).with_context(|| format!("cannot write {}", file.display()))?;
    handle.set_permissions(fs::Permissions::from_mode(0o600))?;
    handle.write_all(text.as_bytes())?;
    Ok(())
}

/// Lower-case hexadecimal digits.
pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Every file below a folder, sorted, so that what we compute from it is the same everywhere.
pub(crate) fn files_below(dir: &Path) -> Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    let mut open = vec![dir.to_path_buf()];
    while let Some(dir) = open.pop() {
        for entry in fs::read_dir(&dir).with_context(|| format!("cannot read {}", dir.display()))? {
            let entry = entry?;
            let kind = entry.file_type()?;
            if kind.is_dir() {
                open.push(entry.path());
            } else if kind.is_file() {
                found.push(entry.path());
            }
        }
    }
    found.sort();
    Ok(found)
}

fn line_of(command: &Command) -> String {
    let mut words = vec![command.get_program().to_string_lossy().into_owned()];
    words.extend(command.get_args().map(|arg| arg.to_string_lossy().into_owned()));
    words.join(" ")
}
