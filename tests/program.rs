//! The program as a script runs it.

use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};

/// A folder of its own for what a run of the program keeps, so that no run finds what another
/// left, and none touches the logbook of whoever runs the tests.
pub(crate) fn data_home() -> PathBuf {
    static RUNS: AtomicU32 = AtomicU32::new(0);
    let run = RUNS.fetch_add(1, Ordering::Relaxed);
    std::path::Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join(format!("data-{}-{run}", std::process::id()))
}

/// Starts a program that keeps things in this folder, its streams in our hands.
pub(crate) fn piped_in(command: &mut Command, home: &std::path::Path) -> std::process::Child {
    command
        .env("XDG_DATA_HOME", home)
        .env("XDG_CACHE_HOME", home)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts")
}

/// Runs the program: whether it did well, what it printed, what it complained of.
pub(crate) fn run(arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .env("XDG_DATA_HOME", data_home())
        .env("XDG_CACHE_HOME", data_home())
        .args(arguments)
        .output()
        .expect("the program starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("it prints text");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

/// The same with lines on standard input.
pub(crate) fn run_with(arguments: &[&str], lines: &str) -> (Option<i32>, String, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .env("XDG_DATA_HOME", data_home())
        .env("XDG_CACHE_HOME", data_home())
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    // It may have ended before it reads anything.
    let _ = child.stdin.take().expect("piped").write_all(lines.as_bytes());
    let output = child.wait_with_output().expect("it ends");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("it prints text");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

/// The line that the README shows does what the text around it says: a drill worked to a
/// call that is proven.
#[test]
fn the_readme_shows_a_drill_that_is_won() {
    let readme = include_str!("../README.md");
    let line = readme.lines().find_map(|line| line.strip_prefix("$ printf ")).expect("a line");
    let folder = std::path::Path::new(env!("CARGO_BIN_EXE_halfsplit")).parent().expect("a folder");
    let path = std::env::var("PATH").unwrap_or_default();
    let output = Command::new("sh")
        .args(["-c", &format!("printf {line}")])
        .env("PATH", format!("{}:{path}", folder.display()))
        .env("XDG_DATA_HOME", data_home())
        .env("XDG_CACHE_HOME", data_home())
        .output()
        .expect("a shell");
    let told = String::from_utf8_lossy(&output.stdout);
    assert!(told.contains("Isolated and proven: part and fault are right."), "{told}");
    assert_eq!(output.status.code(), Some(0), "{told}");
}
