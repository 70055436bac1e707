//! Prints the sheet of a design file: `cargo run -p domain --example design_sheet -- uk domain/tests/golden/designs/uk-terrace.design.txt`.
//! With a third argument the drawings are written beside that path as `.line.svg` and `.stack.svg`.

use domain::design::{Design, sheet, single_line, stack_drawing};
use domain::electrical::rule_set::{Place, RuleSet};

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [place, file, rest @ ..] = &arguments[..] else {
        eprintln!("usage: design_sheet PLACE FILE [DRAWINGS]");
        std::process::exit(2);
    };
    let place = match place.as_str() {
        "us" => Place::Us,
        "uk" => Place::Uk,
        "au" => Place::Au,
        "nz" => Place::Nz,
        "de" => Place::De,
        _ => Place::Neutral,
    };
    let text = std::fs::read_to_string(file).expect("the design file can be read");
    let design = Design::parse(&text).expect("the design file is well formed");
    let sheet = sheet(&design, &RuleSet::of(place));
    print!("{}", sheet.plain_text());
    if let [path, ..] = rest {
        std::fs::write(format!("{path}.line.svg"), single_line(&design, &sheet)).expect("the folder is there");
        std::fs::write(format!("{path}.stack.svg"), stack_drawing(&design, &sheet)).expect("the folder is there");
    }
}
