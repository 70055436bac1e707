//! `cargo xtask bench [NAME…] [--json]`: figures of size and speed, printed, never asserted.
//!
//! A new figure is one entry in [`all`]. A bench may give several figures where measuring one gives the others too.

use anyhow::{Result, bail};

use crate::web::{self, Profile};

struct Bench {
    /// The names that it prints, unit last.
    figures: &'static [&'static str],
    /// One value for each of them, in that order.
    measure: fn() -> Result<Vec<f64>>,
}

fn all() -> Vec<Bench> {
    vec![Bench { figures: &["web_code_brotli_bytes"], measure: web_code_brotli_bytes }]
}

/// Prints one flat object `{name: number}` with `--json`, or a line a figure.
pub(crate) fn command(args: &[String]) -> Result<()> {
    let json = args.iter().any(|arg| arg == "--json");
    let names: Vec<&str> = args.iter().map(String::as_str).filter(|arg| *arg != "--json").collect();
    let benches = all();
    let known: Vec<&str> = benches.iter().flat_map(|bench| bench.figures.iter().copied()).collect();
    if let Some(unknown) = names.iter().find(|name| !known.contains(name)) {
        bail!("there is no bench `{unknown}`; there are: {}", known.join(", "));
    }
    let mut figures = serde_json::Map::new();
    for bench in benches {
        if !names.is_empty() && !bench.figures.iter().any(|figure| names.contains(figure)) {
            continue;
        }
        let values = (bench.measure)()?;
        assert_eq!(values.len(), bench.figures.len(), "a bench gives a value for each figure that it names");
        for (figure, value) in bench.figures.iter().zip(values) {
            if names.is_empty() || names.contains(figure) {
                figures.insert((*figure).to_owned(), number(value));
            }
        }
    }
    if json {
        println!("{}", serde_json::Value::Object(figures));
    } else {
        for (name, value) in &figures {
            println!("{name}  {value}");
        }
    }
    Ok(())
}

/// Whole figures stay whole in JSON: `350000`, not `350000.0`.
fn number(value: f64) -> serde_json::Value {
    if value.fract() == 0.0 && value.abs() < 9e15 {
        return serde_json::json!(value as i64);
    }
    serde_json::json!(value)
}

/// What a browser must load before it can draw: wasm and scripts, as brotli sends them.
fn web_code_brotli_bytes() -> Result<Vec<f64>> {
    let dist = web::build(Profile::Ship)?;
    let sum: u64 = web::code_sizes(&dist)?.iter().map(|(_, _, sent)| sent).sum();
    Ok(vec![sum as f64])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_numbers_have_no_point() {
        assert_eq!(number(350_000.0).to_string(), "350000");
        assert_eq!(number(0.25).to_string(), "0.25");
    }

    #[test]
    fn an_unknown_name_is_refused_before_anything_is_measured() {
        let refused = command(&["nonsense".to_owned()]).err().map(|error| error.to_string());
        assert!(refused.is_some_and(|text| text.contains("web_code_brotli_bytes")));
    }
}
