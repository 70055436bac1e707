//! `cargo xtask methods --json`: the method files that come with the server, as the checker sees them.
//!
//! This needs the rules. `xtask` is built without them, so that its other commands work while they do not compile; asked for
//! methods, it builds itself once more with them and hands over.

use anyhow::Result;

/// Lists the methods, or builds the `xtask` that can.
#[cfg(not(feature = "rules"))]
pub(crate) fn command(args: &[String]) -> Result<()> {
    let mut other =
        crate::tools::cargo(["run", "--quiet", "--package", "xtask", "--features", "rules", "--", "methods"]);
    crate::tools::run(other.args(args))
}

/// Lists the methods.
#[cfg(feature = "rules")]
pub(crate) fn command(args: &[String]) -> Result<()> {
    with_rules::command(args)
}

#[cfg(feature = "rules")]
mod with_rules {
    use std::collections::BTreeMap;
    use std::fs;

    use anyhow::{Context, Result, bail};
    use domain::method::load;
    use serde_json::{Value, json};

    use crate::tools;

    pub(super) fn command(args: &[String]) -> Result<()> {
        let json = match args.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
            [] => false,
            ["--json"] => true,
            other => bail!("`methods` takes nothing or `--json`, not `{}`", other.join(" ")),
        };
        let methods = all()?;
        if json {
            println!("{:#}", Value::Array(methods));
            return Ok(());
        }
        for method in methods {
            println!(
                "{} {}: {} steps, {} hold points",
                method["id"], method["version"], method["steps"], method["hold_points"]
            );
            println!("  requirements: {}", method["requirements"]);
            for complaint in method["complaints"].as_array().into_iter().flatten() {
                println!("  complaint: {complaint}");
            }
        }
        Ok(())
    }

    /// Every method: a file at the top of the folder; those below it are included by others.
    fn all() -> Result<Vec<Value>> {
        let folder = tools::root().join("server/methods");
        let mut texts: Vec<(String, String)> = Vec::new();
        for file in tools::files_below(&folder)? {
            if file.extension().is_some_and(|ext| ext == "toml") {
                let name = file.strip_prefix(&folder)?.to_string_lossy().replace('\\', "/");
                let text = fs::read_to_string(&file).with_context(|| format!("{} cannot be read", file.display()))?;
                texts.push((name, text));
            }
        }
        let files: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        let methods = files.iter().map(|(name, _)| *name).filter(|name| !name.contains('/'));
        methods.map(|name| describe(name, &files)).collect()
    }

    fn describe(name: &str, files: &[(&str, &str)]) -> Result<Value> {
        let composed = load::compose(name, files)?;
        let method = &composed.method;
        let mut kinds: BTreeMap<&str, usize> = BTreeMap::new();
        for requirement in method.steps.iter().flat_map(|step| &step.requirements) {
            *kinds.entry(requirement.kind()).or_default() += 1;
        }
        let complaints: Vec<String> = composed.faults().iter().map(ToString::to_string).collect();
        Ok(json!({
            "id": method.id,
            "version": method.version,
            "steps": method.steps.len(),
            "hold_points": method.steps.iter().filter(|step| step.hold).count(),
            "requirements": kinds,
            "complaints": complaints,
        }))
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    mod tests {
        use super::*;

        #[test]
        fn every_built_in_method_is_listed_and_has_steps() {
            let methods = all().unwrap();
            assert!(!methods.is_empty());
            for method in methods {
                assert!(method["steps"].as_u64().unwrap() >= method["hold_points"].as_u64().unwrap());
                let sum: u64 = method["requirements"].as_object().unwrap().values().map(|n| n.as_u64().unwrap()).sum();
                assert!(sum >= method["steps"].as_u64().unwrap(), "a step without a requirement is no evidence");
            }
        }

        #[test]
        fn a_file_that_is_no_method_is_an_error() {
            assert!(describe("m.toml", &[("m.toml", "steps = 3")]).is_err());
        }
    }
}
