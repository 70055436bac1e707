//! The serial of a unit: what is on record at its slot, and whether it stands.

use super::{Gate, StepRef};
use crate::job_file::body::{Body, SerialRead};
use crate::method::plan::Requirement;

/// What is on record of a unit's serial.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SlotSerial<'a> {
    /// Where the method asks for it.
    pub at: StepRef,
    /// The last one that counts.
    pub read: Option<&'a SerialRead>,
    /// The gate takes it. One that it refuses (another model's, twice in the job) says nothing of what was built.
    pub stands: bool,
}

impl<'a> SlotSerial<'a> {
    /// The serial, where the gate takes it.
    pub fn standing(self) -> Option<&'a SerialRead> {
        self.read.filter(|_| self.stands)
    }
}

impl<'a> Gate<'_, 'a> {
    /// The serial of the unit in a slot; `None` where the method asks for none.
    pub fn serial_of(&mut self, slot: u16) -> Option<SlotSerial<'a>> {
        let (at, need) = self.steps().into_iter().filter(|at| at.slot == slot).find_map(|at| {
            let needs = &self.plan.step(at.step).requirements;
            Some((at, needs.iter().position(|need| matches!(need, Requirement::Serial(_)))?))
        })?;
        let place = self.place(at, self.plan.step(at.step).requirements[need].id());
        let read = self.record.counting(&place).iter().rev().find_map(|evidence| match evidence.body {
            Body::Serial(read) => Some(read),
            _ => None,
        });
        let stands = self.standing(at).answers.get(need).is_some_and(super::Answer::lets_through);
        Some(SlotSerial { at, read, stands })
    }
}
