//! The direction of dependency: every module uses only what lies below it.

use std::fs;
use std::path::{Path, PathBuf};

/// Low to high; each may use what stands before it, nothing after.
const LAYERS: [&str; 26] = [
    "units",
    "limits",
    "chance",
    "planning",
    "diagnostic",
    "circuit",
    "network",
    "diagram",
    "faults",
    "spice",
    "observation",
    "dictionary",
    "diagnosis",
    "isolation",
    "handout",
    "survey",
    "drill",
    "scenario",
    "score",
    "report",
    "rehearsal",
    "library",
    "logbook",
    "oral",
    "screen",
    "cli",
];

/// Narrower than the order alone: what a module may not use though it stands below.
const BARRED: [(&str, &str); 5] = [
    ("faults", "network"),
    ("screen", "network"),
    ("screen", "library"),
    ("screen", "logbook"),
    ("score", "library"),
];

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("src can be read") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// The code of every source file with its module, comments and unit tests left out.
fn modules() -> Vec<(String, PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    files.sort();
    files
        .into_iter()
        .map(|path| {
            let inside = path.strip_prefix(&root).expect("it is in src");
            let first = inside.iter().next().expect("it has a name").to_string_lossy();
            let module = first.trim_end_matches(".rs").to_owned();
            let text = fs::read_to_string(&path).expect("a source file is text");
            let code = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
            let lines: Vec<&str> =
                code.lines().filter(|line| !line.trim_start().starts_with("//")).collect();
            let code = lines.join("\n");
            (module, path.clone(), code)
        })
        .collect()
}

/// Modules named after `crate::` in a piece of code.
fn used(code: &str) -> Vec<String> {
    code.split("crate::")
        .skip(1)
        .map(|rest| rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect())
        .collect()
}

#[test]
fn every_module_uses_only_what_lies_below_it() {
    let place = |name: &str| LAYERS.iter().position(|layer| *layer == name);
    let mut checked = 0;
    for (module, path, code) in modules() {
        if module == "lib" || module == "main" {
            continue;
        }
        let own = place(&module).unwrap_or_else(|| panic!("{module} has no place in LAYERS"));
        for name in used(&code) {
            let Some(other) = place(&name) else { panic!("{}: crate::{name}", path.display()) };
            assert!(other <= own, "{} uses {name}, which lies above it", path.display());
            assert!(
                !BARRED.contains(&(module.as_str(), name.as_str())),
                "{} may not use {name}",
                path.display()
            );
            checked += 1;
        }
    }
    assert!(checked > 50, "only {checked} uses found: the scan looks at the wrong text");
}

/// Fails for any file outside `allowed` whose code has one of these words.
fn only_in(allowed: &[&str], words: &[&str]) {
    for (module, path, code) in modules() {
        if allowed.contains(&module.as_str()) {
            continue;
        }
        for word in words {
            assert!(!code.contains(word), "{} has `{word}`", path.display());
        }
    }
}

#[test]
fn the_terminal_is_the_business_of_the_screen() {
    only_in(&["screen"], &["ratatui", "crossterm", "signal_hook"]);
}

#[test]
fn files_and_the_clock_are_the_business_of_library_and_command_line() {
    only_in(&["library", "logbook", "cli"], &["std::fs", "File::open"]);
    only_in(&["cli", "screen"], &["SystemTime", "Instant::now"]);
}

#[test]
fn printing_is_the_business_of_the_command_line() {
    only_in(
        &["cli"],
        &["println!", "print!(", "eprintln!", "std::io::stdout()", "std::io::stderr()"],
    );
}

#[test]
fn randomness_comes_from_one_place() {
    only_in(&["chance"], &["rand::", "ThreadRng", "thread_rng"]);
}

#[test]
fn the_reasoner_never_asks_for_the_planted_fault() {
    only_in(&["drill", "score", "logbook"], &[".truth()", "aircraft_events()"]);
}

#[test]
fn no_use_of_everything_above() {
    only_in(&[], &["use super::*"]);
}
