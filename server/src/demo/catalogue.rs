//! Instruments and models of the demo firm. Makers and figures are invented; GTINs are of the range 952, which GS1
//! keeps for examples.

use std::collections::BTreeMap;

use domain::identification::check_digit::gs1_check_digit;
use domain::ids::{InstrumentId, ModelId};
use domain::job_file::body::{ModelSnapshot, UnitKind};
use domain::people::Action;

use super::{day_after, ids, permit_of_owner};
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::features::reference::{Instrument, Model, insert_instrument, insert_model};

/// The invented maker of modules and what belongs to them.
const BATTERY_MAKER: &str = "Kestrel Cellworks (demo)";
/// The invented maker of inverters.
const INVERTER_MAKER: &str = "Ohmwood Power (demo)";

/// One line an instrument and kind: a tester that measures two things stands here twice with one serial.
struct DemoInstrument {
    id: InstrumentId,
    kind: &'static str,
    label: &'static str,
    serial: &'static str,
    /// Counted from the day of seeding, so that the demo does not grow old.
    due_in_days: i32,
}

const INSTRUMENTS: &[DemoInstrument] = &[
    DemoInstrument { id: ids::VOLTMETER, kind: "dc-meter", label: "DC meter 1", serial: "DM-1042", due_in_days: 580 },
    DemoInstrument {
        id: ids::OLD_VOLTMETER,
        kind: "dc-meter",
        label: "DC meter 2 (old)",
        serial: "DM-0077",
        due_in_days: -270,
    },
    DemoInstrument {
        id: ids::DETECTOR,
        kind: "two-pole-detector",
        label: "Two-pole detector",
        serial: "DV-2116",
        due_in_days: 430,
    },
    DemoInstrument { id: ids::LOW_OHM, kind: "low-ohm", label: "Low-ohm tester", serial: "DL-4405", due_in_days: 520 },
    DemoInstrument {
        id: ids::INSULATION_TESTER,
        kind: "insulation-tester",
        label: "Insulation tester",
        serial: "DI-3310",
        due_in_days: 520,
    },
    DemoInstrument {
        id: ids::INSTALLATION_TESTER,
        kind: "loop-tester",
        label: "Installation tester, loop",
        serial: "DT-5208",
        due_in_days: 670,
    },
    DemoInstrument {
        id: ids::TORQUE_WRENCH,
        kind: "torque-wrench",
        label: "Torque wrench 2–25 N·m",
        serial: "DW-0915",
        due_in_days: 370,
    },
    DemoInstrument {
        id: ids::LEVEL,
        kind: "level",
        label: "Spirit level, digital",
        serial: "DB-0302",
        due_in_days: 760,
    },
    DemoInstrument { id: ids::TAPE, kind: "tape", label: "Tape 5 m", serial: "DF-0041", due_in_days: 1100 },
    DemoInstrument {
        id: ids::RCD_TESTER,
        kind: "rcd-tester",
        label: "Installation tester, RCD",
        serial: "DT-5208",
        due_in_days: 670,
    },
    DemoInstrument {
        id: ids::MULTIMETER,
        kind: "multimeter",
        label: "Multimeter",
        serial: "DM-1043",
        due_in_days: 580,
    },
    DemoInstrument {
        id: ids::OHMMETER,
        kind: "ohmmeter",
        label: "Multimeter, ohms",
        serial: "DM-1043",
        due_in_days: 580,
    },
    DemoInstrument {
        id: ids::CLAMP_METER,
        kind: "clamp-meter",
        label: "Clamp meter",
        serial: "DC-7120",
        due_in_days: 460,
    },
    DemoInstrument {
        id: ids::EARTH_TESTER,
        kind: "earth-tester",
        label: "Earth tester",
        serial: "DE-1180",
        due_in_days: 390,
    },
    DemoInstrument {
        id: ids::IR_CAMERA,
        kind: "ir-camera",
        label: "Infrared camera",
        serial: "DH-0632",
        due_in_days: 300,
    },
    DemoInstrument { id: ids::STOPWATCH, kind: "stopwatch", label: "Stopwatch", serial: "DS-0209", due_in_days: 800 },
];

struct DemoModel {
    id: ModelId,
    kind: UnitKind,
    maker: &'static str,
    name: &'static str,
    /// Twelve digits; the check digit is computed.
    gtin12: &'static str,
    serial_prefix: &'static str,
    serial_length: (u16, u16),
    /// Millionths of the unit.
    values: &'static [(&'static str, i64)],
    /// Keys that its papers do not have.
    not_stated: &'static [&'static str],
}

const MODELS: &[DemoModel] = &[
    DemoModel {
        id: ids::MODULE,
        kind: UnitKind::Module,
        maker: BATTERY_MAKER,
        name: "Cell Stack M5",
        gtin12: "952100000101",
        serial_prefix: "KCM5",
        serial_length: (14, 14),
        values: &[
            ("cell_max", 3_650_000),
            ("cell_min", 2_500_000),
            ("cells", 16_000_000),
            ("clearance_front_m", 800_000),
            ("clearance_side_m", 300_000),
            ("clearance_top_m", 300_000),
            ("depth_m", 360_000),
            ("energy_wh", 5_120_000_000),
            ("height_m", 170_000),
            ("mass_kg", 44_000_000),
            ("ocv_max", 53_800_000),
            ("ocv_min", 51_000_000),
            ("resistance_ohm", 12_000),
            ("soc_spread_max", 5_000_000),
            ("spread_max", 200_000),
            ("temp_max", 40_000_000),
            ("temp_min", 5_000_000),
            ("torque_link_nm_max", 6_000_000),
            ("torque_link_nm_min", 5_000_000),
            ("width_m", 600_000),
        ],
        not_stated: &[],
    },
    DemoModel {
        id: ids::CONTROL_UNIT,
        kind: UnitKind::ControlUnit,
        maker: BATTERY_MAKER,
        name: "Cell Stack Head H1",
        gtin12: "952100000102",
        serial_prefix: "KCH1",
        serial_length: (14, 14),
        values: &[
            ("bracket_capacity_n", 1_200_000_000),
            ("breaking_a", 10_000_000_000),
            ("device_rating_v", 600_000_000),
            ("fault_a", 2_500_000_000),
            ("fuse_a", 50_000_000),
            ("fuse_max_a", 63_000_000),
            ("height_m", 250_000),
            ("mass_kg", 14_000_000),
            ("stack_difference_max", 1_000_000),
            ("torque_bracket_nm_max", 11_000_000),
            ("torque_bracket_nm_min", 9_000_000),
            ("torque_dc_nm_max", 6_000_000),
            ("torque_dc_nm_min", 5_000_000),
            ("torque_pe_nm_max", 4_500_000),
            ("torque_pe_nm_min", 3_500_000),
        ],
        not_stated: &[],
    },
    DemoModel {
        id: ids::INVERTER,
        kind: UnitKind::Inverter,
        maker: INVERTER_MAKER,
        name: "Hybrid 4",
        gtin12: "952200000201",
        serial_prefix: "OW8",
        serial_length: (12, 12),
        values: &[
            ("charge_current_a", 25_000_000),
            ("dc_max", 600_000_000),
            ("dc_min", 120_000_000),
            ("discharge_wait_s", 300_000_000),
            ("draw_w", 3_680_000_000),
            ("efficiency", 97_000_000),
            ("no_smooth_dc", 1_000_000),
            ("peak_w", 4_600_000_000),
            ("power_w", 3_680_000_000),
            ("standby_w", 20_000_000),
            ("torque_ac_nm_max", 2_000_000),
            ("torque_ac_nm_min", 1_500_000),
            ("torque_dc_nm_max", 3_000_000),
            ("torque_dc_nm_min", 2_500_000),
            ("type_tested", 1_000_000),
        ],
        not_stated: &["simple_separation"],
    },
    DemoModel {
        id: ids::CHANGEOVER,
        kind: UnitKind::Changeover,
        maker: INVERTER_MAKER,
        name: "Island Switch 63",
        gtin12: "952200000202",
        serial_prefix: "OWX",
        serial_length: (12, 12),
        values: &[("torque_ac_nm_max", 2_500_000), ("torque_ac_nm_min", 2_000_000)],
        not_stated: &["transfer_time_max_s"],
    },
    DemoModel {
        id: ids::METER,
        kind: UnitKind::Meter,
        maker: INVERTER_MAKER,
        name: "Grid Meter 3",
        gtin12: "952200000203",
        serial_prefix: "OWM",
        serial_length: (12, 12),
        values: &[],
        not_stated: &[],
    },
    DemoModel {
        id: ids::GATEWAY,
        kind: UnitKind::Gateway,
        maker: INVERTER_MAKER,
        name: "Data Gateway 1",
        gtin12: "952200000204",
        serial_prefix: "OWG",
        serial_length: (12, 12),
        values: &[],
        not_stated: &[],
    },
];

/// Writes them all.
pub(super) async fn seed(tx: &mut FirmTx, now_us: i64) -> Result<(), ApiError> {
    let permit = permit_of_owner(Action::ChangeInstruments)?;
    for demo in INSTRUMENTS {
        let instrument = Instrument {
            id: demo.id,
            kind: demo.kind.to_owned(),
            label: demo.label.to_owned(),
            serial: demo.serial.to_owned(),
            calibration_due: day_after(now_us, demo.due_in_days)?,
            retired: false,
        };
        insert_instrument(tx, permit, &instrument, now_us).await?;
    }
    let permit = permit_of_owner(Action::ChangeModels)?;
    for demo in MODELS {
        insert_model(tx, permit, &model_of(demo), now_us).await?;
    }
    Ok(())
}

fn model_of(demo: &DemoModel) -> Model {
    let values: BTreeMap<String, i64> = demo.values.iter().map(|(key, micro)| ((*key).to_owned(), *micro)).collect();
    Model {
        id: demo.id,
        version: 1,
        kind: demo.kind,
        maker: demo.maker.to_owned(),
        name: demo.name.to_owned(),
        gtin: gs1_check_digit(demo.gtin12).map(|digit| format!("0{}{digit}", demo.gtin12)),
        serial_prefix: demo.serial_prefix.to_owned(),
        serial_length: demo.serial_length,
        values,
        not_stated: demo.not_stated.iter().map(|key| (*key).to_owned()).collect(),
        retired: false,
    }
}

/// A model as a job takes it.
pub(super) fn snapshot(model: Model) -> ModelSnapshot {
    ModelSnapshot {
        model: model.id,
        version: model.version,
        kind: model.kind,
        maker: model.maker,
        name: model.name,
        gtin: model.gtin,
        serial_prefix: model.serial_prefix,
        serial_length: model.serial_length,
        values: model.values.into_iter().collect(),
    }
}

/// All of them.
#[cfg(test)]
pub(super) fn snapshots() -> Vec<ModelSnapshot> {
    MODELS.iter().map(model_of).map(snapshot).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use domain::identification::check_digit::gtin14;

    #[test]
    fn gtins_are_whole_and_of_the_example_range() {
        for demo in MODELS {
            let gtin = model_of(demo).gtin.unwrap_or_default();
            assert_eq!(gtin14(&gtin).as_deref(), Some(gtin.as_str()), "{}", demo.name);
            assert!(gtin.starts_with("0952"), "{gtin}");
        }
    }
}
