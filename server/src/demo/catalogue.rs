//! Instruments and models of the demo firm. Makers and figures are invented; GTINs are of the range 952, which GS1
//! keeps for examples.

use std::collections::BTreeMap;

use domain::identification::check_digit::gs1_check_digit;
use domain::ids::{InstrumentId, ModelId};
use domain::job_file::body::UnitKind;
use domain::people::Action;

use super::{ids, permit_of_owner};
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::features::reference::{Instrument, Model, insert_instrument, insert_model};

/// The invented maker of modules and what belongs to them.
const BATTERY_MAKER: &str = "Kestrel Cellworks (demo)";
/// The invented maker of inverters.
const INVERTER_MAKER: &str = "Ohmwood Power (demo)";

struct DemoInstrument {
    id: InstrumentId,
    kind: &'static str,
    label: &'static str,
    serial: &'static str,
    calibration_due: &'static str,
}

const INSTRUMENTS: &[DemoInstrument] = &[
    DemoInstrument {
        id: ids::VOLTMETER,
        kind: "multimeter",
        label: "Multimeter 1",
        serial: "DM-1042",
        calibration_due: "2028-06-30",
    },
    DemoInstrument {
        id: ids::OLD_VOLTMETER,
        kind: "multimeter",
        label: "Multimeter 2 (old)",
        serial: "DM-0077",
        calibration_due: "2025-02-28",
    },
    DemoInstrument {
        id: ids::INSULATION_TESTER,
        kind: "insulation-tester",
        label: "Insulation tester",
        serial: "DI-3310",
        calibration_due: "2028-04-30",
    },
    DemoInstrument {
        id: ids::INSTALLATION_TESTER,
        kind: "installation-tester",
        label: "Installation tester",
        serial: "DT-5208",
        calibration_due: "2028-09-30",
    },
    DemoInstrument {
        id: ids::TORQUE_WRENCH,
        kind: "torque-wrench",
        label: "Torque wrench 2–25 N·m",
        serial: "DW-0915",
        calibration_due: "2027-11-30",
    },
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
        values: &[],
    },
    DemoModel {
        id: ids::CONTROL_UNIT,
        kind: UnitKind::ControlUnit,
        maker: BATTERY_MAKER,
        name: "Cell Stack Head H1",
        gtin12: "952100000102",
        serial_prefix: "KCH1",
        serial_length: (14, 14),
        values: &[],
    },
    DemoModel {
        id: ids::INVERTER,
        kind: UnitKind::Inverter,
        maker: INVERTER_MAKER,
        name: "Hybrid 8",
        gtin12: "952200000201",
        serial_prefix: "OW8",
        serial_length: (12, 12),
        values: &[],
    },
    DemoModel {
        id: ids::CHANGEOVER,
        kind: UnitKind::Changeover,
        maker: INVERTER_MAKER,
        name: "Island Switch 63",
        gtin12: "952200000202",
        serial_prefix: "OWX",
        serial_length: (12, 12),
        values: &[],
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
    },
    DemoModel {
        id: ids::GATEWAY,
        kind: UnitKind::Gateway,
        maker: INVERTER_MAKER,
        name: "Link Box",
        gtin12: "952200000204",
        serial_prefix: "OWG",
        serial_length: (12, 12),
        values: &[],
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
            calibration_due: demo.calibration_due.to_owned(),
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
        retired: false,
    }
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
