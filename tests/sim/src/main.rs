//! `cargo xtask sim`: seeds without a planted fault, then every planted fault until it is found.

use sim::{Outcome, Planted, run};
use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

const HELP: &str = "\
sim [--seeds N] [--seed S] [--json] [--clean] [--planted WORD] [--diary] [--threads N]

  --seeds N       so many seeds (1000); with --seed alone: 1
  --seed S        the first of them (1)
  --json          one flat object
  --clean         no planted faults
  --planted WORD  only this planted fault, over the seeds, until it is found
  --diary         what happened, for the seed that fails
";

/// Every planted fault must be found within so many seeds.
const PLANTED_SEEDS_MAX: u64 = 1_000;

struct Wish {
    first: u64,
    seeds: u64,
    json: bool,
    clean: bool,
    planted: Option<Planted>,
    diary: bool,
    threads: usize,
}

fn wish() -> Result<Wish, String> {
    let mut args = std::env::args().skip(1);
    let mut wish = Wish { first: 1, seeds: 1_000, json: false, clean: false, planted: None, diary: false, threads: 2 };
    let (mut has_seed, mut has_seeds) = (false, false);
    while let Some(arg) = args.next() {
        let mut value = || args.next().ok_or_else(|| format!("{arg} wants a value\n\n{HELP}"));
        match arg.as_str() {
            "--seeds" => (wish.seeds, has_seeds) = (number(&value()?)?, true),
            "--seed" => (wish.first, has_seed) = (number(&value()?)?, true),
            "--threads" => {
                wish.threads = usize::try_from(number(&value()?)?).map_err(|error| error.to_string())?.max(1)
            }
            "--json" => wish.json = true,
            "--clean" => wish.clean = true,
            "--diary" => wish.diary = true,
            "--planted" => {
                let word = value()?;
                let known = || Planted::ALL.iter().map(|planted| planted.word()).collect::<Vec<_>>().join(" ");
                wish.planted = Some(Planted::of_word(&word).ok_or_else(|| format!("no `{word}` among: {}", known()))?);
            }
            _ => return Err(HELP.to_owned()),
        }
    }
    if has_seed && !has_seeds {
        wish.seeds = 1;
        wish.clean |= wish.planted.is_none();
    }
    Ok(wish)
}

fn number(text: &str) -> Result<u64, String> {
    text.parse().map_err(|_| format!("`{text}` is no number"))
}

fn main() -> ExitCode {
    let wish = match wish() {
        Ok(wish) => wish,
        Err(text) => {
            eprintln!("{text}");
            return ExitCode::FAILURE;
        }
    };
    eprintln!("seed {} and {} after it", wish.first, wish.seeds - 1);
    let began = Instant::now();
    let clean = if wish.planted.is_some() { Vec::new() } else { clean_runs(&wish) };
    let clean_seconds = began.elapsed().as_secs_f64();
    let found = if wish.clean { Vec::new() } else { planted_runs(&wish) };
    report(&wish, &clean, clean_seconds, &found, began.elapsed().as_secs_f64())
}

/// All seeds over the threads; each run is alone in its own.
fn clean_runs(wish: &Wish) -> Vec<Outcome> {
    let next = AtomicU64::new(wish.first);
    let end = wish.first + wish.seeds;
    let mut outcomes: Vec<Outcome> = std::thread::scope(|scope| {
        let work = || {
            let mut done = Vec::new();
            loop {
                let seed = next.fetch_add(1, Ordering::Relaxed);
                if seed >= end {
                    return done;
                }
                done.push(run(seed, wish.planted, wish.diary));
            }
        };
        let threads: Vec<_> = (0..wish.threads).map(|_| scope.spawn(work)).collect();
        threads.into_iter().flat_map(|thread| thread.join().expect("a run's panic is a violation")).collect()
    });
    outcomes.sort_by_key(|outcome| outcome.seed);
    outcomes
}

/// For each planted fault: in which seed it was found, and by what.
fn planted_runs(wish: &Wish) -> Vec<(Planted, Option<Outcome>)> {
    let wanted: Vec<Planted> = match wish.planted {
        Some(one) => vec![one],
        None => Planted::ALL.to_vec(),
    };
    let next = AtomicU64::new(0);
    let most = if wish.planted.is_some() { wish.seeds } else { PLANTED_SEEDS_MAX };
    let mut found: Vec<(Planted, Option<Outcome>)> = std::thread::scope(|scope| {
        let work = || {
            let mut done = Vec::new();
            loop {
                let at = usize::try_from(next.fetch_add(1, Ordering::Relaxed)).unwrap_or(usize::MAX);
                let Some(planted) = wanted.get(at) else { return done };
                let seeds = wish.first..wish.first + most;
                let outcome =
                    seeds.map(|seed| run(seed, Some(*planted), wish.diary)).find(|outcome| outcome.violation.is_some());
                done.push((*planted, outcome));
            }
        };
        let threads: Vec<_> = (0..wish.threads).map(|_| scope.spawn(work)).collect();
        threads.into_iter().flat_map(|thread| thread.join().expect("a run's panic is a violation")).collect()
    });
    found.sort_by_key(|(planted, _)| *planted);
    found
}

fn report(
    wish: &Wish,
    clean: &[Outcome],
    clean_seconds: f64,
    found: &[(Planted, Option<Outcome>)],
    seconds: f64,
) -> ExitCode {
    for (planted, outcome) in found {
        match outcome {
            Some(outcome) => {
                let seeds = outcome.seed - wish.first + 1;
                eprintln!(
                    "{:<26} seed {seeds:>4}: {}",
                    planted.word(),
                    outcome.violation.as_deref().unwrap_or_default()
                );
                print_diary(outcome);
            }
            None => eprintln!("{:<26} NOT FOUND", planted.word()),
        }
    }
    let violated: Vec<&Outcome> = clean.iter().filter(|outcome| outcome.violation.is_some()).collect();
    for outcome in violated.iter().take(20) {
        eprintln!("VIOLATION seed {}: {}", outcome.seed, outcome.violation.as_deref().unwrap_or_default());
        if wish.diary {
            eprintln!("{:?}", outcome.options);
        }
        print_diary(outcome);
    }
    let device_days: u64 = clean.iter().map(|outcome| outcome.device_days).sum();
    let facts: usize = clean.iter().map(|outcome| outcome.facts).sum();
    let stored: usize = clean.iter().map(|outcome| outcome.stored).sum();
    let events: u64 = clean.iter().map(|outcome| outcome.events).sum();
    let caught = found.iter().filter(|(_, outcome)| outcome.is_some()).count();
    let seeds_max =
        found.iter().map(|(_, outcome)| outcome.as_ref().map_or(PLANTED_SEEDS_MAX, |o| o.seed - wish.first + 1)).max();
    let figures = [
        ("seeds", clean.len() as f64),
        ("device_days", device_days as f64),
        ("facts", facts as f64),
        ("stored", stored as f64),
        ("events", events as f64),
        ("violations", violated.len() as f64),
        ("planted_total", found.len() as f64),
        ("planted_found", caught as f64),
        ("planted_seeds_max", seeds_max.unwrap_or(0) as f64),
        ("clean_seconds", (clean_seconds * 10.0).round() / 10.0),
        ("seconds", (seconds * 10.0).round() / 10.0),
    ];
    if wish.json {
        let pairs: Vec<String> = figures.iter().map(|(name, value)| format!("\"{name}\":{value}")).collect();
        println!("{{{}}}", pairs.join(","));
    } else {
        for (name, value) in figures {
            println!("{name:<18} {value}");
        }
    }
    let is_good = violated.is_empty() && (caught == found.len());
    if is_good { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn print_diary(outcome: &Outcome) {
    for line in &outcome.diary {
        eprintln!("  {line}");
    }
}
