//! One job on the phone: where and when, the drawing of its stack, its stages and steps, and what leads on.
//!
//! Start with [`load::job_view`], which folds a job file once for every screen, the desk's too.

pub mod load;
