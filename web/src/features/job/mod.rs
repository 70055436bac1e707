//! One job on the phone: where and when, the drawing of its stack, its stages and steps, and what leads on.
//!
//! Start with [`load::job_view`], which folds a job file once for every screen, the desk's too. [`page`] is the screen, [`drawing`]
//! the stack, [`notes`] what people write, [`leave`] how the crew or one of it leaves; [`view_model`] is pure.
//!
//! **Never enters:** a rule that decides; the state of each step comes from `domain`.

mod drawing;
mod leave;
pub mod load;
mod notes;
pub mod page;
pub mod view_model;
