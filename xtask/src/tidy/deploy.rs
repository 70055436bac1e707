//! The compose file, and what must not travel: no container engine runs here, so that shapes are all that can be checked.

use std::path::Path;

use yaml_rust2::{Yaml, YamlLoader};

use super::source::Tree;
use super::{Finding, about};

const FILE: &str = "docker-compose.yml";
const SERVICES: [&str; 3] = ["db", "server", "front"];
/// A service, and the named volume without which a new container would begin with nothing.
const KEPT: [(&str, &str); 2] = [("db", "database"), ("server", "photos")];

/// How the database is made: letters beyond ASCII fold whatever library the image has, and a rotten page is noticed.
const INITDB: [&str; 3] = ["--locale-provider=builtin", "--builtin-locale=C.UTF-8", "--data-checksums"];
/// Settings of a photo service, which reach the server by no other way: compose reads `.env` for itself only.
const PASSED_ON: [&str; 3] = ["AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY", "AWS_REGION"];
/// Secrets, dumps and archives, which one `git add .` would publish and one build would keep in an image.
const STAYS_HOME: [&str; 5] = [".env", ".env.*", "*.dump", "*.tar", "*.zip"];

/// Both lists name what must stay on this machine.
pub(super) fn ignored(tree: &Tree) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (file, before) in [(".gitignore", ""), (".dockerignore", "**/")] {
        let text = tree.text(file).unwrap_or_default();
        for name in STAYS_HOME {
            let line = format!("{before}{name}");
            if !text.lines().any(|said| said == line) {
                findings.push(about(Path::new(file), format!("it does not name `{line}`")));
            }
        }
    }
    findings
}

pub(super) fn compose_file(tree: &Tree) -> Vec<Finding> {
    let Some(text) = tree.text(FILE) else {
        return vec![about(Path::new(FILE), "the file is missing")];
    };
    let documents = match YamlLoader::load_from_str(text) {
        Ok(documents) => documents,
        Err(error) => return vec![about(Path::new(FILE), format!("not YAML: {error}"))],
    };
    let Some(compose) = documents.first() else {
        return vec![about(Path::new(FILE), "the file is empty")];
    };
    let mut complaints = Vec::new();
    for service in SERVICES {
        let entry = &compose["services"][service];
        if entry["image"].as_str().is_none() && entry["build"].is_badvalue() {
            complaints.push(format!("no service `{service}` with an image or a build"));
        }
    }
    for (service, volume) in KEPT {
        if !mounts(&compose["services"][service], volume) {
            complaints.push(format!("`{service}` does not mount the volume `{volume}`"));
        }
        if !compose["volumes"].as_hash().is_some_and(|all| all.contains_key(&Yaml::String(volume.to_owned()))) {
            complaints.push(format!("the volume `{volume}` is not declared"));
        }
    }
    complaints.extend(missing_files(tree, compose));
    let made = compose["services"]["db"]["environment"]["POSTGRES_INITDB_ARGS"].as_str().unwrap_or_default();
    for word in INITDB {
        if !made.split_whitespace().any(|said| said == word) {
            complaints.push(format!("the database is made without `{word}`"));
        }
    }
    let server = &compose["services"]["server"]["environment"];
    for name in PASSED_ON {
        if server[name].as_str() != Some(&format!("${{{name}:-}}")) {
            complaints.push(format!("`server` is not told `{name}` from .env"));
        }
    }
    complaints.into_iter().map(|what| about(Path::new(FILE), what)).collect()
}

fn mounts(service: &Yaml, volume: &str) -> bool {
    let Some(mounts) = service["volumes"].as_vec() else {
        return false;
    };
    mounts.iter().any(|mount| {
        let short = mount.as_str().and_then(|text| text.split(':').next());
        short == Some(volume) || mount["source"].as_str() == Some(volume)
    })
}

/// Files of the repository that the compose file mounts or builds from.
fn missing_files(tree: &Tree, compose: &Yaml) -> Vec<String> {
    let mut wanted = Vec::new();
    for service in SERVICES {
        let entry = &compose["services"][service];
        if !entry["build"].is_badvalue() {
            wanted.push(entry["build"]["dockerfile"].as_str().unwrap_or("Dockerfile").to_owned());
        }
        let mounts = entry["volumes"].as_vec().cloned().unwrap_or_default();
        wanted.extend(
            mounts
                .iter()
                .filter_map(Yaml::as_str)
                .filter_map(|text| text.split(':').next()?.strip_prefix("./").map(str::to_owned)),
        );
    }
    wanted
        .into_iter()
        .filter(|file| tree.text(file).is_none())
        .map(|file| format!("it names `{file}`, which does not exist"))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = "
services:
  db:
    image: postgres
    volumes: ['database:/data']
    environment:
      POSTGRES_INITDB_ARGS: --encoding=UTF8 --locale-provider=builtin --builtin-locale=C.UTF-8 --data-checksums
  server:
    build: .
    volumes: ['photos:/photos']
    environment:
      AWS_ACCESS_KEY_ID: ${AWS_ACCESS_KEY_ID:-}
      AWS_SECRET_ACCESS_KEY: ${AWS_SECRET_ACCESS_KEY:-}
      AWS_REGION: ${AWS_REGION:-}
  front: { image: caddy, volumes: ['./deploy/Caddyfile:/etc/caddy/Caddyfile:ro'] }
volumes: { database: , photos:  }
";

    fn found(compose: &str) -> Vec<String> {
        let texts = [(FILE, compose), ("Dockerfile", "FROM x"), ("deploy/Caddyfile", "x")];
        compose_file(&Tree::of_texts(&texts)).into_iter().map(|found| found.what).collect()
    }

    #[test]
    fn a_whole_file_is_silent() {
        assert!(found(GOOD).is_empty(), "{:?}", found(GOOD));
    }

    #[test]
    fn what_is_missing_is_told() {
        assert_eq!(found(&GOOD.replace("  front:", "  back:")), ["no service `front` with an image or a build"]);
        assert_eq!(
            found(&GOOD.replace("'photos:/photos'", "'other:/photos'")),
            ["`server` does not mount the volume `photos`"]
        );
        assert_eq!(found(&GOOD.replace(", photos:", "")), ["the volume `photos` is not declared"]);
        assert_eq!(
            found(&GOOD.replace("deploy/Caddyfile:", "deploy/gone:")),
            ["it names `deploy/gone`, which does not exist"]
        );
        assert_eq!(
            found(&GOOD.replace("--builtin-locale=C.UTF-8", "--locale=C")),
            ["the database is made without `--builtin-locale=C.UTF-8`"]
        );
        assert_eq!(found(&GOOD.replace("${AWS_REGION:-}", "eu")), ["`server` is not told `AWS_REGION` from .env"]);
        assert!(found("services: [").iter().any(|what| what.starts_with("not YAML")));
    }

    #[test]
    fn secrets_and_dumps_stay_home() {
        let (git, docker) = (STAYS_HOME.join("\n"), STAYS_HOME.map(|name| format!("**/{name}")).join("\n"));
        let found =
            |git: &str, docker: &str| ignored(&Tree::of_texts(&[(".gitignore", git), (".dockerignore", docker)]));
        assert!(found(&git, &docker).is_empty());
        assert_eq!(found(&git.replace("*.dump", "*.log"), &docker).len(), 1);
        assert_eq!(found("/target", ".git").len(), 2 * STAYS_HOME.len());
    }
}
