//! What the chosen models say goes into the sheet by itself, where nobody wrote something else.

use super::inputs::Design;
use super::model_figures::model_figures;
use crate::electrical::units::MICRO;
use crate::job_file::body::{Equipment, ModelSnapshot, UnitKind};

/// The design with the models' figures in its open fields, and the number of modules that are planned.
pub fn with_equipment(design: &Design, equipment: &Equipment) -> Design {
    let mut filled = design.clone();
    let models = |new: bool| {
        let slots = equipment.slots.iter().filter(move |slot| slot.new == new);
        slots.filter_map(|slot| equipment.models.get(usize::from(slot.model)))
    };
    // The first new unit of a kind counts, as the job's record takes it. Where none is new, what is there already is the one that is
    // meant; beside a new one of another model its figures would say nothing about that.
    let only_there = |model: &&ModelSnapshot| models(true).all(|new| new.kind != model.kind);
    for model in models(true).chain(models(false).filter(only_there)) {
        for (figure, field) in model_figures(model.kind).filter_map(|figure| Some((figure, figure.fills?))) {
            if let (None, Some(micro)) = (filled.get(field), model.value(figure.key)) {
                filled.set(field, micro);
            }
        }
    }
    // A unit that changes over to the battery is there for nothing else.
    let changes_over = models(true).chain(models(false)).any(|model| model.kind == UnitKind::Changeover);
    if changes_over && filled.get("backup_output").is_none() {
        filled.set("backup_output", MICRO);
    }
    let modules = models(true).filter(|model| model.kind == UnitKind::Module).map(|_| MICRO).sum::<i64>();
    if modules > 0 && filled.get("modules").is_none() {
        filled.set("modules", modules);
    }
    filled
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::ModelId;
    use crate::job_file::body::Slot;

    fn model(kind: UnitKind, values: &[(&str, i64)]) -> ModelSnapshot {
        ModelSnapshot {
            model: ModelId::of(uuid::Uuid::from_u128(1)),
            version: 1,
            kind,
            maker: "Maker".into(),
            name: "Model".into(),
            gtin: None,
            serial_prefix: String::new(),
            serial_length: (1, 2),
            values: values.iter().map(|(key, micro)| ((*key).to_owned(), *micro)).collect(),
        }
    }

    #[test]
    fn open_fields_are_filled_and_others_left() {
        let slot = |number, model, new| Slot { number, model, new };
        let equipment = Equipment {
            models: vec![
                model(UnitKind::Module, &[("cells", 16_000_000), ("cell_max", 3_600_000)]),
                model(UnitKind::Inverter, &[("dc_min", 120_000_000)]),
                model(UnitKind::Module, &[("cells", 15_000_000), ("mass_kg", 40_000_000)]),
            ],
            slots: vec![slot(1, 0, true), slot(2, 0, true), slot(3, 2, false), slot(4, 1, false)],
        };
        let mut design = Design::new();
        design.set("module_cell_max_v", 3_550_000);
        let filled = with_equipment(&design, &equipment);
        assert_eq!(filled.get("modules"), Some(2_000_000), "what was there before is not counted");
        assert_eq!(filled.get("module_cell_max_v"), Some(3_550_000));
        assert_eq!(filled.get("module_cells"), Some(16_000_000), "the new unit says it");
        assert_eq!(filled.get("module_mass_kg"), None, "another model says nothing about the new one");
        assert_eq!(filled.get("inverter_dc_min_v"), Some(120_000_000), "it is there already");
        assert_eq!(filled.get("inverter_w"), None, "a maker's figure is never made up");
    }

    #[test]
    fn a_changeover_unit_says_that_there_is_a_backup() {
        let equipment =
            |kind| Equipment { models: vec![model(kind, &[])], slots: vec![Slot { number: 1, model: 0, new: false }] };
        let said = |kind| with_equipment(&Design::new(), &equipment(kind)).has_backup();
        assert_eq!((said(UnitKind::Changeover), said(UnitKind::Inverter)), (Some(true), None));
    }
}
