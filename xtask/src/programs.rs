//! What is compiled for this machine to be run by `cargo xtask test`: every test program and every binary, by one call of cargo.
//!
//! Cargo compiles a library once for each set of features that some call asks of it. Calls for one package after the other ask for
//! many sets; one call for all of them asks for one.

use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context, Result};

use crate::tools;

/// The packages with tests.
pub(crate) const ALL: [&str; 10] =
    ["domain", "server", "pictures", "tests", "camera", "sim", "xtask", "web", "reader", "verifier"];

/// A program that cargo made.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Program {
    pub(crate) package: String,
    pub(crate) name: String,
    /// Tests, and not a binary.
    is_test: bool,
    /// Tests of a file of their own.
    pub(crate) is_suite: bool,
    path: PathBuf,
    /// Where its package lies.
    folder: PathBuf,
}

impl Program {
    /// Runs as cargo would run it.
    pub(crate) fn command(&self) -> Command {
        let mut command = Command::new(&self.path);
        command.current_dir(&self.folder).env("CARGO_MANIFEST_DIR", &self.folder);
        command
    }
}

/// All that was made.
#[derive(Debug, Default)]
pub(crate) struct Programs(Vec<Program>);

impl Programs {
    /// Compiles the tests and binaries of packages.
    ///
    /// # Errors
    /// Something does not compile; cargo has said what.
    pub(crate) fn build(packages: &[&str]) -> Result<Self> {
        let mut cargo = tools::cargo(["build", "--tests", "--bins", "--message-format", "json-render-diagnostics"]);
        cargo.args(selection(packages));
        let made = tools::read_out(&mut cargo)?;
        Ok(Self(made.lines().filter_map(program_of).collect()))
    }

    /// The tests of packages, in cargo's order.
    pub(crate) fn tests(&self, packages: &[&str]) -> impl Iterator<Item = &Program> {
        self.0.iter().filter(move |program| program.is_test && packages.contains(&program.package.as_str()))
    }

    /// A binary.
    pub(crate) fn path(&self, package: &str, name: &str) -> Result<&Path> {
        self.binary(package, name).map(|program| program.path.as_path())
    }

    /// Runs a binary.
    pub(crate) fn command(&self, package: &str, name: &str) -> Result<Command> {
        self.binary(package, name).map(Program::command)
    }

    fn binary(&self, package: &str, name: &str) -> Result<&Program> {
        let mut binaries = self.0.iter().filter(|program| !program.is_test);
        let found = binaries.find(|program| program.package == package && program.name == name);
        found.with_context(|| format!("cargo made no program `{name}` of the package `{package}`"))
    }
}

/// Runs the examples in the documentation of the rules, with the libraries that are there.
pub(crate) fn examples_in_docs(packages: &[&str]) -> Command {
    let mut cargo = tools::cargo(["test", "--doc"]);
    cargo.args(selection(packages));
    cargo
}

fn selection(packages: &[&str]) -> Vec<String> {
    let mut selection = vec!["--all-features".to_owned()];
    selection.extend(packages.iter().flat_map(|package| ["--package".to_owned(), (*package).to_owned()]));
    selection
}

/// What a line of cargo's messages says was made.
fn program_of(line: &str) -> Option<Program> {
    let message: serde_json::Value = serde_json::from_str(line).ok()?;
    let path = PathBuf::from(message["executable"].as_str()?);
    let folder = Path::new(message["manifest_path"].as_str()?).parent()?.to_owned();
    let kinds = message["target"]["kind"].as_array()?;
    let package = package_of(message["package_id"].as_str()?, &folder)?;
    Some(Program {
        package,
        name: message["target"]["name"].as_str()?.to_owned(),
        is_test: message["profile"]["test"].as_bool()?,
        is_suite: kinds.iter().any(|kind| kind == "test"),
        path,
        folder,
    })
}

/// `path+file:///…/xtask#0.1.0`, or with the name where the folder is called otherwise: `…/x#name@0.1.0`.
fn package_of(id: &str, folder: &Path) -> Option<String> {
    let (_, version) = id.rsplit_once('#')?;
    match version.split_once('@') {
        Some((name, _)) => Some(name.to_owned()),
        None => folder.file_name()?.to_str().map(str::to_owned),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn programs_are_told_from_what_else_cargo_says() {
        let said = [
            r#"{"reason":"compiler-artifact","package_id":"registry+https://x#serde@1.0.0","manifest_path":"/r/serde/Cargo.toml","target":{"kind":["lib"],"name":"serde"},"profile":{"test":false},"executable":null}"#,
            r#"{"reason":"compiler-artifact","package_id":"path+file:///w/server#0.1.0","manifest_path":"/w/server/Cargo.toml","target":{"kind":["bin"],"name":"server"},"profile":{"test":false},"executable":"/t/server"}"#,
            r#"{"reason":"compiler-artifact","package_id":"path+file:///w/tests/simulation#sim@0.1.0","manifest_path":"/w/tests/simulation/Cargo.toml","target":{"kind":["test"],"name":"seeds"},"profile":{"test":true},"executable":"/t/seeds-1"}"#,
            r#"{"reason":"build-finished","success":true}"#,
        ];
        let programs = Programs(said.into_iter().filter_map(program_of).collect());
        assert_eq!(programs.path("server", "server").expect("it is there"), Path::new("/t/server"));
        assert!(programs.path("sim", "seeds").is_err(), "tests are no binary");
        let suites: Vec<&Program> = programs.tests(&["sim", "server"]).collect();
        assert_eq!(suites.iter().map(|one| (one.name.as_str(), one.is_suite)).collect::<Vec<_>>(), [("seeds", true)]);
        assert_eq!(suites[0].command().get_current_dir(), Some(Path::new("/w/tests/simulation")));
    }
}
