//! Faults of people and of their things: when each comes, and what it does.

use crate::options::{DAY, HOUR, MINUTE, SECOND};
use crate::planted::Planted;
use crate::world::{Ev, World};
use domain::tray::Shelf;

impl World<'_> {
    /// The first of each fault that this run has.
    pub(crate) fn plan_faults(&mut self) {
        let end = self.opt.days * DAY;
        if self.opt.process_crash_every > 0 {
            for process in 0..self.processes.len() {
                self.about(self.opt.process_crash_every, Ev::ProcessCrash(process));
            }
        }
        if self.opt.db_crash_every > 0 {
            self.about(self.opt.db_crash_every, Ev::DbCrash);
        }
        for device in 0..self.devices.len() {
            if self.opt.app_crash_every > 0 {
                self.about(self.opt.app_crash_every, Ev::AppCrash(device));
            }
            if self.opt.offline {
                self.about(40 * MINUTE, Ev::Link(device));
            }
            if self.opt.sessions_expire {
                self.about(7 * HOUR, Ev::SessionEnds(device));
            }
            if self.opt.clocks_wrong {
                self.about(12 * HOUR, Ev::ClockJump(device));
            }
            if self.opt.app_too_old && self.rng.chance(500) {
                self.about(10 * HOUR, Ev::TooOld(device));
            }
            self.about(9 * HOUR, Ev::SignOut(device));
        }
        if self.opt.restore {
            let backup = self.rng.between(end / 6, end / 2);
            self.after(backup, Ev::Backup);
            let begins = self.rng.between(backup + MINUTE, end * 9 / 10);
            self.after(begins, Ev::RestoreBegins);
        }
        if self.opt.devices_lost {
            let device = self.rng.index(self.devices.len());
            let at = self.rng.between(end / 4, end);
            let ev = if self.rng.chance(500) { Ev::Evict(device) } else { Ev::Lose(device) };
            self.after(at, ev);
        }
        if self.opt.revoked {
            let device = self.rng.index(self.devices.len());
            let at = self.rng.between(end / 4, end);
            self.after(at, Ev::Revoke(device));
        }
        if self.opt.hostile {
            self.about(2 * HOUR, Ev::Hostile);
        }
    }

    // --- sessions and versions

    pub(crate) fn session_ends(&mut self, at: usize) {
        if self.healed {
            return;
        }
        self.devices[at].session = false;
        self.about(90 * MINUTE, Ev::SignIn(at));
        self.about(9 * HOUR, Ev::SessionEnds(at));
    }

    /// The person signs in: where the enrolment was revoked, the same phone gets a new one and keeps what it holds.
    pub(crate) fn signs_in(&mut self, at: usize) {
        if self.devices[at].gone {
            return;
        }
        let revoked = self.db.tables.devices.get(&self.devices[at].id).is_none_or(|(_, revoked)| *revoked);
        if revoked {
            self.devices[at].id = self.enrol(self.devices[at].person);
        }
        self.devices[at].session = true;
        if self.devices[at].signed_out {
            self.devices[at].signed_out = false;
            self.start_app(at);
        } else if revoked {
            self.stop_app(at);
            self.start_app(at);
        }
        let run = self.devices[at].run;
        if let Some(tray) = &mut self.devices[at].tray {
            tray.signed_in();
        }
        self.after(1, Ev::Tick(at, run));
    }

    /// The app asks before, and what is on the phone stays whatever the person answers.
    pub(crate) fn signs_out(&mut self, at: usize) {
        if self.healed || self.devices[at].gone {
            return;
        }
        self.stop_app(at);
        (self.devices[at].signed_out, self.devices[at].session) = (true, false);
        if self.is(Planted::ForgetTrayAtSignOut) {
            self.devices[at].shelf = Shelf::default();
        }
        self.about(50 * MINUTE, Ev::SignIn(at));
        self.about(20 * HOUR, Ev::SignOut(at));
    }

    pub(crate) fn too_old(&mut self, at: usize) {
        if !self.healed {
            self.devices[at].too_old = true;
            self.about(4 * HOUR, Ev::Update(at));
        }
    }

    /// A new app is a new run over the same disk.
    pub(crate) fn updated(&mut self, at: usize) {
        self.devices[at].too_old = false;
        if self.devices[at].tray.is_some() {
            self.stop_app(at);
            self.start_app(at);
        }
    }

    pub(crate) fn clock_jumps(&mut self, at: usize) {
        if !self.healed {
            self.jump_clock(at);
            self.about(16 * HOUR, Ev::ClockJump(at));
        }
    }

    // --- things that are lost

    /// The browser throws away what it kept. The person enrols anew.
    pub(crate) fn evicted(&mut self, at: usize) {
        if self.healed || self.devices[at].gone {
            return;
        }
        let before = std::mem::take(&mut self.devices[at].shelf);
        self.excuse(&before);
        self.stop_app(at);
        let person = self.devices[at].person;
        self.devices[at].id = self.enrol(person);
        (self.devices[at].session, self.devices[at].signed_out) = (true, false);
        self.after(5 * SECOND, Ev::AppStart(at));
    }

    /// A phone at the bottom of a lake.
    pub(crate) fn lost(&mut self, at: usize) {
        if self.healed || self.devices[at].gone {
            return;
        }
        let before = std::mem::take(&mut self.devices[at].shelf);
        self.excuse(&before);
        self.stop_app(at);
        self.devices[at].gone = true;
        let person = self.devices[at].person;
        self.give_device(person);
    }

    pub(crate) fn revoked(&mut self, at: usize) {
        if self.healed || self.devices[at].gone {
            return;
        }
        let id = self.devices[at].id;
        if let Some((_, revoked)) = self.db.tables.devices.get_mut(&id) {
            *revoked = true;
        }
        self.devices[at].session = false;
        self.about(2 * HOUR, Ev::SignIn(at));
    }

    // --- the backup

    pub(crate) fn back_up(&mut self) {
        self.backup = Some(self.db.tables.clone());
    }

    /// Everything stops for a while, as the instructions for operators say.
    pub(crate) fn restore_begins(&mut self) {
        if self.healed {
            return;
        }
        self.restoring = true;
        self.db.up = false;
        for process in &mut self.processes {
            process.up = false;
        }
        self.break_calls(|_| true);
        self.db.locked_by = None;
        self.db.waiting.clear();
        let wait = self.rng.between(2 * MINUTE, 20 * MINUTE);
        self.after(wait, Ev::RestoreEnds);
    }

    pub(crate) fn restore_ends(&mut self) {
        self.restoring = false;
        self.db.up = true;
        for process in &mut self.processes {
            process.up = true;
        }
        let Some(mut tables) = self.backup.take() else { return };
        // Enrolments are mended by hand or anew: here they outlive the restore.
        tables.devices = self.db.tables.devices.clone();
        if !self.is(Planted::RestoreKeepsEpoch) {
            tables.epoch = self.rng.bytes::<16>().to_vec();
        }
        self.db.tables = tables;
        self.projected.clear();
        self.db.sequences.clear();
        self.note_restored();
    }

    // --- the end of all faults

    /// Every network, process, session and app is well again, and people look at their phones. Clocks stay wrong.
    pub(crate) fn heal(&mut self) {
        if self.restoring {
            self.restore_ends();
        }
        self.healed = true;
        self.db.up = true;
        for process in &mut self.processes {
            process.up = true;
        }
        for at in 0..self.devices.len() {
            if self.devices[at].gone {
                continue;
            }
            let device = &mut self.devices[at];
            (device.way, device.too_old) = (crate::net::Way::Open, false);
            (device.awake, device.seen) = (true, true);
            self.signs_in(at);
            if self.devices[at].tray.is_none() {
                self.start_app(at);
            }
            let (run, now) = (self.devices[at].run, self.clock_ms(at));
            if let Some(tray) = &mut self.devices[at].tray {
                tray.poke(now);
            }
            self.after(1, Ev::Tick(at, run));
        }
    }
}
