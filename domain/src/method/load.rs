//! Reads method files and puts them together. Only the server and xtask do; browsers get CBOR.
//!
//! The texts come in as arguments. Stages that several methods share are written once and included ([`compose`]).

use super::complaints::{Complaint, complaints};
use super::plan::{
    Board, BoardDuty, Caution, ChoiceOption, DesignField, LimitRule, Method, Micro, Requirement, Reviewed, Stage, Step,
    Text, UnitPlan, When,
};
use crate::electrical::units::Unit;
use crate::job_file::body::Purpose;
use core::fmt;
use serde::de::Error as _;
use std::collections::{BTreeMap, BTreeSet};
use toml::de::{DeTable, DeValue};

/// Decimal places of a millionth.
const PLACES: usize = 6;

/// Parses decimal text (`"-0.08"`) into millionths, exactly.
fn micro_of(text: &str) -> Option<i64> {
    let (negative, digits) = text.strip_prefix('-').map_or((false, text), |rest| (true, rest));
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let all_digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !all_digits(whole) || !all_digits(fraction) || fraction.len() > PLACES {
        return None;
    }
    let padded = format!("{whole}{fraction:0<PLACES$}");
    let value: i64 = padded.parse().ok()?;
    Some(if negative { -value } else { value })
}

impl<'de> serde::Deserialize<'de> for Micro {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = String::deserialize(d)?;
        micro_of(&text)
            .map(Micro)
            .ok_or_else(|| D::Error::custom(format!("\"{text}\" is not decimal text such as \"0.08\"")))
    }
}

impl<'de> serde::Deserialize<'de> for Unit {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = String::deserialize(d)?;
        Self::from_name(&text)
            .ok_or_else(|| D::Error::custom(format!("\"{text}\" is not a unit such as \"volt\" or \"ohm\"")))
    }
}

/// What is wrong with a method file, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Name of the file, as it was given.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is wrong.
    pub reason: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}: {}", self.file, self.line, self.column, self.reason)
    }
}

impl core::error::Error for Fault {}

impl Fault {
    fn at(file: &str, text: &str, offset: usize, reason: impl Into<String>) -> Self {
        let before = &text.as_bytes()[..offset.min(text.len())];
        let line_start = before.iter().rposition(|byte| *byte == b'\n').map_or(0, |at| at + 1);
        let line = before.iter().filter(|byte| **byte == b'\n').count() + 1;
        // Bytes that continue a character of UTF-8 begin with the bits 10.
        let column = before[line_start..].iter().filter(|byte| **byte & 0xc0 != 0x80).count() + 1;
        Self { file: file.to_owned(), line, column, reason: reason.into() }
    }

    fn of_toml(file: &str, text: &str, error: &toml::de::Error) -> Self {
        Self::at(file, text, error.span().map_or(0, |span| span.start), error.message().trim())
    }
}

/// A method put together from its file and the files that it includes.
#[derive(Clone, Debug)]
pub struct Composed {
    /// The method.
    pub method: Method,
    places: BTreeMap<String, Fault>,
}

impl Composed {
    /// Everything that the checker complains of, each with the place in the file that says it.
    pub fn faults(&self) -> Vec<Fault> {
        complaints(&self.method)
            .into_iter()
            .map(|complaint| {
                let mut fault = self.place_of(&complaint);
                fault.reason = complaint.to_string();
                fault
            })
            .collect()
    }

    fn place_of(&self, complaint: &Complaint) -> Fault {
        let keys = complaint.keys();
        let known = keys.iter().find_map(|key| self.places.get(key)).or_else(|| self.places.get(""));
        known.cloned().unwrap_or_else(|| Fault::at("", "", 0, ""))
    }
}

/// Parses a method file that includes nothing.
///
/// # Errors
/// What is wrong with the text, and where.
pub fn from_toml(text: &str) -> Result<Method, Fault> {
    compose("method", &[("method", text)]).map(|composed| composed.method)
}

/// Puts a method together: the file called `name`, and those that its stages include, out of these files.
///
/// `[[stage]] include = "shared/isolation.toml"` puts the stages, steps, cautions, boards and design figures of that
/// file there. A shared step that needs `"@entry"` needs what the including stage says: `with = { entry = ["step"] }`.
/// What a step does at `"@boards"` it does at every board of the method. `[[limit]]` gives a reading of an included step its limit, or another one, so that a
/// new version need not repeat the step; `[[option]]` gives a choice of an included step a further answer, and
/// `[[condition]]` an included step the choice on which it applies, in place of its own. `after = "stage"` puts a stage,
/// or those of the file, behind that one instead of at the end. Afterwards steps stand in the order of their stages, and
/// within a stage in that of the files, unless one needs another.
///
/// # Errors
/// The first file that cannot be read, or an include that does not fit.
pub fn compose(name: &str, files: &[(&str, &str)]) -> Result<Composed, Fault> {
    let root = FileText::read(name, files)?;
    let missing = |what: &str| Fault::at(name, root.text, 0, format!("a method says its {what}"));
    let mut method = Method {
        id: root.parts.id.clone().ok_or_else(|| missing("id"))?,
        version: root.parts.version.ok_or_else(|| missing("version"))?,
        purpose: root.parts.purpose.ok_or_else(|| missing("purpose"))?,
        title: root.parts.title.clone().ok_or_else(|| missing("title"))?,
        about: root.parts.about.clone().ok_or_else(|| missing("about"))?,
        reviewed: root.parts.reviewed.clone(),
        cautions: Vec::new(),
        stages: Vec::new(),
        steps: Vec::new(),
        design: Vec::new(),
        units: Vec::new(),
        boards: None,
    };
    let mut places = BTreeMap::from([(String::new(), Fault::at(name, root.text, 0, ""))]);
    let mut included = Vec::new();
    for (number, stage) in root.parts.stage.iter().enumerate() {
        let at = |reason: String| Fault::at(name, root.text, root.offset_of("stage", number), reason);
        let place = match &stage.after {
            None => method.stages.len(),
            Some(id) => match method.stages.iter().position(|stage| stage.id == *id) {
                Some(at_stage) => at_stage + 1,
                None => return Err(at(format!("there is no stage {id} before it"))),
            },
        };
        match (&stage.include, &stage.id, &stage.title) {
            (Some(shared), None, None) => {
                let file = FileText::read(shared, files).map_err(|fault| match fault.line {
                    0 => at(format!("{shared} is not there")),
                    _ => fault,
                })?;
                file.include(&stage.with, place, &mut method).map_err(at)?;
                file.mark(&mut places);
                included.push(file);
            }
            (None, Some(id), Some(title)) => {
                let hazardous = stage.hazardous.unwrap_or(false);
                method.stages.insert(place, Stage { id: id.clone(), title: title.clone(), hazardous });
            }
            _ => return Err(at("a stage has id and title, or it includes a file".into())),
        }
    }
    root.mark(&mut places);
    root.add_to(root.parts.step.clone(), &mut method);
    for file in included.iter().chain([&root]) {
        file.add_options(&mut method)?;
    }
    root.add_conditions(&mut method)?;
    root.limit(&mut method)?;
    at_every_board(&mut method);
    method.steps = in_order(core::mem::take(&mut method.steps), &method.stages);
    Ok(Composed { method, places })
}

/// What one file says; a method's own file and shared ones have the same form.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Parts {
    id: Option<String>,
    version: Option<u32>,
    purpose: Option<Purpose>,
    title: Option<Text>,
    about: Option<Text>,
    #[serde(default)]
    reviewed: Vec<Reviewed>,
    #[serde(default)]
    caution: Vec<Caution>,
    #[serde(default)]
    stage: Vec<StageText>,
    #[serde(default)]
    step: Vec<Step>,
    #[serde(default)]
    design: Vec<DesignField>,
    #[serde(default)]
    unit: Vec<UnitPlan>,
    #[serde(default)]
    board: Vec<Board>,
    #[serde(default)]
    limit: Vec<LimitText>,
    #[serde(default)]
    option: Vec<OptionText>,
    #[serde(default)]
    condition: Vec<ConditionText>,
}

/// A further answer to a choice of another file's step.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct OptionText {
    step: String,
    choice: String,
    id: String,
    label: Text,
    /// Conductors that are there by other answers to this choice, and by this one too.
    #[serde(default)]
    conductors: Vec<ConductorText>,
}

/// A conductor of a board.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct ConductorText {
    board: String,
    id: String,
}

/// The choice on which an included step applies that always does elsewhere.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct ConditionText {
    step: String,
    when: When,
}

/// A limit for a reading of an included step.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct LimitText {
    step: String,
    reading: String,
    limit: LimitRule,
}

/// A stage, or a file in its place.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct StageText {
    id: Option<String>,
    title: Option<Text>,
    hazardous: Option<bool>,
    include: Option<String>,
    after: Option<String>,
    #[serde(default)]
    with: BTreeMap<String, Vec<String>>,
}

struct FileText<'t> {
    name: &'t str,
    text: &'t str,
    parts: Parts,
    tree: DeTable<'t>,
}

/// What stands before the name of a need that the including file gives.
const GIVEN: char = '@';

impl<'t> FileText<'t> {
    fn read(name: &str, files: &[(&'t str, &'t str)]) -> Result<Self, Fault> {
        let Some((name, text)) = files.iter().copied().find(|(file, _)| *file == name) else {
            return Err(Fault { file: name.to_owned(), line: 0, column: 0, reason: "the file is not there".into() });
        };
        let fault = |error: toml::de::Error| Fault::of_toml(name, text, &error);
        let tree = DeTable::parse(text).map_err(fault)?.into_inner();
        Ok(Self { name, text, parts: toml::from_str(text).map_err(fault)?, tree })
    }

    /// Adds a shared file to a method, its stages at this place, with the needs that the including stage gives.
    fn include(&self, with: &BTreeMap<String, Vec<String>>, place: usize, method: &mut Method) -> Result<(), String> {
        let name = self.name;
        if self.parts.id.is_some() || self.parts.stage.iter().any(|stage| stage.include.is_some()) {
            return Err(format!("{name} is a method or includes files itself; only shared stages are included"));
        }
        if !self.parts.limit.is_empty() {
            return Err(format!("{name} gives a limit to another file's step; only the method itself does"));
        }
        if !self.parts.condition.is_empty() {
            return Err(format!("{name} sets a condition on another file's step; only the method itself does"));
        }
        for (number, stage) in self.parts.stage.iter().enumerate() {
            let (Some(id), Some(title), None) = (&stage.id, &stage.title, &stage.after) else {
                return Err(format!("{name}: a stage has id and title"));
            };
            let hazardous = stage.hazardous.unwrap_or(false);
            method.stages.insert(place + number, Stage { id: id.clone(), title: title.clone(), hazardous });
        }
        let mut given = Given { file: name, with, used: BTreeSet::new() };
        let mut steps = self.parts.step.clone();
        for step in &mut steps {
            step.needs = given.spread(&step.needs)?;
        }
        if let Some(idle) = with.keys().find(|key| !given.used.contains(key.as_str())) {
            return Err(format!("nothing in {name} asks for `{idle}`"));
        }
        self.add_to(steps, method);
        Ok(())
    }

    fn add_to(&self, steps: Vec<Step>, method: &mut Method) {
        method.cautions.extend(self.parts.caution.iter().cloned());
        method.design.extend(self.parts.design.iter().cloned());
        method.units.extend(self.parts.unit.iter().cloned());
        method.steps.extend(steps);
        if !self.parts.board.is_empty() {
            method.boards.get_or_insert_default().extend(self.parts.board.iter().cloned());
        }
    }

    /// Gives choices of other files' steps the answers that this file adds: after those that let through, before those that fail.
    fn add_options(&self, method: &mut Method) -> Result<(), Fault> {
        for (number, own) in self.parts.option.iter().enumerate() {
            let fault = |reason| Fault::at(self.name, self.text, self.offset_of("option", number), reason);
            let step = method.steps.iter_mut().find(|step| step.id == own.step);
            let choice =
                step.into_iter().flat_map(|step| &mut step.requirements).find_map(|requirement| match requirement {
                    Requirement::Choice(need) if need.id == own.choice => Some(need),
                    _ => None,
                });
            let Some(choice) = choice else {
                return Err(fault(format!("no step \"{}\" has a choice \"{}\"", own.step, own.choice)));
            };
            let place = choice.options.iter().position(|option| option.fails).unwrap_or(choice.options.len());
            let option = ChoiceOption { id: own.id.clone(), label: own.label.clone(), fails: false, stops: None };
            choice.options.insert(place, option);
            for conductor in &own.conductors {
                let board = method.boards.iter_mut().flatten().find(|board| board.id == conductor.board);
                let mut there = board.into_iter().flat_map(|board| &mut board.conductors);
                let when = there.find(|other| other.id == conductor.id).and_then(|found| found.when.as_mut());
                let Some(when) = when.filter(|when| when.step == own.step && when.requirement == own.choice) else {
                    let (board, id) = (&conductor.board, &conductor.id);
                    return Err(fault(format!("no conductor \"{id}\" of \"{board}\" is there by that choice")));
                };
                when.is.push(own.id.clone());
            }
        }
        Ok(())
    }

    /// Gives included steps the conditions that the method's own file names, in place of their own.
    fn add_conditions(&self, method: &mut Method) -> Result<(), Fault> {
        for (number, own) in self.parts.condition.iter().enumerate() {
            let Some(step) = method.steps.iter_mut().find(|step| step.id == own.step) else {
                let reason = format!("there is no step \"{}\"", own.step);
                return Err(Fault::at(self.name, self.text, self.offset_of("condition", number), reason));
            };
            step.when = Some(own.when.clone());
        }
        Ok(())
    }

    /// Gives readings the limits that the method's own file names.
    fn limit(&self, method: &mut Method) -> Result<(), Fault> {
        for (number, given) in self.parts.limit.iter().enumerate() {
            let step = method.steps.iter_mut().find(|step| step.id == given.step);
            let reading =
                step.into_iter().flat_map(|step| &mut step.requirements).find_map(|requirement| match requirement {
                    Requirement::Reading(need) if need.id == given.reading => Some(need),
                    _ => None,
                });
            let Some(reading) = reading else {
                let reason = format!("no step \"{}\" has a reading \"{}\"", given.step, given.reading);
                return Err(Fault::at(self.name, self.text, self.offset_of("limit", number), reason));
            };
            reading.limit = Some(given.limit.clone());
        }
        Ok(())
    }

    fn offset_of(&self, array: &str, number: usize) -> usize {
        elements(&self.tree, array).nth(number).map_or(0, |element| element.span().start)
    }

    /// Remembers where each thing with an id stands.
    fn mark(&self, places: &mut BTreeMap<String, Fault>) {
        let mut put = |key: String, offset: usize| {
            places.insert(key, Fault::at(self.name, self.text, offset, ""));
        };
        for (array, id) in
            [("caution", "id"), ("stage", "id"), ("step", "id"), ("design", "key"), ("unit", "unit"), ("board", "id")]
        {
            for element in elements(&self.tree, array) {
                let Some((name, offset)) = name_of(element, id) else { continue };
                put(format!("{array} {name}"), offset);
                let Some(table) = element.get_ref().as_table().filter(|_| array == "step") else { continue };
                for requirement in elements(table, "require") {
                    if let Some((requirement, offset)) = name_of(requirement, "id") {
                        put(format!("step {name}.{requirement}"), offset);
                    }
                }
            }
        }
    }
}

/// What an including stage gives, and what of it was asked for.
struct Given<'w> {
    file: &'w str,
    with: &'w BTreeMap<String, Vec<String>>,
    used: BTreeSet<&'w str>,
}

impl Given<'_> {
    /// A list in which each `@name` is replaced by what was given under that name.
    fn spread(&mut self, list: &[String]) -> Result<Vec<String>, String> {
        let mut out = Vec::new();
        for need in list {
            let Some(name) = need.strip_prefix(GIVEN) else {
                out.push(need.clone());
                continue;
            };
            let Some((name, ids)) = self.with.get_key_value(name) else {
                return Err(format!("{} asks for `{name}`: with = {{ {name} = [\"ID\"] }} is missing", self.file));
            };
            self.used.insert(name);
            out.extend(ids.iter().cloned());
        }
        Ok(out)
    }
}

/// What stands in a file for every board of the method.
const EVERY_BOARD: &str = "@boards";

/// Gives steps their part at every board where the file says so: one round of locks isolates all of them.
fn at_every_board(method: &mut Method) {
    let boards: Vec<String> = method.boards().iter().map(|board| board.id.clone()).collect();
    for duties in method.steps.iter_mut().filter_map(|step| step.boards.as_mut()) {
        let spread = |duty: &BoardDuty| match duty.id.as_str() {
            EVERY_BOARD => boards.iter().map(|id| BoardDuty { id: id.clone(), part: duty.part }).collect(),
            _ => vec![duty.clone()],
        };
        *duties = duties.iter().flat_map(spread).collect();
    }
}

/// Steps in the order of their stages, and within a stage so that none stands before one that it needs.
fn in_order(steps: Vec<Step>, stages: &[Stage]) -> Vec<Step> {
    let place = |step: &Step| stages.iter().position(|stage| stage.id == step.stage).unwrap_or(stages.len());
    let mut left = steps;
    left.sort_by_key(place);
    let mut out: Vec<Step> = Vec::new();
    while !left.is_empty() {
        let stage = place(&left[0]);
        let here: Vec<&Step> = left.iter().take_while(|step| place(step) == stage).collect();
        let waits = |step: &Step| {
            let choice = step.when.as_ref().map(|when| &when.step);
            step.needs.iter().chain(choice).any(|need| *need != step.id && here.iter().any(|other| other.id == *need))
        };
        // Steps that wait for each other keep the file's order; the checker names them.
        let next = here.iter().position(|step| !waits(step)).unwrap_or(0);
        out.push(left.remove(next));
    }
    out
}

fn elements<'a, 't>(table: &'a DeTable<'t>, array: &str) -> impl Iterator<Item = &'a toml::Spanned<DeValue<'t>>> {
    table.get(array).and_then(|value| value.get_ref().as_array()).into_iter().flatten()
}

fn name_of<'a>(element: &'a toml::Spanned<DeValue<'_>>, key: &str) -> Option<(&'a str, usize)> {
    let value = element.get_ref().as_table()?.get(key)?;
    Some((value.get_ref().as_str()?, value.span().start))
}

#[cfg(test)]
mod tests {
    use super::super::plan::{BoardPart, DesignLimit};
    use super::*;

    const ROOT: &str = r#"
id = "m"
version = 1
purpose = "repair"
title = { en = "a", de = "a", es = "a" }
about = { en = "a", de = "a", es = "a" }
unit = []
[[stage]]
id = "first"
title = { en = "ä", de = "a", es = "a" }
[[stage]]
include = "shared/end.toml"
with = { entry = ["own"] }
[[step]]
id = "late"
stage = "last"
needs = ["close"]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
[[step]]
id = "own"
stage = "first"
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
"#;
    const END: &str = r#"
[[stage]]
id = "last"
title = { en = "a", de = "a", es = "a" }
[[step]]
id = "close"
stage = "last"
needs = ["@entry"]
boards = [{ id = "@boards", part = "inside" }]
title = { en = "a", de = "a", es = "a" }
act = { en = "a", de = "a", es = "a" }
"#;

    fn put_together(root: &str, end: &str) -> Result<Composed, String> {
        compose("m.toml", &[("m.toml", root), ("shared/end.toml", end)]).map_err(|fault| fault.to_string())
    }

    #[test]
    fn shared_stages_are_included_with_what_the_method_gives() {
        let method = put_together(ROOT, END).expect("both are in order").method;
        let ids: Vec<&str> = method.steps.iter().map(|step| step.id.as_str()).collect();
        assert_eq!(ids, ["own", "close", "late"]);
        assert_eq!(method.steps[1].needs, ["own"]);
        assert_eq!(method.steps[1].boards.as_deref(), Some(&[][..]));
        assert_eq!(method.stages.len(), 2);
    }

    /// A reading without a limit at the end of the shared step.
    const READING: &str = r#"
[[step.require]]
kind = "reading"
id = "loop"
label = { en = "a", de = "a", es = "a" }
unit = "ohm"
sanity = ["0.01", "2000"]
"#;
    const LIMIT: &str = r#"
[[limit]]
step = "close"
reading = "loop"
limit = { from = "design", at_most = "loop_max_ohm" }
"#;

    #[test]
    fn a_method_gives_an_included_reading_its_limit() {
        let end = format!("{END}{READING}");
        let limit_of = |root: &str| {
            let method = put_together(root, &end).expect("both are in order").method;
            match method.steps[1].requirements.as_slice() {
                [Requirement::Reading(need)] => need.limit.clone(),
                other => panic!("{other:?}"),
            }
        };
        assert_eq!(limit_of(ROOT), None);
        let expected = DesignLimit { at_least: None, at_most: Some("loop_max_ohm".into()) };
        assert_eq!(limit_of(&format!("{ROOT}{LIMIT}")), Some(LimitRule::Design(expected)));
        let given = format!("{ROOT}{}", LIMIT.replace("reading = \"loop\"", "reading = \"lop\""));
        let fault = put_together(&given, &end).err().unwrap_or_default();
        assert!(fault.starts_with("m.toml:26:1: no step \"close\" has a reading \"lop\""), "{fault}");
        let fault = put_together(ROOT, &format!("{end}{LIMIT}")).err().unwrap_or_default();
        assert!(fault.starts_with("m.toml:11:1: shared/end.toml gives a limit"), "{fault}");
    }

    /// A board and a choice at the end of the shared step.
    const PHASES: &str = r#"
[[step.require]]
kind = "choice"
id = "phases"
label = { en = "a", de = "a", es = "a" }
option = [
  { id = "one", label = { en = "a", de = "a", es = "a" } },
  { id = "none", fails = true, label = { en = "a", de = "a", es = "a" } },
]
[[board]]
id = "box"
title = { en = "a", de = "a", es = "a" }
conductor = [{ id = "L1" }, { id = "L2", when = { step = "close", requirement = "phases", is = ["three"] } }]
"#;
    const OPTION: &str = r#"
[[option]]
step = "close"
choice = "phases"
id = "split"
label = { en = "a", de = "a", es = "a" }
conductors = [{ board = "box", id = "L2" }]
"#;

    #[test]
    fn a_further_answer_stands_before_those_that_fail_and_brings_its_conductors() {
        let end = format!("{END}{PHASES}");
        // The file of the method, or another shared one, may say so.
        let more = format!("{ROOT}\n[[stage]]\ninclude = \"more.toml\"\n");
        let by_other = compose("m.toml", &[("m.toml", &more), ("shared/end.toml", &end), ("more.toml", OPTION)]);
        let by_method = put_together(&format!("{ROOT}{OPTION}"), &end);
        for composed in [by_method, by_other.map_err(|fault| fault.to_string())] {
            let method = composed.unwrap_or_else(|why| panic!("{why}")).method;
            let Some(Requirement::Choice(choice)) = method.step("close").and_then(|step| step.requirement("phases"))
            else {
                panic!("no choice");
            };
            let options: Vec<(&str, bool)> = choice.options.iter().map(|own| (own.id.as_str(), own.fails)).collect();
            assert_eq!(options, [("one", false), ("split", false), ("none", true)]);
            let duties = method.step("close").map(|step| step.duties().to_vec());
            assert_eq!(duties, Some(vec![BoardDuty { id: "box".into(), part: BoardPart::Inside }]));
            let second = method.board("box").and_then(|board| board.conductors[1].when.clone());
            assert_eq!(second.map(|when| when.is), Some(vec!["three".to_owned(), "split".to_owned()]));
        }
        for (from, to, expected) in [
            ("choice = \"phases\"", "choice = \"fases\"", "m.toml:26:1: no step \"close\" has a choice \"fases\""),
            ("id = \"L2\"", "id = \"L1\"", "m.toml:26:1: no conductor \"L1\" of \"box\" is there by that choice"),
            (
                "board = \"box\"",
                "board = \"bax\"",
                "m.toml:26:1: no conductor \"L2\" of \"bax\" is there by that choice",
            ),
        ] {
            let fault = put_together(&format!("{ROOT}{}", OPTION.replace(from, to)), &end).err().unwrap_or_default();
            assert!(fault.starts_with(expected), "{expected}, but {fault}");
        }
    }

    #[test]
    fn a_method_says_when_an_included_step_applies_and_where_stages_stand() {
        const CONDITION: &str =
            "\n[[condition]]\nstep = \"close\"\nwhen = { step = \"own\", requirement = \"kind\", is = [\"a\"] }\n";
        let method = put_together(&format!("{ROOT}{CONDITION}"), END).expect("both are in order").method;
        let when = When { step: "own".into(), requirement: "kind".into(), is: vec!["a".into()] };
        assert_eq!(method.step("close").and_then(|step| step.when.clone()), Some(when));
        let own = END.replace("needs = ", "when = { step = \"late\", requirement = \"kind\", is = [\"b\"] }\nneeds = ");
        let instead = put_together(&format!("{ROOT}{CONDITION}"), &own).expect("both are in order").method;
        assert_eq!(instead.step("close"), method.step("close"), "it takes the place of the step's own");
        let gone = CONDITION.replace("\"close\"", "\"gone\"");
        let gone = put_together(&format!("{ROOT}{gone}"), END).err().unwrap_or_default();
        assert!(gone.starts_with("m.toml:26:1: there is no step \"gone\""), "{gone}");
        let shared = put_together(ROOT, &format!("{END}{CONDITION}")).err().unwrap_or_default();
        assert!(shared.starts_with("m.toml:11:1: shared/end.toml sets a condition"), "{shared}");

        let stages = |root: &str| {
            let method = put_together(root, END).map(|composed| composed.method);
            method.map(|method| method.stages.iter().map(|stage| stage.id.clone()).collect::<Vec<_>>())
        };
        let third = "\n[[stage]]\nid = \"third\"\nafter = \"first\"\ntitle = { en = \"a\", de = \"a\", es = \"a\" }\n";
        assert_eq!(stages(&format!("{ROOT}{third}")).as_deref(), Ok(&["first", "third", "last"].map(String::from)[..]));
        let late = ROOT.replace("include = \"shared/end.toml\"", "include = \"shared/end.toml\"\nafter = \"late\"");
        assert_eq!(stages(&late).err().as_deref(), Some("m.toml:11:1: there is no stage late before it"));
    }

    #[test]
    fn a_broken_file_is_named_with_line_column_and_reason() {
        for (root, end, expected) in [
            (ROOT.replace("version = 1", "version = one"), END.to_owned(), "m.toml:3:11: "),
            (
                ROOT.replace("purpose = \"repair\"", "purpose = \"feast\""),
                END.to_owned(),
                "m.toml:4:11: unknown variant",
            ),
            (ROOT.replace("id = \"m\"\n", ""), END.to_owned(), "m.toml:1:1: a method says its id"),
            (ROOT.to_owned(), END.replace("act =", "acts ="), "shared/end.toml:11:1: unknown field"),
            (
                ROOT.to_owned(),
                END.replace("id = \"close\"", "id = \"close\"\noverride = \"lead\""),
                "shared/end.toml:7:1: unknown field `override`",
            ),
            (ROOT.replace("end.toml", "gone.toml"), END.to_owned(), "m.toml:11:1: shared/gone.toml is not there"),
            (ROOT.replace("entry = [\"own\"]", ""), END.to_owned(), "m.toml:11:1: shared/end.toml asks for `entry`"),
            (
                ROOT.replace("entry = [\"own\"]", "entry = [\"own\"], x = []"),
                END.to_owned(),
                "m.toml:11:1: nothing in shared/end.toml asks for `x`",
            ),
            (ROOT.replace("id = \"first\"\n", ""), END.to_owned(), "m.toml:8:1: a stage has id and title"),
            (ROOT.to_owned(), format!("id = \"x\"\n{END}"), "m.toml:11:1: shared/end.toml is a method"),
        ] {
            let found = put_together(&root, &end).err().unwrap_or_default();
            assert!(found.starts_with(expected), "{expected}, but {found}");
        }
    }

    #[test]
    fn what_the_checker_complains_of_stands_in_the_right_file() {
        let composed =
            put_together(ROOT, &END.replace("act = { en = \"a\", de = \"a\"", "act = { en = \"a\", de = \"\""));
        let faults: Vec<String> = composed.expect("readable").faults().iter().map(ToString::to_string).collect();
        assert_eq!(faults, ["shared/end.toml:6:6: close act: no text in \"de\""]);
        let composed = put_together(&ROOT.replace("needs = [\"close\"]", "needs = [\"gone\"]"), END);
        let faults: Vec<String> = composed.expect("readable").faults().iter().map(ToString::to_string).collect();
        assert_eq!(faults, ["m.toml:15:6: late: needs gone, which is no step"]);
    }

    #[test]
    fn columns_count_characters() {
        let fault = Fault::at("f", "x\näöx", "x\näö".len(), "");
        assert_eq!((fault.line, fault.column), (2, 3));
    }

    #[test]
    fn decimals_are_exact() {
        assert_eq!(micro_of("0.08"), Some(80_000));
        assert_eq!(micro_of("-51.2"), Some(-51_200_000));
        assert_eq!(micro_of("999000000"), Some(999_000_000_000_000));
        assert_eq!(micro_of("0.0000001"), None);
        assert_eq!(micro_of("1e3"), None);
        assert_eq!(micro_of(""), None);
    }
}
