//! `cargo xtask test [PART…]`: all tests, the browser's too, with a private Postgres, and the minutes of each part.
//!
//! All that is tested on this machine is compiled by one call of cargo ([`crate::programs`]); a part runs its programs.

use std::cell::{Cell, OnceCell};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail};

use crate::postgres::{Cluster, DATABASE};
use crate::programs::{self, Programs};
use crate::web::{self, Profile};
use crate::{check, sim, tools};

/// Suites of the package `tests` that are there whatever is written beside them, in the order in which they run; others follow.
const SUITES_FIRST: [&str; 3] = ["api", "simulation", BROWSER];

/// Parts that run no program of the package `server`, with what they compile when nothing else is asked for.
const LIGHT: [(&str, &[&str]); 4] =
    [("xtask", &["xtask"]), ("domain", &["domain"]), ("sim", &["sim"]), ("web", &["web", "reader", "verifier"])];
/// Parts for which nothing is compiled beforehand.
const UNBUILT: [&str; 3] = [ALONE, "web-build", "docs"];
/// Parts that need the web app as it ships.
const NEED_THE_APP: [&str; 3] = ["web-build", "api", BROWSER];
/// The suite that needs a browser, and the digest of designs.
const BROWSER: &str = "browser";
/// The first part, which must be heard alone: what it finds is found in a minute or two.
const ALONE: &str = "check";

type Run = Box<dyn Fn(&Bed) -> Result<()>>;

struct Part {
    name: String,
    about: &'static str,
    run: Run,
}

/// What the parts share: made when the first of them needs it.
struct Bed {
    cluster_name: String,
    cluster: OnceCell<Cluster>,
    dist: OnceCell<PathBuf>,
    /// The web app, being built beside other parts: its last minutes use one core only, and its folder has a lock of its own.
    dist_ahead: Cell<Option<JoinHandle<Result<PathBuf>>>>,
    /// What is compiled: these packages.
    packages: Vec<&'static str>,
    programs: OnceCell<Programs>,
    /// A browser is driven, which leaves a quarter of the machine idle.
    has_browser: bool,
    /// Tests without a clock or a screen, which take what is idle.
    beside: Cell<Option<Beside>>,
}

/// Tests that run beside other parts, at the lowest priority.
struct Beside {
    package: &'static str,
    began: Instant,
    /// What they print stands in this file until they have ended.
    prints: PathBuf,
    thread: JoinHandle<Result<()>>,
}

/// Runs the parts that are named, or all; a failing part does not keep the next from running.
pub(crate) fn command(args: &[String]) -> Result<()> {
    let parts = chosen(parts()?, args)?;
    let needs_the_digest = parts.iter().any(|part| part.name == BROWSER);
    let bed = Bed::of(packages_of(&parts), needs_the_digest)?;
    let needs_the_app = parts.iter().any(|part| NEED_THE_APP.contains(&part.name.as_str()));
    let mut to_begin = needs_the_app;
    let began = Instant::now();
    let mut lines = Vec::new();
    let mut failed = Vec::new();
    for part in &parts {
        if tools::stop_requested() {
            break;
        }
        tools::say(format!("--- {}: {}", part.name, part.about));
        let part_began = Instant::now();
        if part.name != ALONE && std::mem::take(&mut to_begin) {
            bed.dist_ahead.set(Some(std::thread::spawn(move || {
                let dist = web::build(Profile::Ship)?;
                // What it compiles is found again when the suite asks for it.
                if needs_the_digest {
                    web::build_digest(Profile::Ship)?;
                }
                Ok(dist)
            })));
        }
        if !UNBUILT.contains(&part.name.as_str()) && bed.programs.get().is_none() {
            tools::say(format!("compiling {}", bed.packages.join(", ")));
            let built = Programs::build(&bed.packages);
            let word = if built.is_ok() { "ok" } else { "FAILED" };
            lines.push(format!("{:<16} {:>6} min  {word}", "compiling", minutes(part_began.elapsed())));
            match built {
                Ok(built) => _ = bed.programs.set(built),
                Err(error) => {
                    // What stands on it would only say the same again.
                    tools::say(format!("compiling failed: {error:#}"));
                    failed.push("compiling");
                    break;
                }
            }
        }
        let part_began = Instant::now();
        let result = (part.run)(&bed);
        let word = if result.is_ok() { "ok" } else { "FAILED" };
        lines.push(format!("{:<16} {:>6} min  {word}", part.name, minutes(part_began.elapsed())));
        if let Err(error) = result {
            tools::say(format!("{} failed: {error:#}", part.name));
            failed.push(part.name.as_str());
        }
    }
    if let Some(beside) = bed.beside.take() {
        let package = beside.package;
        let (line, result) = beside.end()?;
        lines.push(line);
        if let Err(error) = result {
            tools::say(format!("{package} failed: {error:#}"));
            failed.push(package);
        }
    }
    bed.close()?;
    println!();
    for line in &lines {
        println!("{line}");
    }
    println!("{:<16} {:>6} min", "total", minutes(began.elapsed()));
    if tools::stop_requested() {
        bail!("stopped after {} of {} parts", lines.len(), parts.len());
    }
    if !failed.is_empty() {
        bail!("failed: {}", failed.join(", "));
    }
    Ok(())
}

/// Runs one test of the suite `browser`.
pub(crate) fn one_of_the_browser(name: &str) -> Result<()> {
    let bed = Bed::of(programs::ALL.to_vec(), true)?;
    let _ = bed.programs.set(Programs::build(&bed.packages)?);
    let outcome = bed.suite(BROWSER, &["--exact", name]);
    bed.close()?;
    outcome
}

fn parts() -> Result<Vec<Part>> {
    let part =
        |name: &str, about, run: fn(&Bed) -> Result<()>| Part { name: name.to_owned(), about, run: Box::new(run) };
    let mut parts = vec![
        part("check", "format, lints, tidy, query data", |bed| check::all(bed.cluster()?)),
        part("xtask", "the project's own commands", |bed| bed.test(&["xtask"])),
        part("domain", "the rules", |bed| {
            if bed.has_browser {
                bed.begin_beside("domain")?
            } else {
                bed.test(&["domain"])?
            }
            tools::run(&mut programs::examples_in_docs(&bed.packages))
        }),
        part("sim", "the simulation: fixed seeds and planted faults", |bed| {
            bed.test(&["sim"])?;
            tools::run(bed.programs()?.command("sim", "sim")?.args(sim::FIXED))
        }),
        part("server", "the server's own tests, and what the suites stand on", |bed| {
            bed.test(&["server", "pictures", "tests", "camera"])
        }),
        part("web", "the web app's logic, on this machine", |bed| bed.test(&["web", "reader", "verifier"])),
        part("web-build", "the web app as it ships", |bed| {
            for line in web::sizes(bed.dist()?)? {
                println!("{line}");
            }
            Ok(())
        }),
    ];
    parts.extend(suites()?.into_iter().map(|suite| Part {
        name: suite.clone(),
        about: "a suite of the package `tests`",
        run: Box::new(move |bed| bed.suite(&suite, &[])),
    }));
    parts.push(part("docs", "documentation builds without a warning", |_| {
        // The packages and features of the lints: what those have looked at is not looked at again.
        let mut doc = tools::cargo(["doc", "--no-deps", "--document-private-items", "--all-features"]);
        doc.args(check::HOST_PACKAGES);
        tools::run(doc.env("RUSTDOCFLAGS", "--deny warnings"))
    }));
    Ok(parts)
}

/// Everything, so that each part finds its libraries compiled with the same features; or only what the light parts need.
fn packages_of(parts: &[Part]) -> Vec<&'static str> {
    let light = |part: &Part| LIGHT.iter().find(|(name, _)| *name == part.name).map(|(_, packages)| *packages);
    let to_build = parts.iter().filter(|part| !UNBUILT.contains(&part.name.as_str()));
    let needed: Option<Vec<&[&str]>> = to_build.map(light).collect();
    needed.map_or_else(|| programs::ALL.to_vec(), |needed| needed.concat())
}

fn chosen(parts: Vec<Part>, names: &[String]) -> Result<Vec<Part>> {
    let known: Vec<String> = parts.iter().map(|part| part.name.clone()).collect();
    if let Some(unknown) = names.iter().find(|name| !known.contains(name)) {
        bail!("there is no part `{unknown}`; the parts are: {}", known.join(", "));
    }
    Ok(parts.into_iter().filter(|part| names.is_empty() || names.contains(&part.name)).collect())
}

/// The test binaries that the package `tests` declares or that cargo finds there.
fn suites() -> Result<Vec<String>> {
    let text = tools::read(&mut tools::cargo(["metadata", "--no-deps", "--offline", "--format-version", "1"]))?;
    let metadata: serde_json::Value = serde_json::from_str(&text)?;
    let packages = metadata["packages"].as_array().context("cargo metadata lists no packages")?;
    let tests = packages.iter().find(|package| package["name"] == "tests").context("there is no package `tests`")?;
    let targets = tests["targets"].as_array().context("the package `tests` has no targets")?;
    let is_suite = |target: &&serde_json::Value| {
        target["kind"].as_array().is_some_and(|kinds| kinds.iter().any(|kind| kind == "test"))
    };
    let mut names: Vec<String> =
        targets.iter().filter(is_suite).filter_map(|target| target["name"].as_str().map(str::to_owned)).collect();
    let place = |name: &String| SUITES_FIRST.iter().position(|first| first == name).unwrap_or(SUITES_FIRST.len());
    names.sort_by(|left, right| place(left).cmp(&place(right)).then_with(|| left.cmp(right)));
    Ok(names)
}

impl Beside {
    /// Waits for them and prints what they printed; gives their line of the minutes.
    fn end(self) -> Result<(String, Result<()>)> {
        tools::say(format!("--- {}, which ran beside the others", self.package));
        let result = self.thread.join().unwrap_or_else(|_| bail!("the thread that ran them panicked"));
        print!("{}", String::from_utf8_lossy(&fs::read(&self.prints)?));
        fs::remove_file(&self.prints)?;
        let word = if result.is_ok() { "ok" } else { "FAILED" };
        let name = format!("{} (beside)", self.package);
        Ok((format!("{name:<16} {:>6} min  {word}", minutes(self.began.elapsed())), result))
    }
}

impl Bed {
    fn of(packages: Vec<&'static str>, has_browser: bool) -> Result<Self> {
        remove_left_over()?;
        Ok(Self {
            cluster_name: format!("test-{}", std::process::id()),
            cluster: OnceCell::new(),
            dist: OnceCell::new(),
            dist_ahead: Cell::new(None),
            packages,
            programs: OnceCell::new(),
            has_browser,
            beside: Cell::new(None),
        })
    }

    fn cluster(&self) -> Result<&Cluster> {
        if self.cluster.get().is_none() {
            let cluster = Cluster::start(&self.cluster_name)?;
            cluster.create_database(DATABASE)?;
            let _ = self.cluster.set(cluster);
        }
        self.cluster.get().context("the cluster was just set")
    }

    fn dist(&self) -> Result<&Path> {
        if self.dist.get().is_none() {
            let dist = match self.dist_ahead.take() {
                Some(ahead) => ahead.join().map_err(|_| anyhow::anyhow!("the build of the web app panicked"))??,
                None => web::build(Profile::Ship)?,
            };
            let _ = self.dist.set(dist);
        }
        self.dist.get().map(PathBuf::as_path).context("the folder was just set")
    }

    fn programs(&self) -> Result<&Programs> {
        self.programs.get().context("nothing is compiled")
    }

    /// Runs the unit and integration tests of packages; a suite of the package `tests` is a part of its own.
    fn test(&self, packages: &[&str]) -> Result<()> {
        let mut failed = Vec::new();
        for test in self.programs()?.tests(packages) {
            if test.package == "tests" && test.is_suite {
                continue;
            }
            tools::say(format!("{}: {}", test.package, test.name));
            if let Err(error) = tools::run(&mut self.beside_a_database(test.command())?) {
                tools::say(format!("{error:#}"));
                failed.push(test.name.as_str());
            }
        }
        if failed.is_empty() { Ok(()) } else { bail!("failed: {}", failed.join(", ")) }
    }

    /// Begins with the tests of a package that need no database, and goes on.
    fn begin_beside(&self, package: &'static str) -> Result<()> {
        let prints = tools::target_dir().join(format!("{}-{package}.txt", self.cluster_name));
        let file = fs::File::create(&prints)?;
        let mut commands = Vec::new();
        for test in self.programs()?.tests(&[package]) {
            let mut command = tools::in_the_background(&test.command());
            command.stdin(Stdio::null()).stdout(file.try_clone()?).stderr(file.try_clone()?);
            commands.push((test.name.clone(), command));
        }
        let thread = std::thread::spawn(move || {
            let mut failed = Vec::new();
            for (name, mut command) in commands {
                if tools::run(&mut command).is_err() {
                    failed.push(name);
                }
            }
            if failed.is_empty() { Ok(()) } else { bail!("failed: {}", failed.join(", ")) }
        });
        self.beside.set(Some(Beside { package, began: Instant::now(), prints, thread }));
        tools::say(format!("{package} runs beside the others; what it says comes at the end"));
        Ok(())
    }

    /// With the database's address and without anything that points at a real service.
    fn beside_a_database(&self, mut command: Command) -> Result<Command> {
        for name in ["DATABASE_URL", "DATABASE_OWNER_URL", "PHOTO_STORE", "DEMO", "LISTEN", "PUBLIC_URL"] {
            command.env_remove(name);
        }
        command.env("WITNESSMARK_TEST_DATABASE_URL", self.cluster()?.owner_url(DATABASE));
        Ok(command)
    }

    fn suite(&self, name: &str, args: &[&str]) -> Result<()> {
        let programs = self.programs()?;
        let test = programs.tests(&["tests"]).find(|test| test.is_suite && test.name == name);
        let mut command = self.beside_a_database(test.context("cargo did not compile this suite")?.command())?;
        command
            .env("WITNESSMARK_WEB_DIST", self.dist()?)
            .env("WITNESSMARK_SERVER_BIN", programs.path("server", "server")?);
        command.env("WITNESSMARK_POSTGRES_BIN", self.cluster()?.bin());
        if name == BROWSER {
            let browser = Browser::find_or_install()?;
            command.env("WITNESSMARK_CHROMIUM", browser.chromium).env("WITNESSMARK_CHROMEDRIVER", browser.driver);
            command.env("WITNESSMARK_DESIGN_DIGEST", web::build_digest(Profile::Ship)?);
        }
        tools::run(command.args(args))
    }

    fn close(mut self) -> Result<()> {
        // A build that nobody waited for must not outlive the command.
        if let Some(ahead) = self.dist_ahead.take() {
            let _ = ahead.join();
        }
        if let Some(cluster) = self.cluster.take() {
            cluster.stop()?;
            Cluster::remove(&self.cluster_name)?;
        }
        Ok(())
    }
}

/// The browser that tests drive, and the program that drives it.
pub(crate) struct Browser {
    pub(crate) chromium: PathBuf,
    pub(crate) driver: PathBuf,
}

impl Browser {
    /// Both programs; Debian's packages are installed where they are missing.
    pub(crate) fn find_or_install() -> Result<Self> {
        if let Some(found) = Self::find() {
            return Ok(found);
        }
        tools::apt_install("Chromium with its driver", &["chromium", "chromium-driver"])?;
        Self::find().context("Chromium was installed but is not on PATH")
    }

    fn find() -> Option<Self> {
        let named =
            |variable: &str| std::env::var_os(variable).map(PathBuf::from).filter(|file| tools::is_executable(file));
        let first = |names: &[&str]| names.iter().find_map(|name| tools::find_program(name));
        let usual = |file: &str| Some(PathBuf::from(file)).filter(|file| tools::is_executable(file));
        Some(Self {
            chromium: named("WITNESSMARK_CHROMIUM")
                .or_else(|| first(&["chromium", "chromium-browser", "google-chrome"]))?,
            driver: named("WITNESSMARK_CHROMEDRIVER")
                .or_else(|| first(&["chromedriver"]))
                .or_else(|| usual("/usr/lib/chromium/chromedriver"))
                .or_else(|| usual("/usr/lib/chromium-browser/chromedriver"))?,
        })
    }
}

/// A run that was killed could not remove its cluster.
fn remove_left_over() -> Result<()> {
    for entry in fs::read_dir(tools::local_dir()?)? {
        let name = entry?.file_name().to_string_lossy().into_owned();
        let Some(pid) = name.strip_prefix("test-").and_then(|pid| pid.parse::<u32>().ok()) else {
            continue;
        };
        let alive = Command::new("sh").arg("-c").arg(format!("kill -0 {pid} 2>&-")).status()?.success();
        if !alive {
            Cluster::remove(&name)?;
        }
    }
    Ok(())
}

fn minutes(span: Duration) -> String {
    format!("{:.1}", span.as_secs_f64() / 60.0)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;

    fn names(names: &[&str]) -> Vec<String> {
        names.iter().map(|name| (*name).to_owned()).collect()
    }

    #[test]
    fn a_part_is_chosen_by_name_and_a_wrong_name_lists_all() {
        let chosen_names = |wish: &[&str]| {
            chosen(parts().unwrap(), &names(wish))
                .map(|parts| parts.into_iter().map(|part| part.name).collect::<Vec<_>>())
        };
        assert_eq!(chosen_names(&["docs", "check"]).unwrap(), ["check", "docs"]);
        assert_eq!(chosen_names(&[]).unwrap().len(), parts().unwrap().len());
        assert!(chosen_names(&["chekc"]).unwrap_err().to_string().contains("domain"));
    }

    #[test]
    fn a_light_part_compiles_only_its_own() {
        let packages = |wish: &[&str]| packages_of(&chosen(parts().unwrap(), &names(wish)).unwrap());
        assert_eq!(packages(&["domain", "docs"]), ["domain"]);
        assert_eq!(packages(&["check", "web"]), ["web", "reader", "verifier"]);
        assert_eq!(packages(&["domain", "api"]), programs::ALL);
        assert_eq!(packages(&[]), programs::ALL);
    }

    #[test]
    fn minutes_have_one_digit() {
        assert_eq!(minutes(Duration::from_secs(90)), "1.5");
    }
}
