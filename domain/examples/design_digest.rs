//! The verdicts of 10,000 made-up designs as one hash, for comparing native code with WebAssembly.
//!
//! Natively it prints the hash. Compiled with `DESIGN_DIGEST=<hash>` it panics unless it comes to the same, which in
//! WebAssembly is a trap that any host sees; the module needs no imports and is started by its export `main`.

use domain::design::digest;

const SEED: u64 = 5;
const DESIGNS: u32 = 10_000;

fn main() {
    let hash = digest(SEED, DESIGNS).to_string();
    println!("{hash}");
    if let Some(expected) = option_env!("DESIGN_DIGEST") {
        assert_eq!(hash, expected, "this build judges designs otherwise");
    }
}
