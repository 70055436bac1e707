//! The parts that screens are made of. No trade word and no rule inside: a part's signature is its whole contract.
//!
//! - page: [`Page`] (title, back link, sync corner, one bottom bar), [`Section`], [`Waiting`] (skeleton), [`Empty`];
//! - acts: [`Button`], [`LinkButton`], [`Look`];
//! - fields: [`Field`], [`Area`], [`Select`], [`CheckRow`], [`RadioRows`];
//! - telling: [`Banner`], [`Caution`] (translated words with the English beside), [`Chip`], [`Tone`], [`Progress`], [`Gate`];
//! - lists: [`RowLink`], [`Steps`], [`StepRow`], [`Table`];
//! - above the page: [`Sheet`] (native dialog), [`Toasts`].
//!
//! Words come in as [`TextProp`]: a `&'static str`, a `String` or a closure. Presses come in as `UnsyncCallback<()>`: any closure.
//! No `style` attributes: the content security policy forbids them.
//!
//! **Never enters:** `web_sys`, trade words, fetching.
//!
//! [`TextProp`]: leptos::text_prop::TextProp

mod act;
mod dialog;
mod fields;
mod icon;
mod lists;
mod page;
mod sync_corner;
mod telling;
mod toasts;

pub use act::{Button, LinkButton, Look, about_line};
pub use dialog::Sheet;
pub use fields::{Area, CheckRow, Choice, Field, FieldKind, RadioRows, Select};
pub use icon::{Glyph, Icon};
pub use lists::{RowLink, StepRow, StepState, Steps, Table};
pub use page::{Empty, Page, Section, Waiting};
pub use sync_corner::{SyncCorner, sync_words};
pub use telling::{Banner, Caution, Chip, Gate, Progress, Tone};
pub use toasts::{ToastList, Toasts};
