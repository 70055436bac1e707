//! The built-in method has no complaint, and each thing that can be wrong is found when it is put in.

#[path = "../../../tests/built_in/mod.rs"]
mod built_in;

use super::*;
use crate::method::load::{compose, from_toml};

/// A small method that is in order; tests break it in one place each.
const GOOD: &str = r#"
id = "small"
version = 1
purpose = "install"
title = { en = "a", de = "a", es = "a" }
about = { en = "a", de = "a", es = "a" }
[[caution]]
id = "live"
text = { en = "a", de = "a", es = "a" }
[[stage]]
id = "work"
title = { en = "a", de = "a", es = "a" }
[[unit]]
unit = "module"
least = 1
most = 4
new = true
[[design]]
key = "length_m"
label = { en = "a", de = "a", es = "a" }
unit = "metre"
sanity = ["0", "9"]
[[step]]
id = "ask"
stage = "work"
hold = true
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step.require]]
kind = "choice"
id = "kind"
label = { en = "a", de = "a", es = "a" }
option = [
  { id = "one", label = { en = "a", de = "a", es = "a" } },
  { id = "two", label = { en = "a", de = "a", es = "a" } },
  { id = "bad", fails = true, label = { en = "a", de = "a", es = "a" } },
]
[[step]]
id = "measure"
stage = "work"
repeat = "module"
hold = true
stop_work = true
safety_critical = true
needs = ["ask"]
cautions = ["live"]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[step.when]
step = "ask"
requirement = "kind"
is = ["one"]
[[step.require]]
kind = "photo"
id = "photo"
label = { en = "a", de = "a", es = "a" }
shows = { en = "a", de = "a", es = "a" }
held = { en = "a", de = "a", es = "a" }
[[step.require]]
kind = "reading"
id = "ocv"
label = { en = "a", de = "a", es = "a" }
unit = "volt"
sanity = ["-9", "9"]
limit = { from = "constant", at_most = "5", source = "house rule" }
[[step.require]]
kind = "wait"
id = "pause"
label = { en = "a", de = "a", es = "a" }
seconds = 5
[[step]]
id = "stack"
stage = "work"
needs = ["measure"]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step.require]]
kind = "reading"
id = "sum"
label = { en = "a", de = "a", es = "a" }
unit = "volt"
sanity = ["-9", "9"]
limit = { from = "check", check = "STACK-SUM", inputs = [{ key = "module_voltage", from = "readings.measure.ocv" }] }
"#;

fn method(text: &str) -> Method {
    from_toml(text).expect("the test's method file is readable")
}

fn built_in() -> Method {
    compose("series-stack-floor.toml", built_in::FILES).expect("the built-in method is readable").method
}

#[test]
fn the_built_in_method_is_complete() {
    let method = built_in();
    let found: Vec<String> = complaints(&method).iter().map(ToString::to_string).collect();
    assert_eq!(found, Vec::<String>::new());
    assert!(method.steps.len() >= 45, "{} steps", method.steps.len());
    let holds = method.steps.iter().filter(|step| step.hold).count();
    assert!(holds >= 16, "{holds} holds");
    assert!(method.steps.iter().filter(|step| step.when.is_some()).count() >= 2);
    let again = Method::from_bytes(&method.to_bytes()).expect("its own bytes are readable");
    assert_eq!(again, method);
    assert_eq!(again.reference(), method.reference());
}

#[test]
fn the_gates_of_the_trade_are_in_the_graph() {
    let method = built_in();
    let dead = ["discharge-wait", "prove-tester-before", "prove-dead-ac", "prove-dead-dc", "prove-tester-after"];
    let mut gates: Vec<(&str, &str)> = Vec::new();
    for board_work in ["pe-stack", "dc-cable", "connect-dc", "data-cable", "ac-side", "dc-cable-test"] {
        gates.extend(dead.map(|gate| (board_work, gate)));
    }
    for gate in ["match-modules", "module-voltage", "secure-stack", "pe-stack"] {
        gates.push(("link-module", gate));
    }
    for gate in
        ["pe-continuity", "ac-insulation", "tightened-again", "dc-polarity", "dc-cable-test", "existing-inverter"]
    {
        gates.push(("battery-on", gate));
    }
    for gate in ["dead-inspection", "covers-closed", "power-briefing", "remove-locks", "clearances"] {
        gates.push(("battery-on", gate));
    }
    for gate in ["grid-profile", "export-limit", "battery-settings", "firmware", "settings-before", "labels"] {
        gates.push(("inverter-on", gate));
    }
    gates.extend([("supply", "inverter-on"), ("rcd-test", "inverter-on"), ("battery-on", "labels")]);
    gates.extend([("handover", "grid-profile"), ("handover", "rcd-test"), ("handover", "serial-label")]);
    for (step, gate) in gates {
        let before = order::all_before(&method, step);
        assert!(before.iter().any(|index| method.steps[*index].id == gate), "{step} opens without {gate}");
    }
    assert!(method.step("power-briefing").is_some_and(|step| step.needs_consent && step.hold));
}

/// The good method with one text replaced.
fn broken(from: &str, to: &str) -> Vec<String> {
    assert!(GOOD.contains(from), "{from}");
    complaints(&method(&GOOD.replacen(from, to, 1))).iter().map(ToString::to_string).collect()
}

#[test]
fn a_good_method_has_none() {
    assert_eq!(complaints(&method(GOOD)), []);
}

#[test]
fn each_fault_is_named() {
    for (from, to, expected) in [
        ("id = \"ask\"", "id = \"a.sk\"", "step \"a.sk\": an id is not empty and holds no dot"),
        ("id = \"two\"", "id = \"one\"", "option ask.kind.one: the id stands twice"),
        ("stage = \"work\"", "stage = \"play\"", "ask: there is no stage play"),
        ("needs = [\"measure\"]", "needs = [\"gone\"]", "stack: needs gone, which is no step"),
        ("cautions = [\"live\"]", "cautions = [\"dead\"]", "measure: there is no caution dead"),
        ("cautions = [\"live\"]", "", "measure: can hurt somebody and has no caution"),
        (
            "cautions = [\"live\"]",
            "cautions = [\"live\", \"live\", \"live\", \"live\"]",
            "measure: 4 cautions, at most 3",
        ),
        ("is = [\"one\"]", "is = [\"six\"]", "measure: its condition names ask.kind.six, which does not exist"),
        ("is = [\"one\"]", "is = [\"bad\"]", "measure: no answer to any choice opens it"),
        ("requirement = \"kind\"", "requirement = \"none\"", "measure: no answer to any choice opens it"),
        ("hold = true\nstop_work", "stop_work", "measure: stops work without being a hold"),
        ("repeat = \"module\"", "in_order = true", "measure: in order, but not repeated"),
        ("repeat = \"module\"", "", "stack.sum: readings.measure.ocv leads nowhere"),
        ("source = \"house rule\"", "source = \"\"", "measure.ocv: limit without a source"),
        (
            "limit = { from = \"constant\", at_most = \"5\"",
            "by_choice = [{ when = { step = \"ask\", requirement = \"kind\", is = [\"one\"] }, limit = { from = \"constant\", at_most = \"6\", source = \"house rule\" } }]\nlimit = { from = \"constant\", at_most = \"5\"",
            "measure: its condition names ask.kind, which does not exist",
        ),
        (
            "limit = { from = \"constant\", at_most = \"5\"",
            "by_choice = [{ when = { step = \"measure\", requirement = \"ocv\", is = [\"one\"] }, limit = { from = \"constant\", source = \"house rule\" } }]\nlimit = { from = \"constant\", at_most = \"5\"",
            "measure.ocv: limit without a figure",
        ),
        ("at_most = \"5\", ", "", "measure.ocv: limit without a figure"),
        ("at_most = \"5\"", "at_least = \"6\", at_most = \"5\"", "measure.ocv: least above greatest"),
        ("seconds = 5", "", "measure.pause: a wait needs seconds or a model's key"),
        (
            "seconds = 5",
            "seconds = 5\nreading = \"ocv\"",
            "measure.pause: a wait goes by a reading of its own step, in seconds",
        ),
        (
            "seconds = 5",
            "seconds = 5\nreading = \"gone\"",
            "measure.pause: a wait goes by a reading of its own step, in seconds",
        ),
        (
            "seconds = 5",
            "model = \"t\"\nunit = \"inverter\"",
            "measure.pause: asks the model of a unit that is not there",
        ),
        ("es = \"a\"", "es = \"\"", "title: no text in \"es\""),
        ("STACK-SUM", "F99", "stack.sum: there is no check F99"),
        ("STACK-SUM", "F06", "stack.sum: F06 takes no reading in this unit"),
        ("STACK-SUM", "F06", "stack.sum: the check must have arrangement"),
        ("readings.measure.ocv", "design.none", "stack.sum: design.none leads nowhere"),
        ("readings.measure.ocv", "design.length_m", "stack.sum: design.length_m has another unit than the input"),
        ("readings.measure.ocv", "reading.measure.ocv", "stack.sum: reading.measure.ocv leads nowhere"),
        ("readings.measure.ocv", "model.ocv", "stack.sum: model.ocv leads nowhere"),
        ("key = \"module_voltage\"", "key = \"voltage\"", "stack.sum: the check does not take voltage so"),
        (
            "needs = [\"measure\"]",
            "needs = [\"ask\"]",
            "stack.sum: readings.measure.ocv is read in a step that need not be done before",
        ),
        (
            "held = { en = \"a\", de = \"a\", es = \"a\" }\n",
            "",
            "measure.photo: not said who holds what while the photo is taken",
        ),
        (
            "held = { en = \"a\", de = \"a\", es = \"a\" }",
            "held = { en = \"a\", de = \"\", es = \"a\" }",
            "measure.photo held: no text in \"de\"",
        ),
        ("least = 1\nmost = 4", "least = 5\nmost = 4", "unit module: more at least than at most"),
    ] {
        let found = broken(from, to);
        assert!(found.iter().any(|complaint| complaint == expected), "{to}: {expected}, but {found:?}");
    }
}

#[test]
fn photos_options_and_requirements_that_are_missing() {
    let photo = &GOOD[GOOD.find("[[step.require]]\nkind = \"photo\"").expect("it has one")..];
    let photo = &photo[..photo[1..].find("[[step.require]]").expect("more follow") + 1];
    assert_eq!(broken(photo, ""), ["measure: can hurt somebody and asks for no photo"]);
    assert_eq!(broken("kind = \"photo\"", "kind = \"photo\"\ncount = 0"), ["measure.photo: asks for no photo at all"]);
    let options = &GOOD[GOOD.find("option = [").expect("it has them")..];
    let options = &options[..options.find("\n]").expect("they end") + 2];
    assert!(broken(options, "option = []").contains(&"ask.kind: a choice needs at least two options".to_owned()));
    let choice = &GOOD[GOOD.find("[[step.require]]").expect("it has some")..];
    let choice = &choice[..choice.find("[[step]]").expect("more follow")];
    assert!(broken(choice, "").contains(&"ask: holds, and asks for nothing".to_owned()));
}

#[test]
fn cycles_are_found_through_needs_and_through_choices() {
    let by_needs = broken("hold = true\ntitle", "hold = true\nneeds = [\"stack\"]\ntitle");
    assert!(by_needs.contains(&"ask, measure, stack: wait for each other".to_owned()), "{by_needs:?}");
    assert!(by_needs.contains(&"ask: needs stack, which comes later in the file".to_owned()));
    let by_choice = broken("needs = [\"ask\"]\n", "").len();
    assert_eq!(by_choice, 0, "the condition alone keeps the order");
    let text = GOOD.replacen("needs = [\"ask\"]\n", "", 1).replacen(
        "hold = true\ntitle",
        "hold = true\nneeds = [\"measure\"]\ntitle",
        1,
    );
    assert!(complaints(&method(&text)).contains(&Complaint::Cycle { steps: vec!["ask".into(), "measure".into()] }));
}

#[test]
fn what_stands_behind_a_choice_that_only_fails_is_out_of_reach() {
    let text = GOOD
        .replace("{ id = \"one\",", "{ id = \"one\", fails = true,")
        .replace("{ id = \"two\",", "{ id = \"two\", fails = true,");
    let found = complaints(&method(&text));
    for step in ["measure", "stack"] {
        assert!(found.contains(&Complaint::Unreachable { step: step.into() }), "{step}: {found:?}");
    }
    assert!(!found.contains(&Complaint::Unreachable { step: "ask".into() }));
}
