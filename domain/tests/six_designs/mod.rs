//! Six complete designs and the rules that each is judged by.

use domain::electrical::rule_set::Place;

macro_rules! design {
    ($name:literal) => {
        include_str!(concat!("../golden/designs/", $name, ".design.txt"))
    };
}

/// Place and design, as its file says it.
pub const DESIGNS: [(Place, &str); 6] = [
    (Place::Uk, design!("uk-terrace")),
    (Place::Au, design!("au-garage")),
    (Place::Us, design!("us-garage")),
    (Place::Uk, design!("hand-uk")),
    (Place::De, design!("hand-de")),
    (Place::Us, design!("hand-us")),
];
