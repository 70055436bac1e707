//! The design of a job: what is planned, every check on it, what is missing, what would pass, and two drawings.
//!
//! A [`Design`] is a bag of figures by key, each of which may be absent while it is being filled in; the same keys and
//! millionths stand in the job file's design entry, so a method can take its limits from them. [`sheet()`] is a pure
//! function of those figures and a rule set, quick enough for every keystroke. **Never enters:** words for people (lines
//! and fields are named by keys), a figure that only a maker can state, a published table of cable ratings.
//!
//! Start with [`fields`], then [`sheet()`]; [`differences()`] compares planned and as built, [`test_sheet()`] orders the tests,
//! and [`standing()`] says which of them are made and which must be made again.

mod derived;
mod differences;
mod digest;
mod drawing;
mod editions;
mod equipment;
mod field;
mod inputs;
mod limits;
mod lines;
mod model_figures;
mod notices;
mod of_job;
mod place;
mod sheet;
mod suggest;
mod test_record;
mod test_sheet;
mod text;

pub use derived::{Figures, Following, derived};
pub use differences::{Changed, ChangedLimit, ChangedVerdict, Differences, differences};
pub use digest::digest;
pub use drawing::{single_line, stack_drawing};
pub use editions::OutOfForce;
pub use equipment::with_equipment;
pub use field::{DECIDING, FIELDS, Field, Section, field, fields, is_asked, load_of};
pub use inputs::Design;
pub use model_figures::{MODEL_FIGURES, ModelFigure, is_possible_of_model, model_figure, model_figures};
pub use notices::NoticeLine;
pub use of_job::{RULES_FIRM, RULES_PLACE, RULES_VERSION, as_built, modules_of_job, modules_on_record, rules_of_job};
pub use sheet::{Line, LineName, Outcome, Sheet, line_name, sheet};
pub use suggest::Suggestion;
pub use test_record::{Came, Fact, Point, Standing, standing};
pub use test_sheet::{Circuit, Stage, Test, opened_again, test_sheet};
