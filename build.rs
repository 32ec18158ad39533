//! Rebuilds when a migration is added: the files are embedded at compile time.

fn main() {
    println!("cargo:rerun-if-changed=migrations");
}
