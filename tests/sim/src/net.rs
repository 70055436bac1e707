//! What lies between a phone and the server: it loses, delays, repeats, reorders, answers in the server's place.

use crate::Bytes;
use crate::db::DbWrite;
use crate::options::SECOND;
use crate::planted::Planted;
use crate::world::{Ev, World};
use domain::ids::{DeviceId, JobId};
use domain::intake::Judged;
use domain::tray::{Answer, Failure, PhotoKey, PhotoStep, Request};
use std::collections::BTreeMap;

/// A phone gives up waiting after so long.
const PATIENCE_MS: u64 = 30 * SECOND;

/// How a phone is connected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Way {
    Open,
    Shut,
    /// A network that wants a login first.
    Captive,
}

/// What travels.
#[derive(Clone, Debug)]
pub(crate) enum Outgoing {
    Push(Vec<Bytes>),
    Pull { epoch: Vec<u8>, have: BTreeMap<JobId, u64>, also: Vec<JobId> },
    Reference,
    Method,
    Photo { key: PhotoKey, step: PhotoStep, content: Bytes, corrupt: bool },
}

/// A request at the server.
#[derive(Debug)]
pub(crate) struct Call {
    /// The phone that waits; nobody waits for a copy, or for a stranger's.
    pub(crate) waits: Option<(usize, u64)>,
    /// Which phone's session; `None` for the stranger's own.
    pub(crate) device: Option<usize>,
    pub(crate) person: usize,
    pub(crate) device_id: DeviceId,
    pub(crate) what: Outgoing,
    pub(crate) process: usize,
    /// The answer gets lost.
    pub(crate) mute: bool,
    /// The process's clock when the request came, microseconds.
    pub(crate) now_us: u64,
    pub(crate) judged: Vec<Judged>,
    pub(crate) writes: Vec<DbWrite>,
    pub(crate) answer: Option<Answer>,
    pub(crate) visible: Vec<(JobId, u64)>,
}

impl World<'_> {
    pub(crate) fn open_call(
        &mut self,
        waits: Option<(usize, u64)>,
        by: (Option<usize>, usize, DeviceId),
        what: Outgoing,
    ) -> u64 {
        self.next_call += 1;
        let (device, person, device_id) = by;
        let call = Call {
            waits,
            device,
            person,
            device_id,
            what,
            process: 0,
            mute: false,
            now_us: 0,
            judged: Vec::new(),
            writes: Vec::new(),
            answer: None,
            visible: Vec::new(),
        };
        self.calls.insert(self.next_call, call);
        self.next_call
    }

    /// A phone sends.
    pub(crate) fn send(&mut self, device: usize, request: &Request, number: u64) {
        let what = self.outgoing(device, request);
        match self.devices[device].way {
            Way::Shut => return self.fails(device, number, Failure::NoConnection),
            Way::Captive => return self.fails(device, number, Failure::NotOurServer),
            Way::Open => {}
        }
        if !self.healed && self.rng.chance(self.opt.proxy_status) {
            let status = self.proxy_status(request);
            let retry_after_ms = (status == 429 || status == 503).then_some(20 * SECOND);
            return self.fails(device, number, Failure::Status { status, retry_after_ms });
        }
        self.after(PATIENCE_MS, Ev::Timeout(device, number));
        if !self.healed && self.rng.chance(self.opt.lost_request) {
            return;
        }
        let by = (Some(device), self.devices[device].person, self.devices[device].id);
        let call = self.open_call(Some((device, number)), by, what.clone());
        if !self.healed
            && self.rng.chance(self.opt.lost_answer)
            && let Some(call) = self.calls.get_mut(&call)
        {
            call.mute = true;
        }
        let way = self.one_way();
        self.after(way, Ev::Arrive(call));
        if !self.healed && self.rng.chance(self.opt.repeated) {
            let copy = self.open_call(None, by, what);
            let way = self.rng.between(1, 90 * SECOND);
            self.after(way, Ev::Arrive(copy));
        }
    }

    fn fails(&mut self, device: usize, number: u64, failure: Failure) {
        let wait = self.rng.between(20, 800);
        self.after(wait, Ev::Answer(device, number, Box::new(Answer::Failed(failure))));
    }

    fn one_way(&mut self) -> u64 {
        if self.healed {
            return self.rng.between(5, 60);
        }
        let most = if self.rng.chance(900) { 400 } else { self.opt.delay_max };
        self.rng.between(5, most)
    }

    fn proxy_status(&mut self, request: &Request) -> u16 {
        let of_photos = matches!(request, Request::Photo(..));
        let several = matches!(request, Request::Push(ids) if ids.len() > 1);
        let all: &[u16] = match (of_photos, several) {
            (true, _) => &[408, 409, 413, 429, 500, 502, 503, 504, 507],
            (false, true) => &[408, 413, 425, 429, 500, 502, 503, 504],
            (false, false) => &[408, 413, 425, 429, 500, 502, 503, 504],
        };
        self.rng.pick(all).copied().unwrap_or(503)
    }

    fn outgoing(&mut self, device: usize, request: &Request) -> Outgoing {
        let corrupt = !self.healed && self.rng.chance(self.opt.corrupt_slice);
        let shelf = &self.devices[device].shelf;
        match request {
            Request::Push(ids) => Outgoing::Push(
                ids.iter()
                    .filter_map(|id| shelf.entries.get(id))
                    .map(|(_, row)| Bytes::from(row.envelope.as_slice()))
                    .collect(),
            ),
            Request::Pull { epoch, have, also, .. } => {
                Outgoing::Pull { epoch: epoch.clone(), have: have.iter().copied().collect(), also: also.clone() }
            }
            Request::Reference => Outgoing::Reference,
            Request::Method(_) => Outgoing::Method,
            Request::Photo(key, step) => {
                let content = shelf.photo_bytes.get(&key.hash).map(|bytes| Bytes::from(bytes.as_slice()));
                Outgoing::Photo {
                    key: *key,
                    step: step.clone(),
                    content: content.unwrap_or_else(|| Bytes::from([])),
                    corrupt,
                }
            }
        }
    }

    /// A call is over: its answer goes on its way.
    pub(crate) fn reply(&mut self, call: u64, answer: Answer) {
        if let Some(call) = self.calls.remove(&call) {
            self.reply_to(&call, answer);
        }
    }

    pub(crate) fn reply_to(&mut self, call: &Call, answer: Answer) {
        self.note_handed_out(&answer);
        let Some((device, number)) = call.waits else { return };
        if call.mute {
            return;
        }
        let answer = if !self.healed && self.rng.chance(self.opt.garbled) {
            Answer::Failed(Failure::Unreadable)
        } else {
            answer
        };
        let way = self.one_way();
        self.after(way, Ev::Answer(device, number, Box::new(answer)));
    }

    pub(crate) fn reply_status(&mut self, call: u64, status: u16) {
        self.reply(call, Answer::Failed(Failure::Status { status, retry_after_ms: None }));
    }

    /// The connection breaks: the phone learns it at once.
    pub(crate) fn hang_up(&mut self, call: &Call) {
        if let Some((device, number)) = call.waits {
            self.after(20, Ev::Answer(device, number, Box::new(Answer::Failed(Failure::NoConnection))));
        }
    }

    pub(crate) fn link_changes(&mut self, device: usize) {
        if self.healed {
            return;
        }
        let way = match self.devices[device].way {
            Way::Open if self.opt.captive && self.rng.chance(300) => Way::Captive,
            Way::Open => Way::Shut,
            Way::Shut | Way::Captive => Way::Open,
        };
        self.devices[device].way = way;
        let now = self.clock_ms(device);
        if way == Way::Open
            && let Some(tray) = &mut self.devices[device].tray
        {
            tray.wake(now);
        }
        self.about(40 * crate::options::MINUTE, Ev::Link(device));
    }

    /// What a fault that is planted in the phone makes of an answer.
    pub(crate) fn misread(&self, request: &Request, answer: Answer) -> Answer {
        match (&answer, request) {
            (Answer::Failed(Failure::Status { status, .. }), Request::Push(_))
                if self.is(Planted::NoHalving) && (*status >= 500 || *status == 408 || *status == 413) =>
            {
                Answer::Failed(Failure::Status { status: 503, retry_after_ms: None })
            }
            (Answer::Failed(Failure::Unreadable), Request::Push(_)) if self.is(Planted::NoHalving) => {
                Answer::Failed(Failure::Status { status: 503, retry_after_ms: None })
            }
            _ => answer,
        }
    }
}
