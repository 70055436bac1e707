//! One job on the phone: where and when, the drawing of its stack, its stages and steps, and what leads on.
//!
//! Start with [`load::job_view`], which folds a job file once for every screen, the desk's too. [`page`] is the screen, [`drawing`]
//! the stack, [`notes`] what people write and how the crew leaves and comes back; [`view_model`] is pure.
//!
//! **Never enters:** a rule that decides; the state of each step comes from `domain`.

mod drawing;
pub mod load;
mod notes;
pub mod page;
pub mod view_model;
