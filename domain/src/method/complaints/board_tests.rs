//! Proving dead is demanded: each part of it, taken away from a method that is in order, is missed.

use crate::method::load::compose;

/// One board of three conductors, of which one is there for one answer only.
const GOOD: &str = r#"
id = "board"
version = 1
purpose = "repair"
title = { en = "a", de = "a", es = "a" }
about = { en = "a", de = "a", es = "a" }
unit = []
[[caution]]
id = "prove"
text = { en = "a", de = "a", es = "a" }
[[stage]]
id = "work"
title = { en = "a", de = "a", es = "a" }
[[board]]
id = "box"
title = { en = "a", de = "a", es = "a" }
conductor = [{ id = "L" }, { id = "N" }, { id = "X", when = { step = "ask", requirement = "kind", is = ["three"] } }]
[[step]]
id = "ask"
stage = "work"
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step.require]]
kind = "choice"
id = "kind"
label = { en = "a", de = "a", es = "a" }
option = [
  { id = "one", label = { en = "a", de = "a", es = "a" } },
  { id = "three", label = { en = "a", de = "a", es = "a" } },
  { id = "burnt", fails = true, stops = "damage", label = { en = "a", de = "a", es = "a" } },
]
[[step]]
id = "off"
stage = "work"
needs = ["ask"]
boards = [{ id = "box", part = "isolates" }]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step]]
id = "before"
stage = "work"
hold = true
stop_work = true
needs = ["off"]
boards = [{ id = "box", part = "tester-before" }]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step.require]]
kind = "confirmation"
id = "lit"
label = { en = "a", de = "a", es = "a" }
[[step]]
id = "test"
stage = "work"
hold = true
stop_work = true
needs = ["before"]
boards = [{ id = "box", part = "dead" }]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step.require]]
kind = "reading"
id = "l-n"
label = { en = "a", de = "a", es = "a" }
unit = "volt"
sanity = ["0", "1000"]
instrument = "two-pole-detector"
pair = ["L", "N"]
limit = { from = "constant", at_most = "10", source = "house rule" }
[[step]]
id = "test-x"
stage = "work"
hold = true
stop_work = true
needs = ["test"]
boards = [{ id = "box", part = "dead" }]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[step.when]
step = "ask"
requirement = "kind"
is = ["three"]
[[step.require]]
kind = "reading"
id = "l-x"
label = { en = "a", de = "a", es = "a" }
unit = "volt"
sanity = ["0", "1000"]
instrument = "two-pole-detector"
pair = ["L", "X"]
limit = { from = "constant", at_most = "10", source = "house rule" }
[[step.require]]
kind = "reading"
id = "n-x"
label = { en = "a", de = "a", es = "a" }
unit = "volt"
sanity = ["0", "1000"]
instrument = "two-pole-detector"
pair = ["X", "N"]
limit = { from = "constant", at_most = "10", source = "house rule" }
[[step]]
id = "after"
stage = "work"
hold = true
stop_work = true
needs = ["test", "test-x"]
boards = [{ id = "box", part = "tester-after" }]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step.require]]
kind = "confirmation"
id = "lit"
label = { en = "a", de = "a", es = "a" }
[[step]]
id = "work"
stage = "work"
needs = ["after"]
boards = [{ id = "box", part = "inside" }]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step]]
id = "close"
stage = "work"
needs = ["work"]
boards = [{ id = "box", part = "before-power" }]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step]]
id = "on"
stage = "work"
needs = ["work", "close"]
boards = [{ id = "box", part = "ends" }]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
"#;

fn faults(text: &str) -> Vec<String> {
    let composed = compose("board.toml", &[("board.toml", text)]).unwrap_or_else(|fault| panic!("{fault}"));
    composed.faults().iter().map(ToString::to_string).collect()
}

#[test]
fn a_board_that_is_proved_dead_in_three_records_is_in_order() {
    assert_eq!(faults(GOOD), Vec::<String>::new());
}

#[test]
fn each_part_of_proving_dead_is_demanded_with_its_line() {
    for (from, to, expected) in [
        ("part = \"tester-before\"", "part = \"inside\"", "board.toml:15:6: board box: no step is its tester-before"),
        ("part = \"tester-after\"", "part = \"inside\"", "board.toml:15:6: board box: no step is its tester-after"),
        ("pair = [\"L\", \"N\"]", "", "board.toml:15:6: board box: no reading between L and N"),
        ("pair = [\"X\", \"N\"]", "", "board.toml:15:6: board box: no reading between N and X"),
        ("pair = [\"X\", \"N\"]", "pair = [\"X\", \"Y\"]", "board.toml:94:6: test-x.n-x: its pair is no pair"),
        // Switched off where the conductor is still there.
        ("is = [\"three\"]\n[[step.require]]", "is = [\"one\"]\n[[step.require]]", "no reading between L and X"),
        ("needs = [\"after\"]", "needs = [\"test\"]", "board.toml:115:6: work: works inside a board without after"),
        ("needs = [\"after\"]", "needs = [\"before\"]", "work: works inside a board without test"),
        ("needs = [\"test\", \"test-x\"]", "needs = [\"test\"]", "after: proves dead without test-x before it"),
        ("needs = [\"before\"]", "needs = [\"ask\"]", "test: proves dead without before before it"),
        ("needs = [\"off\"]", "needs = [\"ask\"]", "before: proves dead without off before it"),
        ("part = \"isolates\"", "part = \"inside\"", "board box: no step is its isolates"),
        ("part = \"ends\"", "part = \"inside\"", "board box: no step is its ends"),
        ("part = \"before-power\"", "part = \"inside\"", "board box: no step is its before-power"),
        (
            "needs = [\"work\", \"close\"]",
            "needs = [\"work\"]",
            "on: ends a proof of dead without close before it, which makes ready",
        ),
        (
            "needs = [\"work\", \"close\"]",
            "needs = [\"after\"]",
            "on: ends a proof of dead without work before it, which works inside",
        ),
        (
            "stop_work = true\nneeds = [\"before\"]",
            "needs = [\"before\"]",
            "test: proves dead without being a stop-work hold",
        ),
        ("at_most = \"10\"", "at_most = \"10.000001\"", "test.l-n: a dead test needs a two-pole-detector"),
        (
            "instrument = \"two-pole-detector\"",
            "instrument = \"pen\"",
            "test.l-n: a dead test needs a two-pole-detector",
        ),
        ("{ id = \"box\", part = \"dead\" }", "{ id = \"bax\", part = \"dead\" }", "test: there is no board bax"),
        ("part = \"inside\"", "part = \"tester-after\"", "board box: proved dead, and no step works inside"),
        ("fails = true, stops", "stops", "ask.kind.burnt: stops all work and does not fail"),
        (
            "requirement = \"kind\", is = [\"three\"] }",
            "requirement = \"kind\", is = [\"four\"] }",
            "board.toml:15:6: board box: a conductor is there by ask.kind.four, which does not exist",
        ),
        (
            "step = \"ask\", requirement = \"kind\"",
            "step = \"ask\", requirement = \"sort\"",
            "board box: a conductor is there by ask.sort, which does not exist",
        ),
    ] {
        assert!(GOOD.contains(from), "{from}");
        let found = faults(&GOOD.replacen(from, to, 1));
        assert!(found.iter().any(|fault| fault.contains(expected)), "{from} → {to}: {expected}, but {found:#?}");
    }
}

/// A step need not be switched off with a conductor: its readings are asked for where both conductors are there.
#[test]
fn one_step_may_read_conductors_that_are_not_always_there() {
    let condition = "[step.when]\nstep = \"ask\"\nrequirement = \"kind\"\nis = [\"three\"]\n";
    assert!(GOOD.contains(condition));
    assert_eq!(faults(&GOOD.replacen(condition, "", 1)), Vec::<String>::new());
    // Somebody must have said whether it is there before the test.
    let choice = "\n[[step.require]]\nkind = \"choice\"\nid = \"kind\"\nlabel = { en = \"a\", de = \"a\", es = \"a\" }\noption = [\n  \
                  { id = \"three\", label = { en = \"a\", de = \"a\", es = \"a\" } }]\n[[step]]\nid = \"close\"";
    let late = GOOD.replacen(condition, "", 1).replacen("\n[[step]]\nid = \"close\"", choice, 1).replacen(
        "when = { step = \"ask\"",
        "when = { step = \"work\"",
        1,
    );
    let found = faults(&late);
    assert!(
        found.iter().any(|fault| fault.contains("test-x.l-x: work.kind is read in a step that need not")),
        "{found:#?}"
    );
}

/// The same board, opened live for a test and closed again.
const LIVE: &str = r#"
[[step]]
id = "opened"
stage = "work"
hold = true
safety_critical = true
needs = ["on"]
cautions = ["prove"]
live = { id = "box", part = "opens" }
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step.require]]
kind = "photo"
id = "barrier"
label = { en = "a", de = "a", es = "a" }
shows = { en = "a", de = "a", es = "a" }
[[step]]
id = "loop"
stage = "work"
needs = ["opened"]
live = { id = "box", part = "tests" }
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step]]
id = "closed"
stage = "work"
hold = true
safety_critical = true
needs = ["loop"]
cautions = ["prove"]
live = { id = "box", part = "closes" }
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step.require]]
kind = "photo"
id = "cover"
label = { en = "a", de = "a", es = "a" }
shows = { en = "a", de = "a", es = "a" }
"#;

#[test]
fn a_live_test_lies_between_opening_and_closing_of_its_board() {
    assert_eq!(faults(&format!("{GOOD}{LIVE}")), Vec::<String>::new());
    for (from, to, expected) in [
        ("needs = [\"opened\"]", "needs = [\"on\"]", "loop: at a live board without opening it before"),
        ("needs = [\"loop\"]", "needs = [\"opened\"]", "loop: at a live board without closing it after"),
        ("part = \"opens\"", "part = \"tests\"", "loop: at a live board without opening it before"),
        ("part = \"closes\"", "part = \"tests\"", "opened: at a live board without closing it after"),
        ("needs = [\"loop\"]", "needs = [\"on\"]", "closed: at a live board without opening it before"),
        (
            "hold = true\nsafety_critical = true\nneeds = [\"on\"]",
            "safety_critical = true\nneeds = [\"on\"]",
            "opened: opens or closes a live board without being a safety-critical hold",
        ),
        (
            "safety_critical = true\nneeds = [\"loop\"]",
            "needs = [\"loop\"]",
            "closed: opens or closes a live board without being a safety-critical hold",
        ),
        (
            "live = { id = \"box\", part = \"tests\" }",
            "live = { id = \"bax\", part = \"tests\" }",
            "there is no board bax",
        ),
    ] {
        assert!(LIVE.contains(from), "{from}");
        let found = faults(&format!("{GOOD}{}", LIVE.replacen(from, to, 1)));
        assert!(found.iter().any(|fault| fault.contains(expected)), "{from} → {to}: {expected}, but {found:#?}");
    }
}

/// The same board with an inverter: consent and settings before the grid, and a conductor that a test takes off.
fn with_inverter() -> String {
    let settings = r#"
[[step]]
id = "profile"
stage = "work"
grid = "sets"
needs = ["ask"]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step]]
id = "tighten"
stage = "work"
hold = true
needs = ["work"]
tightens = ["terminals"]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step.require]]
kind = "reading"
id = "torque"
label = { en = "a", de = "a", es = "a" }
unit = "newton_metre"
sanity = ["0", "200"]
instrument = "torque-wrench"
[[step]]
id = "close""#;
    let unit = "[[unit]]\nunit = \"inverter\"\nleast = 1\nmost = 1\nnew = true";
    GOOD.replacen("unit = []", "", 1)
        .replacen("[[caution]]", &format!("{unit}\n[[caution]]"), 1)
        .replacen("[[step]]\nid = \"close\"", settings.trim_start(), 1)
        .replacen("needs = [\"after\"]", "needs = [\"after\"]\nloosens = [\"terminals\"]", 1)
        .replacen(
            "needs = [\"work\", \"close\"]",
            "needs = [\"work\", \"close\", \"tighten\", \"profile\"]\nneeds_consent = true\ngrid = \"joins\"",
            1,
        )
}

#[test]
fn settings_consent_and_torque_come_before_the_power() {
    let good = with_inverter();
    assert_eq!(faults(&good), Vec::<String>::new());
    for (from, to, expected) in [
        ("grid = \"joins\"", "", "it has an inverter, and no step joins the grid"),
        (", \"profile\"]", "]", "on: joins the grid without profile before it"),
        ("grid = \"sets\"", "", "on: joins the grid without any setting before it"),
        ("needs_consent = true", "", "on: joins the grid, and nothing before it waits for the consent"),
        (", \"tighten\"", "", "work: takes conductors off terminals, and no step tightens them again before the power"),
        ("tightens = [\"terminals\"]", "tightens = [\"others\"]", "work: takes conductors off terminals"),
        ("needs = [\"work\"]\ntightens", "needs = [\"after\"]\ntightens", "work: takes conductors off terminals"),
        ("unit = \"newton_metre\"", "unit = \"volt\"", "tighten: tightens without being a hold with a measured torque"),
        ("instrument = \"torque-wrench\"", "", "tighten: tightens without being a hold with a measured torque"),
        ("hold = true\nneeds = [\"work\"]", "needs = [\"work\"]", "tighten: tightens without being a hold"),
    ] {
        assert!(good.contains(from), "{from}");
        let found = faults(&good.replacen(from, to, 1));
        assert!(found.iter().any(|fault| fault.contains(expected)), "{from} → {to}: {expected}, but {found:#?}");
    }
}

/// A conductor that is there by two answers may be tested in a step for each; one answer alone leaves the other untested.
#[test]
fn steps_share_the_answers_by_which_a_conductor_is_there() {
    let four = GOOD.replace("is = [\"three\"] } }]", "is = [\"three\", \"four\"] } }]").replace(
        "  { id = \"burnt\"",
        "  { id = \"four\", label = { en = \"a\", de = \"a\", es = \"a\" } },\n  { id = \"burnt\"",
    );
    let found = faults(&four);
    for pair in ["L and X", "N and X"] {
        assert!(found.iter().any(|fault| fault.contains(&format!("no reading between {pair}"))), "{found:#?}");
    }
    let at = |id: &str| GOOD.find(&format!("[[step]]\nid = \"{id}\"")).expect("it is a step of the good method");
    let again = &GOOD[at("test-x")..at("after")];
    let again = again.replace("test-x", "test-y").replace("is = [\"three\"]", "is = [\"four\"]");
    let both = four
        .replace("[[step]]\nid = \"after\"", &format!("{again}[[step]]\nid = \"after\""))
        .replace("needs = [\"test\", \"test-x\"]", "needs = [\"test\", \"test-x\", \"test-y\"]");
    assert_eq!(faults(&both), Vec::<String>::new());
    let other_choice = both
        .replace("id = \"test-y\"", "id = \"test-y\"\n# by another answer")
        .replace("is = [\"four\"]", "is = [\"one\"]");
    assert!(faults(&other_choice).iter().any(|fault| fault.contains("no reading between L and X")));
}
