//! `halfsplit check` and `halfsplit new` through the binary.

use std::fs;
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use halfsplit::library;
use serde_json::Value;

use crate::program::{run, run_with};

const FUSE: &str = "tests/bad/protector-too-large.ron";

#[test]
fn a_finding_comes_with_its_line_and_a_caret() {
    let (code, told, _) = run(&["check", FUSE]);
    assert_eq!(code, Some(1), "{told}");
    let lines: Vec<&str> = told.lines().collect();
    let at = lines.iter().position(|line| line.contains("Breaker `CB1`")).expect("a finding");
    let (source, caret) = (lines[at + 1], lines[at + 2]);
    assert!(source.starts_with("     9 |         Breaker(id: \"CB1\""), "{source}");
    let under = caret.chars().position(|c| c == '^').expect("a caret");
    assert_eq!(source.chars().skip(under).take(2).collect::<String>(), "10", "{told}");
}

#[test]
fn an_editor_gets_the_same_findings() {
    let (code, told, _) =
        run(&["check", "--json", FUSE, "bench", "tests/bad/syntax.ron", "nowhere"]);
    assert_eq!(code, Some(2));
    let all: Value = serde_json::from_str(&told).expect("JSON");
    let systems = all["systems"].as_array().expect("a list");
    assert_eq!(systems.len(), 4);
    let first = &systems[0]["findings"][0];
    assert_eq!((first["line"].as_u64(), first["column"].as_u64()), (Some(9), Some(71)), "{first}");
    assert_eq!(first["severity"], "warning");
    assert_eq!(first["code"], "protector-too-large");
    assert_eq!(systems[0]["usable"], true);
    assert_eq!(systems[1]["findings"].as_array().map(Vec::len), Some(0));
    assert_eq!(systems[1]["counts"]["parts"], 6);
    assert_eq!(systems[2]["usable"], false);
    assert!(systems[3]["unreadable"].as_str().is_some_and(|why| why.contains("nowhere")));
}

#[test]
fn advice_is_no_warning() {
    let (code, told, _) = run(&["check", "tests/bad/never-shown.ron"]);
    assert!(told.contains("advice[never-shown]"), "{told}");
    assert_eq!(code, Some(0), "{told}");
}

/// Ends a child when a test fails half-way.
struct Stopped(std::process::Child);

impl Drop for Stopped {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn a_watched_file_is_checked_again_when_it_is_saved() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("system.ron");
    let good = library::embedded("bench").expect("it comes along").text;
    fs::write(&path, good).expect("written");
    let mut child = Stopped(
        Command::new(env!("CARGO_BIN_EXE_halfsplit"))
            .env("XDG_DATA_HOME", crate::program::data_home())
            .args(["check", "--watch"])
            .arg(folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts"),
    );
    let out = child.0.stdout.take().expect("piped");
    let (send, lines) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        BufReader::new(out).lines().map_while(Result::ok).try_for_each(|line| send.send(line))
    });
    let until = Instant::now() + Duration::from_secs(60);
    let next = |wanted: &str| {
        while let Ok(line) = lines.recv_timeout(until.saturating_duration_since(Instant::now())) {
            if line.contains(wanted) {
                return;
            }
        }
        panic!("`{wanted}` was not told");
    };
    next("6 parts, 6 nets");
    // The file gets another size, so that no clock has to tell the two apart.
    fs::write(&path, good.replace("line: \"BAT\"", "line: \"BATTERY\"")).expect("written");
    next("system.ron saved");
    next("error[unknown-net]: no net is named `BATTERY`");
    fs::write(&path, good).expect("written");
    next("6 parts, 6 nets");
}

#[test]
fn a_watched_drill_goes_on_with_what_can_still_be_done() {
    use std::io::Write;
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("system.ron");
    let good = library::embedded("bench").expect("it comes along").text;
    fs::write(&path, good).expect("written");
    let mut child = Stopped(
        Command::new(env!("CARGO_BIN_EXE_halfsplit"))
            .env("XDG_DATA_HOME", crate::program::data_home())
            .args(["drill", "--plain", "--watch", "--seed", "1", "--fault", "W1:open"])
            .arg(folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts"),
    );
    let mut input = child.0.stdin.take().expect("piped");
    let mut out = BufReader::new(child.0.stdout.take().expect("piped"));
    let mut told = String::new();
    let mut until = |told: &mut String, wanted: &str| loop {
        let mut line = String::new();
        assert!(out.read_line(&mut line).expect("text") > 0, "`{wanted}` was not told: {told}");
        told.push_str(&line);
        if line.contains(wanted) {
            return line;
        }
    };
    input.write_all(b"set S1 ON\ndc TB1-2\ndc TB1-1\n").expect("it listens");
    until(&mut told, "DC volts TB1-1");
    // One test point fewer, and a title that is another.
    let fewer = good.replace("TEST BENCH", "BENCH TWO").replace(
        "TestPoint(id: \"TB1-{1,2,3,4}\", net: \"{BAT,SW,LAMP,RET}\"",
        "TestPoint(id: \"TB1-{1,3,4}\", net: \"{BAT,LAMP,RET}\"",
    );
    assert_ne!(fewer, good);
    fs::write(&path, &fewer).expect("written");
    input.write_all(b"\n").expect("it listens");
    let line = until(&mut told, "made anew");
    assert!(line.contains("2 steps done again, 1 dropped"), "{told}{line}");
    let line = until(&mut told, "dropped: ");
    assert!(line.contains("dc TB1-2"), "{line}");
    // A file that does not read leaves the drill as it was.
    fs::write(&path, "System(").expect("written");
    input.write_all(b"\n").expect("it listens");
    until(&mut told, "error[");
    until(&mut told, "goes on as it was");
    input.write_all(b"call W1:open\n").expect("it listens");
    until(&mut told, "You called W1:open");
    until(&mut told, "The fault was W1:open");
}

/// Runs the program in a folder.
fn run_in(folder: &std::path::Path, arguments: &[&str], lines: &str) -> (Option<i32>, String) {
    use std::io::Write;
    let mut child = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .env("XDG_DATA_HOME", crate::program::data_home())
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let _ = child.stdin.take().expect("piped").write_all(lines.as_bytes());
    let output = child.wait_with_output().expect("it ends");
    let told = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8(told).expect("text"))
}

#[test]
fn a_new_system_checks_clean_and_can_be_drilled() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let (code, told) = run_in(at, &["new", "night-watch"], "");
    assert_eq!(code, Some(0), "{told}");
    let (code, told) = run_in(at, &["check", "--thorough", "night-watch"], "");
    assert_eq!(code, Some(0), "{told}");
    assert!(!told.contains('['), "{told}");
    assert!(told.contains("2 drills"), "{told}");
    let won = "go bay\ndc TB1-2\ngo panel\ndc XDS2\ncall W2:open\n";
    let (code, told) = run_in(at, &["drill", "night-watch/dark", "--plain", "--seed", "1"], won);
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("NIGHT WATCH"), "{told}");
    let (code, told) = run_in(at, &["drill", "night-watch", "--plain", "--seed", "3"], "advise\n");
    assert_eq!(code, Some(0), "{told}");
    // What is there is left alone.
    let before = fs::read_to_string(at.join("night-watch/system.ron")).expect("a file");
    let (code, told) = run_in(at, &["new", "night-watch"], "");
    assert_eq!(code, Some(2), "{told}");
    assert!(told.contains("is there already; nothing was written"), "{told}");
    assert_eq!(fs::read_to_string(at.join("night-watch/system.ron")).expect("a file"), before);
}

#[test]
fn a_new_system_stays_in_the_folder_where_one_is() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["../up", "/tmp/x", "a b", "", ".", "bench", "\u{1b}[2J", &"x".repeat(41)] {
        let (code, told) = run_in(folder.path(), &["new", "--", name], "");
        assert_eq!(code, Some(2), "{name:?}: {told}");
        assert!(!told.contains('\u{1b}'), "{told:?}");
    }
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 0);
    let (code, _, told) = run_with(&["new"], "");
    assert_eq!(code, Some(2), "{told}");
}
