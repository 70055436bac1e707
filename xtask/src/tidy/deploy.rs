//! The compose file: no container engine runs here, so that its shape is all that can be checked.

use std::path::Path;

use yaml_rust2::{Yaml, YamlLoader};

use super::source::Tree;
use super::{Finding, about};

const FILE: &str = "docker-compose.yml";
const SERVICES: [&str; 3] = ["db", "server", "front"];
/// A service, and the named volume without which a new container would begin with nothing.
const KEPT: [(&str, &str); 2] = [("db", "database"), ("server", "photos")];

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
  db: { image: postgres, volumes: ['database:/data'] }
  server: { build: ., volumes: ['photos:/photos'] }
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
        assert!(found("services: [").iter().any(|what| what.starts_with("not YAML")));
    }
}
