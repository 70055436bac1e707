//! Fixed ids of the demo firm: `de300000-0000-7000-8000-0000000000nn`.

use domain::ids::{FirmId, InstrumentId, ModelId, PersonId};
use uuid::Uuid;

const fn demo_id(number: u128) -> Uuid {
    Uuid::from_u128(0xde30_0000_0000_7000_8000_0000_0000_0000 | number)
}

/// The demo firm.
pub const FIRM: FirmId = FirmId::of(demo_id(0x01));
/// Owner and lead.
pub const MARLOW: PersonId = PersonId::of(demo_id(0x11));
/// The second lead.
pub const QUILL: PersonId = PersonId::of(demo_id(0x12));
/// Technician.
pub const ASHDOWN: PersonId = PersonId::of(demo_id(0x13));
/// Technician whose ticket ran out.
pub const SOLANO: PersonId = PersonId::of(demo_id(0x14));
/// Office.
pub const PENDLE: PersonId = PersonId::of(demo_id(0x15));
/// DC meter, in calibration.
pub const VOLTMETER: InstrumentId = InstrumentId::of(demo_id(0x21));
/// Insulation tester, in calibration.
pub const INSULATION_TESTER: InstrumentId = InstrumentId::of(demo_id(0x22));
/// Torque wrench, in calibration.
pub const TORQUE_WRENCH: InstrumentId = InstrumentId::of(demo_id(0x23));
/// DC meter whose calibration ran out.
pub const OLD_VOLTMETER: InstrumentId = InstrumentId::of(demo_id(0x24));
/// Loop tester, in calibration.
pub const INSTALLATION_TESTER: InstrumentId = InstrumentId::of(demo_id(0x25));
/// Battery module.
pub const MODULE: ModelId = ModelId::of(demo_id(0x31));
/// Control unit of the stack.
pub const CONTROL_UNIT: ModelId = ModelId::of(demo_id(0x32));
/// Hybrid inverter.
pub const INVERTER: ModelId = ModelId::of(demo_id(0x33));
/// Changeover unit.
pub const CHANGEOVER: ModelId = ModelId::of(demo_id(0x34));
/// Energy meter.
pub const METER: ModelId = ModelId::of(demo_id(0x35));
/// Gateway.
pub const GATEWAY: ModelId = ModelId::of(demo_id(0x36));
/// Two-pole detector, in calibration.
pub const DETECTOR: InstrumentId = InstrumentId::of(demo_id(0x26));
/// Low-ohm tester, in calibration.
pub const LOW_OHM: InstrumentId = InstrumentId::of(demo_id(0x27));
/// Spirit level.
pub const LEVEL: InstrumentId = InstrumentId::of(demo_id(0x28));
/// Tape measure.
pub const TAPE: InstrumentId = InstrumentId::of(demo_id(0x29));
/// RCD tester, in calibration.
pub const RCD_TESTER: InstrumentId = InstrumentId::of(demo_id(0x2a));
/// Multimeter, in calibration.
pub const MULTIMETER: InstrumentId = InstrumentId::of(demo_id(0x2b));
/// The same multimeter as an ohmmeter.
pub const OHMMETER: InstrumentId = InstrumentId::of(demo_id(0x2c));
/// Clamp meter, in calibration.
pub const CLAMP_METER: InstrumentId = InstrumentId::of(demo_id(0x2d));
/// Earth tester.
pub const EARTH_TESTER: InstrumentId = InstrumentId::of(demo_id(0x2e));
/// Infrared camera.
pub const IR_CAMERA: InstrumentId = InstrumentId::of(demo_id(0x2f));
/// Stopwatch.
pub const STOPWATCH: InstrumentId = InstrumentId::of(demo_id(0x30));
