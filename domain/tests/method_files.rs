//! The method files that come with the server: sound, complete, and put together from shared stages.
#![cfg(feature = "methods")]
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

mod built_in;

use built_in::{FILES, METHODS};
use domain::method::Method;
use domain::method::load::compose;

#[test]
fn every_built_in_method_is_sound_and_survives_its_bytes() {
    for name in METHODS {
        let composed = compose(name, FILES).unwrap_or_else(|fault| panic!("{fault}"));
        let faults: Vec<String> = composed.faults().iter().map(ToString::to_string).collect();
        assert_eq!(faults, Vec::<String>::new());
        let bytes = composed.method.to_bytes();
        assert_eq!(Method::from_bytes(&bytes).unwrap(), composed.method);
        println!("{name}: {} steps, {} bytes", composed.method.steps.len(), bytes.len());
    }
}
