//! A new migration must make the server compile again: it embeds them.

fn main() {
    println!("cargo:rerun-if-changed=../migrations");
}
