//! Figures whose number stands for a word: "kind of supply 2" is "one phase".
//!
//! The words are keys here and stand in the language files (`design.choice.…`); a designation of the trade, such as TN-S, B
//! or IEC, is written the same everywhere and needs none. The codes are those that the checks take.

use super::units::MICRO;

/// For 0 and 1; any other list begins with 1.
pub const YES: &[&str] = &["no", "yes"];
/// Of a demand; why it does not apply is said where it is answered.
pub const DEMAND: &[&str] = &["no", "yes", "does_not_apply"];
pub const BREAKER_TYPES: &[&str] = &["b", "c", "d"];
pub const EXCEPTIONS: &[&str] = &["report_attached", "authority_accepted"];
pub const GLOVE_CLASSES: &[&str] = &["class_00", "class_0"];
pub const PROTECTIVE_KINDS: &[&str] = &[
    "separate_pvc",
    "separate_xlpe",
    "core_pvc",
    "core_xlpe",
    "armour_pvc",
    "armour_xlpe",
    "aluminium_pvc",
    "aluminium_xlpe",
];
pub const RCD_KINDS: &[&str] = &["general", "selective", "bs_7671", "type_ii_au", "type_ii_nz", "type_i", "class_a_us"];
pub const RCD_TYPES: &[&str] = &["ac", "a", "f", "b"];
const ANCHOR_STANDARDS: &[&str] = &["en_1992_4", "aci_318"];
const ARRANGEMENTS: &[&str] = &["parallel", "series"];
const BUSBAR_RULES: &[&str] = &["nec", "iec_bs"];
const CIRCUIT_KINDS: &[&str] = &["circuit", "selv_pelv", "pv_array", "battery_to_case", "heating_element"];
const DROP_METHODS: &[&str] = &["by_resistance", "annex_g"];
const MATERIALS: &[&str] = &["copper", "aluminium"];
const RULE_KINDS: &[&str] = &["distance", "prohibition", "demand"];
const SIZE_SERIES: &[&str] = &["iec", "nec"];
/// Of an inverter: its number of line conductors is the code.
pub const INVERTER_PHASES: &[&str] = &["one_phase", "split_phase", "three_phases"];
pub const LINE_CONDUCTORS: &[&str] = &["l1", "l2", "l3"];
const SUPPLY_KINDS: &[&str] = &["direct_current", "one_phase", "three_phases"];
const TRIP_TABLES: &[&str] = &["iec_bs", "as_nzs"];

/// The words of a figure of a check, in the order of its codes; empty where its number is a number.
pub fn words_of(figure: &str) -> &'static [&'static str] {
    match figure {
        "anchor_tested"
        | "balanced"
        | "consent"
        | "damaged"
        | "direct"
        | "enclosed"
        | "far_end"
        | "larger_counts"
        | "locations_apart"
        | "maker_allows"
        | "mechanically_protected"
        | "no_location_rule"
        | "no_smooth_dc"
        | "notify_planned"
        | "place_is_such"
        | "residual_device"
        | "sensitive_connected"
        | "simple_separation"
        | "tripped"
        | "type_tested" => YES,
        "anchor_standard" => ANCHOR_STANDARDS,
        "arrangement" => ARRANGEMENTS,
        "breaker_type" => BREAKER_TYPES,
        "busbar_rule" => BUSBAR_RULES,
        "circuit_kind" => CIRCUIT_KINDS,
        "demand_met" => DEMAND,
        "drop_method" => DROP_METHODS,
        "exception" => EXCEPTIONS,
        "glove_class" => GLOVE_CLASSES,
        "inverter_line" => LINE_CONDUCTORS,
        "inverter_phases" => INVERTER_PHASES,
        "material" => MATERIALS,
        "protective_kind" => PROTECTIVE_KINDS,
        "rcd_kind" => RCD_KINDS,
        "rcd_type" | "rcd_type_least" => RCD_TYPES,
        "rule_kind" => RULE_KINDS,
        "size_series" => SIZE_SERIES,
        "supply_kind" => SUPPLY_KINDS,
        "trip_table" => TRIP_TABLES,
        _ => &[],
    }
}

/// The word for a code in a list of words.
pub fn word_in(words: &[&'static str], micro: i64) -> Option<&'static str> {
    let code = usize::try_from(micro / MICRO).ok()?;
    let at = if words.first() == YES.first() { code } else { code.checked_sub(1)? };
    words.get(at).copied()
}

/// The word for a figure of a check, where its number stands for one.
pub fn word(figure: &str, micro: i64) -> Option<&'static str> {
    word_in(words_of(figure), micro)
}

/// The figure whose code the limit of a check is, where it is one.
pub fn limited_by(check: &str) -> Option<&'static str> {
    (check == "F11-TYPE").then_some("rcd_type")
}

/// A designation as the trade writes it, from a word that has no text of its own.
pub fn designation(word: &str) -> String {
    word.to_uppercase().replace('_', "-")
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::design::FIELDS;
    use crate::electrical::checks::{InputFault, all, compute};
    use crate::electrical::{Inputs, Unit};

    /// Counts and ratios: their number is what they are.
    const NUMBERS: [&str; 14] = [
        "cells_per_module",
        "conductor_class",
        "feeding_strings",
        "fixings",
        "joints",
        "load_factor",
        "modules",
        "other_points",
        "phases",
        "power_factor",
        "push_factor",
        "sharing_strings",
        "test_multiple",
        "voltage_factor",
    ];

    #[test]
    fn every_code_of_a_check_has_its_word_and_no_word_too_many() {
        for info in all() {
            for input in info.inputs.iter().filter(|input| input.unit == Unit::Count) {
                let words = words_of(input.key);
                if words.is_empty() {
                    assert!(
                        NUMBERS.contains(&input.key),
                        "{} of {} is neither a number nor has it words",
                        input.key,
                        info.id
                    );
                    continue;
                }
                // The codes that the check itself takes are those that have a word, and no others.
                for code in 0..=i64::try_from(words.len()).expect("short") + 1 {
                    // No exception is not a word.
                    let worded = word(input.key, code * MICRO).is_some() || (input.key, code) == ("exception", 0);
                    assert_eq!(worded, takes(info.id, input.key, code), "{} = {code}", input.key);
                }
            }
        }
    }

    /// Does the check take this code? Its other inputs get whatever value it takes, for it goes through them in its own order.
    fn takes(id: &str, key: &str, code: i64) -> bool {
        const TRIED: [i64; 5] = [1, 10, 100, 1_000, 0];
        let mut inputs = Inputs::new();
        let info = all().iter().find(|info| info.id == id).expect("it is there");
        for other in info.inputs.iter().filter(|other| other.required) {
            inputs.set(other.key, MICRO);
        }
        inputs.set(key, code * MICRO);
        let mut tries = BTreeMap::new();
        for _ in 0..100 {
            match compute(id, &inputs) {
                Err(InputFault::OutOfRange { key: wrong }) if wrong == key => return false,
                Err(InputFault::OutOfRange { key: other } | InputFault::Missing { key: other }) if other != key => {
                    let tried: &mut usize = tries.entry(other).or_default();
                    inputs.set(other, TRIED[*tried % TRIED.len()] * MICRO);
                    *tried += 1;
                }
                Ok(_) => return true,
                Err(fault) => panic!("{id} with {key} = {code}: {fault:?}"),
            }
        }
        panic!("{id} takes no inputs that were tried, with {key} = {code}")
    }

    #[test]
    fn a_field_of_the_design_has_the_words_of_its_figure() {
        let same = [
            ("ac_breaker_type", "breaker_type"),
            ("backup_breaker_type", "breaker_type"),
            ("rcd_type", "rcd_type"),
            ("pe_kind", "protective_kind"),
            ("ac_pe_kind", "protective_kind"),
            ("existing_inverter_line", "inverter_line"),
            ("existing_inverter_phases", "inverter_phases"),
            ("inverter_line", "inverter_line"),
            ("inverter_phases", "inverter_phases"),
            ("glove_class", "glove_class"),
            ("distance_exception", "exception"),
            ("type_tested", "type_tested"),
        ];
        for (field, figure) in same {
            let field = FIELDS.iter().find(|one| one.key == field).expect("it is there");
            assert_eq!(field.choices, words_of(figure), "{}", field.key);
        }
        let kinds = FIELDS.iter().find(|one| one.key == "rcd_kind").expect("it is there");
        assert_eq!(RCD_KINDS.strip_prefix(kinds.choices).map(<[_]>::len), Some(1), "no class A where there are rules");
    }

    #[test]
    fn codes_are_words_and_numbers_stay() {
        assert_eq!((word("direct", 0), word("direct", MICRO)), (Some("no"), Some("yes")));
        assert_eq!(word("supply_kind", 2 * MICRO), Some("one_phase"));
        assert_eq!((word("supply_kind", 0), word("supply_kind", 4 * MICRO)), (None, None));
        assert_eq!((word("modules", MICRO), word("conductor_class", 2 * MICRO)), (None, None));
        assert_eq!((designation("tn_c_s"), designation("b")), ("TN-C-S".to_owned(), "B".to_owned()));
    }
}
