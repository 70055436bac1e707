//! What the technician's screens share: the bottom bar with its one main action and "Stop work", how a write went, photos.
//!
//! - [`bottom`]: [`MainAct`], filled by whichever part of the page is at work, and the bar that draws it;
//! - [`saving`]: "saved on this device" once the store has said so, or why not;
//! - [`typed`]: what is typed is a draft until it is saved;
//! - [`stop_work`]: the button that is on every screen of the crew;
//! - [`at_risk`]: that something has waited for days, that this browser promises nothing or has thrown something away;
//! - [`not_stored`]: that the app does not open without a network, and why;
//! - [`photo`]: the chooser (camera or gallery) and what is remembered while a camera is open.
//!
//! **Never enters:** a rule; what may be recorded is asked of `domain`.

pub mod at_risk;
pub mod bottom;
mod lost;
pub mod not_stored;
pub mod photo;
pub mod saving;
pub mod stop_work;
pub mod typed;

use domain::ids::JobId;
use leptos::prelude::*;

use crate::adapters::browser;
use crate::device::{Device, JobLoad};
use crate::features::desk::store_shut;
use crate::i18n::format::Day;
use crate::i18n::{Words, use_words};
use crate::t;
use crate::ui::{Empty, Icon, Waiting};

/// Today where this browser is.
pub fn today() -> Day {
    let now = browser::now_us();
    Day::of_us(now, browser::offset_minutes(now))
}

/// A moment of an entry as local time of this browser.
pub fn moment(w: Words, at_us: u64) -> String {
    let us = i64::try_from(at_us).unwrap_or(i64::MAX);
    w.moment(us, browser::offset_minutes(us))
}

/// Stands where a job cannot be shown: being read, not on this device, or the store is shut.
pub fn instead(load: &JobLoad) -> AnyView {
    let w = use_words();
    match load {
        JobLoad::Waiting | JobLoad::Here(_) => view! { <Waiting /> }.into_any(),
        JobLoad::NotHere => view! { <Empty icon=Icon::Box words=t!(w, "job.not_here") /> }.into_any(),
        JobLoad::Failed(why) => store_shut(w, why),
    }
}

/// Follows a job and says who is at work: what every page of a job begins with.
pub fn follow(device: Device, job: JobId) -> RwSignal<JobLoad> {
    device.follow(job, false)
}
