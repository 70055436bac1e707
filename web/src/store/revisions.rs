//! Who reads again after a change: screens of this window by signals, other windows by broadcast.

use crate::adapters::channel::Channel;
use domain::ids::{JobId, PersonId};
use leptos::prelude::{ArcRwSignal, Update};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// The message that the server has answered the window that sends it.
const CONTACT: &str = "contact";

#[derive(Default)]
struct Signals {
    all: ArcRwSignal<u64>,
    by_job: RefCell<BTreeMap<JobId, ArcRwSignal<u64>>>,
    on_contact: RefCell<Option<Rc<dyn Fn()>>>,
}

impl Signals {
    fn bump(&self, jobs: &[JobId]) {
        // Cloned out first: a signal's readers run at once and may ask for further signals.
        let of_jobs: Vec<_> = jobs.iter().filter_map(|job| self.by_job.borrow().get(job).cloned()).collect();
        for signal in of_jobs {
            signal.update(|revision| *revision += 1);
        }
        self.all.update(|revision| *revision += 1);
    }
}

#[derive(Default)]
pub(super) struct Revisions {
    signals: Rc<Signals>,
    channel: RefCell<Option<Channel>>,
    listeners: RefCell<Vec<Rc<dyn Fn()>>>,
}

impl Revisions {
    pub(super) fn of_job(&self, job: JobId) -> ArcRwSignal<u64> {
        self.signals.by_job.borrow_mut().entry(job).or_default().clone()
    }

    pub(super) fn of_all(&self) -> ArcRwSignal<u64> {
        self.signals.all.clone()
    }

    /// Something of these jobs changed; none: something that belongs to no job.
    pub(super) fn changed(&self, jobs: impl IntoIterator<Item = JobId>) {
        let jobs: Vec<JobId> = jobs.into_iter().collect();
        self.signals.bump(&jobs);
        if let Some(channel) = &*self.channel.borrow() {
            channel.post(&jobs.iter().map(JobId::to_string).collect::<Vec<_>>().join(" "));
        }
    }

    pub(super) fn on_write(&self, listen: Rc<dyn Fn()>) {
        self.listeners.borrow_mut().push(listen);
    }

    /// This window wrote something that should be sent.
    pub(super) fn wrote(&self) {
        let listeners = self.listeners.borrow().clone();
        listeners.iter().for_each(|listen| listen());
    }

    /// Tells other windows that the server has just answered this one, and hears it from them.
    pub(super) fn tell_contact(&self) {
        if let Some(channel) = &*self.channel.borrow() {
            channel.post(CONTACT);
        }
    }

    pub(super) fn on_contact(&self, listen: Rc<dyn Fn()>) {
        self.signals.on_contact.replace(Some(listen));
    }

    pub(super) fn follow_other_windows(&self, person: PersonId) {
        let signals = Rc::clone(&self.signals);
        let channel = Channel::open(&format!("witnessmark-{person}"), move |message| {
            if message == CONTACT {
                let listen = signals.on_contact.borrow().clone();
                return listen.into_iter().for_each(|listen| listen());
            }
            let jobs: Vec<JobId> = message.split(' ').filter_map(|job| job.parse().ok()).collect();
            signals.bump(&jobs);
        });
        self.channel.replace(channel);
    }
}
