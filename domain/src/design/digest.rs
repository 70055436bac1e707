//! A fingerprint of the verdicts of many made-up designs, to compare native code with WebAssembly.

use sha2::{Digest, Sha256};

use super::field::FIELDS;
use super::inputs::Design;
use super::sheet::{Sheet, sheet};
use crate::electrical::rule_set::{Place, RuleSet};
use crate::electrical::units::MICRO;
use crate::ids::Hash32;

/// SHA-256 over every line of the sheets of `count` designs drawn from `seed`: keys, verdicts, results and limits.
///
/// The browser and the server must give the same for the same arguments; nothing else than integer arithmetic and `libm`
/// may lie behind a verdict.
pub fn digest(seed: u64, count: u32) -> Hash32 {
    let sets = Place::ALL.map(RuleSet::of);
    let mut draw = Draw(seed);
    let mut hash = Sha256::new();
    for _ in 0..count {
        let rules = &sets[usize::try_from(draw.below(sets.len() as u64)).unwrap_or(0)];
        take(&mut hash, &sheet(&draw.design(), rules));
    }
    Hash32::of(hash.finalize().into())
}

fn take(hash: &mut Sha256, sheet: &Sheet) {
    hash.update(sheet.rules.as_bytes());
    for line in sheet.lines.iter().chain(&sheet.limits) {
        hash.update(format!("{} {:?}\n", line.key, line.verdict()).as_bytes());
        if let Some(check) = line.check() {
            hash.update(check.with_numbers.as_bytes());
            for (key, value) in &check.results {
                hash.update(format!("{key} {}\n", value.micro).as_bytes());
            }
            if let Some(limit) = check.limit {
                hash.update(format!("{:?}\n", limit.limit).as_bytes());
            }
        }
    }
    for suggestion in &sheet.suggestions {
        hash.update(format!("{} {}\n", suggestion.field, suggestion.value.micro).as_bytes());
    }
}

/// The generator "splitmix64"; small, and the same everywhere.
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        bits ^ (bits >> 31)
    }

    /// Not quite even for large bounds, which does not matter here.
    fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound
    }

    fn one_of(&mut self, list: &[i64], scale: i64) -> i64 {
        list[usize::try_from(self.below(list.len() as u64)).unwrap_or(0)] * scale
    }

    /// Most fields filled with something that could be, a tenth left open, a few beyond reason.
    fn design(&mut self) -> Design {
        let mut design = Design::new();
        for field in FIELDS {
            let dice = self.below(100);
            let value = if dice < 10 {
                continue;
            } else if dice < 12 {
                self.next() as i64
            } else if field.choices.is_empty() {
                self.figure(field.key)
            } else {
                let code = self.below(field.choices.len() as u64) as i64;
                (code + i64::from(!field.is_yes_or_no())) * MICRO
            };
            design.set(field.key, value);
        }
        design
    }

    fn figure(&mut self, key: &str) -> i64 {
        const CABLES: [i64; 8] = [2_500, 4_000, 6_000, 10_000, 16_000, 25_000, 35_000, 50_000];
        const PHASES: [i64; 3] = [1, 2, 3];
        const CLASSES: [i64; 3] = [1, 2, 5];
        match key {
            "phases" => self.one_of(&PHASES, MICRO),
            "dc_cable_class" | "dc_common_cable_class" | "pe_class" => self.one_of(&CLASSES, MICRO),
            _ if key.ends_with("mm2") => self.one_of(&CABLES, 1_000),
            "modules" => self.one_of(&[1, 2, 3, 4, 5, 6, 8, 10, 12], MICRO),
            "stacks" | "strings" => self.one_of(&[1, 1, 1, 2], MICRO),
            "module_cells" => self.one_of(&[8, 15, 16, 32], MICRO),
            "module_cell_min_v" => 2_500_000 + self.below(500_000) as i64,
            "module_cell_max_v" => 3_400_000 + self.below(300_000) as i64,
            "ac_nominal_v" => self.one_of(&[230, 230, 240], MICRO),
            "inverter_w" => 1_000_000_000 + self.below(11_000_000_000) as i64,
            _ if key.ends_with("_m") => self.below(3_000_000) as i64,
            _ if key.ends_with("_a") => 1_000_000 + self.below(200_000_000) as i64,
            _ if key.ends_with("_v") => 40_000_000 + self.below(900_000_000) as i64,
            _ if key.ends_with("_w") || key.ends_with("_wh") => self.below(6_000_000_000) as i64,
            _ if key.ends_with("_ohm") => self.below(1_000_000) as i64,
            _ => self.below(100_000_000) as i64,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::electrical::Verdict;

    #[test]
    fn it_depends_on_seed_and_count_alone() {
        assert_eq!(digest(1, 20), digest(1, 20));
        assert_ne!(digest(1, 20), digest(2, 20));
        assert_ne!(digest(1, 20), digest(1, 21));
    }

    #[test]
    fn the_designs_are_worth_comparing() {
        let (mut draw, rules) = (Draw(7), RuleSet::of(Place::Uk));
        let (mut pass, mut fail, mut open) = (0, 0, 0);
        for _ in 0..200 {
            for line in sheet(&draw.design(), &rules).lines {
                match line.verdict() {
                    Verdict::Pass => pass += 1,
                    Verdict::Fail(_) => fail += 1,
                    Verdict::NotDetermined(_) | Verdict::NotApplicable(_) => open += 1,
                }
            }
        }
        assert!(pass > 500 && fail > 500 && open > 500, "{pass} {fail} {open}");
    }
}
