//! The program as a script runs it.

use std::process::Command;

/// Runs the program: whether it did well, what it printed, what it complained of.
pub(crate) fn run(arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .args(arguments)
        .output()
        .expect("the program starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("it prints text");
    (output.status.code(), text(output.stdout), text(output.stderr))
}
