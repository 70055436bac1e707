//! Words for faults and gaps of a plan.

use domain::electrical::{Prefix, Quantity};
use domain::method::plan::DesignField;

use super::view_model::{Fault, Gap};
use crate::features::bounds;
use crate::features::words::{quantity, unit_kind};
use crate::i18n::Words;
use crate::{t, tn};

/// What is wrong with a field, in a sentence. `field` gives the unit of a design figure.
pub fn fault(w: Words, fault: &Fault, field: Option<&DesignField>) -> String {
    let show = |micro: i64| match field {
        Some(field) => quantity(w, Quantity::of(field.unit, micro), Prefix::One),
        None => w.number_short(micro),
    };
    match fault {
        Fault::Needed => t!(w, "ui.required").to_owned(),
        Fault::Text(fault) => bounds::told(w, *fault),
        Fault::NoSuchZone => t!(w, "bounds.zone").to_owned(),
        Fault::Impossible { least, most } => {
            t!(w, "plan.fault.impossible", least = show(*least), most = show(*most))
        }
        Fault::NotAnHour => t!(w, "plan.fault.hour").to_owned(),
        Fault::HourWithoutDay => t!(w, "plan.fault.hour_without_day").to_owned(),
        Fault::CountOutside { least, most } if least == most => t!(w, "plan.fault.count_exact", n = least),
        Fault::CountOutside { least, most } => t!(w, "plan.fault.count", least = least, most = most),
        Fault::ModelNeeded => t!(w, "plan.fault.model").to_owned(),
        Fault::Unreadable => t!(w, "plan.fault.unreadable").to_owned(),
        Fault::Ambiguous(candidates) => {
            let all: Vec<String> = candidates.iter().map(|own| quantity(w, *own, Prefix::One)).collect();
            t!(w, "plan.fault.ambiguous", values = all.join(" / "))
        }
        Fault::OtherUnit(Some(meant)) => t!(w, "plan.fault.other_unit_meant", value = quantity(w, *meant, Prefix::One)),
        Fault::OtherUnit(None) => t!(w, "plan.fault.other_unit").to_owned(),
        Fault::NotExact => t!(w, "plan.fault.not_exact").to_owned(),
        Fault::OutsidePlausible { least, most } => {
            t!(w, "plan.fault.implausible", least = show(*least), most = show(*most))
        }
    }
}

/// What is missing before a crew can work, in a few words.
pub fn gap(w: Words, gap: &Gap) -> String {
    match gap {
        Gap::Crew => t!(w, "plan.gap.crew").to_owned(),
        Gap::Day => t!(w, "plan.gap.day").to_owned(),
        Gap::Units(kind) => t!(w, "plan.gap.units", kind = w.say(unit_kind(*kind))),
        Gap::Design(count) => tn!(w, "plan.gap.design", *count),
        Gap::Consent => t!(w, "plan.gap.consent").to_owned(),
        Gap::Householder => t!(w, "plan.gap.householder").to_owned(),
        Gap::GridPoint => t!(w, "plan.gap.grid_point").to_owned(),
    }
}
