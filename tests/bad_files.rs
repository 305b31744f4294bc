//! What a system file can have wrong with it, and what is said about it.
//!
//! Each file in `tests/bad` stands beside a text of the same name that holds all
//! that is said about it, word for word. `UPDATE=1 cargo test` writes the texts
//! anew; read the difference before keeping it.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use halfsplit::circuit::read_build;
use halfsplit::diagnostic::{Diagnostic, Severity, is_unprintable};
use halfsplit::dictionary::read_setups;
use halfsplit::library::{self, LoadError};
use halfsplit::survey::{self, Effort};

/// A path in the project.
pub(crate) fn folder(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Reads a text in every build, or in the one that its first line names as in
/// `// fitted: 31 44`, and checks what must hold whatever is in it.
pub(crate) fn read(name: &str, text: &str) -> Vec<Diagnostic> {
    let (circuit, findings) = match text.strip_prefix("// fitted: ") {
        Some(rest) => {
            let mods = rest.lines().next().unwrap_or_default();
            read_build(name, text, &mods.split_whitespace().collect::<Vec<_>>())
        }
        None => survey::check(name, text, Effort::Quick),
    };
    let has_error = findings.iter().any(|finding| finding.severity == Severity::Error);
    assert_eq!(circuit.is_none(), has_error, "{name}: {findings:#?}\n{text}");
    assert!(findings.is_sorted_by_key(|finding| finding.place), "{name}: {findings:#?}");
    let lines: Vec<_> = text.split('\n').collect();
    for finding in &findings {
        let line = lines.get(finding.place.line.wrapping_sub(1)).expect("a line of the text");
        let columns = line.chars().count() + 1;
        assert!((1..=columns).contains(&finding.place.column), "{finding}\n{text}");
        let said = finding.to_string();
        assert!(!said.contains(is_unprintable), "{said:?}");
        assert!(said.chars().count() < 400, "{said}");
    }
    findings
}

/// Findings as they are printed, one a line.
pub(crate) fn said(findings: &[Diagnostic]) -> String {
    findings.iter().flat_map(|finding| [finding.to_string(), "\n".to_owned()]).collect()
}

/// Every file in `tests/bad` with its text.
pub(crate) fn bad_files() -> Vec<(PathBuf, String)> {
    let mut paths: Vec<_> = fs::read_dir(folder("tests/bad"))
        .expect("the folder is there")
        .map(|entry| entry.expect("an entry can be read").path())
        .filter(|path| path.extension().is_some_and(|end| end == "ron"))
        .collect();
    paths.sort();
    let text = |path: &PathBuf| fs::read_to_string(path).expect("a file of text");
    paths.into_iter().map(|path| (path.clone(), text(&path))).collect()
}

#[test]
fn each_bad_file_is_answered_word_for_word() {
    let mut differences = String::new();
    let mut count = 0;
    for (path, text) in bad_files() {
        let name = path.file_name().unwrap().to_str().unwrap();
        let findings = read(name, &text);
        assert!(!findings.is_empty(), "{name} reads clean");
        let said = said(&findings);
        let expected_path = path.with_extension("txt");
        if std::env::var_os("UPDATE").is_some() {
            fs::write(&expected_path, &said).unwrap();
        }
        let expected = fs::read_to_string(&expected_path).unwrap_or_default();
        if said != expected {
            differences.extend(["--- ", name, "\n", &expected, "+++ said\n", &said]);
        }
        count += 1;
    }
    assert!(differences.is_empty(), "{differences}");
    assert!(count >= 16, "only {count} files");
}

/// Every list of setups in `tests/bad/setups`, each for the bench, with what is said of it.
pub(crate) fn bad_setups() -> Vec<(PathBuf, Vec<Diagnostic>)> {
    let bench = library::load("bench").expect("it comes with the program");
    let mut paths: Vec<_> = fs::read_dir(folder("tests/bad/setups"))
        .expect("the folder is there")
        .map(|entry| entry.expect("an entry can be read").path())
        .filter(|path| path.extension().is_some_and(|end| end == "ron"))
        .collect();
    paths.sort();
    let told = |path: &PathBuf| {
        let text = fs::read_to_string(path).expect("a file of text");
        let name = path.file_name().and_then(|name| name.to_str()).expect("a name");
        read_setups(&bench, name, &text).1
    };
    paths.into_iter().map(|path| (path.clone(), told(&path))).collect()
}

#[test]
fn each_bad_list_of_setups_is_answered_word_for_word() {
    let mut differences = String::new();
    for (path, findings) in bad_setups() {
        let said = said(&findings);
        let expected_path = path.with_extension("txt");
        if std::env::var_os("UPDATE").is_some() {
            fs::write(&expected_path, &said).unwrap();
        }
        let expected = fs::read_to_string(&expected_path).unwrap_or_default();
        assert!(!findings.is_empty(), "{} reads clean", path.display());
        if said != expected {
            differences.extend(["--- ", &path.to_string_lossy(), "\n", &expected, "+++ said\n"]);
            differences.push_str(&said);
        }
    }
    assert!(differences.is_empty(), "{differences}");
}

#[test]
fn a_file_that_is_not_text_is_refused() {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(b"System(id: \"\xFF\xFE\", title: \"x\")").unwrap();
    let error = library::load(file.path().to_str().unwrap()).unwrap_err();
    assert!(matches!(error, LoadError::NotText { .. }), "{error:?}");
    assert!(error.to_string().ends_with("is not a text file (UTF-8)"), "{error}");
}

#[test]
fn a_huge_file_is_refused_without_being_read() {
    let file = tempfile::NamedTempFile::new().unwrap();
    file.as_file().set_len(100_000_000).unwrap();
    let start = Instant::now();
    let error = library::load(file.path().to_str().unwrap()).unwrap_err();
    assert!(start.elapsed() < Duration::from_millis(500), "{:?}", start.elapsed());
    let LoadError::TooLarge { bytes, limit, .. } = error else { panic!("{error:?}") };
    assert_eq!((bytes, limit), (100_000_000, 8 << 20));
}

#[test]
fn a_folder_stands_for_the_system_file_in_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().to_str().unwrap();
    assert!(matches!(library::load(path), Err(LoadError::NotFound { .. })));
    let bench = library::embedded("bench").unwrap();
    fs::write(folder.path().join("system.ron"), bench.text).unwrap();
    assert_eq!(library::load(path).unwrap(), library::load("bench").unwrap());
}

#[test]
fn the_findings_of_a_file_come_with_its_path() {
    let path = folder("tests/bad/unknown-net.ron");
    let error = library::load(path.to_str().unwrap()).unwrap_err();
    assert!(matches!(error, LoadError::Findings(_)));
    assert!(error.to_string().starts_with(path.to_str().unwrap()), "{error}");
}

#[cfg(unix)]
#[test]
fn a_device_that_never_ends_is_not_read() {
    let error = library::load("/dev/zero").unwrap_err();
    assert_eq!(error.to_string(), "/dev/zero cannot be read: it is not an ordinary file");
}

/// A small generator of its own, so that the edits below never change.
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn roll(&mut self, sides: usize) -> usize {
        // Knuth's multiplier for a 64-bit congruential generator (from memory).
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        ((self.0 >> 33) % sides as u64) as usize
    }
}

/// Splits a text into strings, words, single signs and space, nothing lost.
pub(crate) fn tokens(text: &str) -> Vec<&str> {
    let mut tokens = Vec::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let length = if first == '"' {
            rest[1..].find('"').map_or(rest.len(), |end| end + 2)
        } else if first.is_alphanumeric() {
            rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len())
        } else {
            first.len_utf8()
        };
        tokens.push(&rest[..length]);
        rest = &rest[length..];
    }
    tokens
}

pub(crate) const ODD_TOKENS: [&str; 38] = [
    "(",
    ")",
    "[",
    "]",
    "{",
    "}",
    ",",
    ":",
    "\"",
    "'",
    "//",
    "/*",
    "*/",
    "#",
    "r#\"",
    "\\",
    "-1",
    "1e999",
    "NaN",
    "-inf",
    "0x",
    "1..2",
    "None",
    "Some(1)",
    "()",
    "\"{\"",
    "\"<n>\"",
    "\"{A,B}\"",
    "\"\"",
    "\"\u{1b}[2J\"",
    "\u{FEFF}",
    "\u{202E}",
    "é",
    "Repeat",
    "System",
    "'\u{1F600}'",
    "b\"x\"",
    "\"GND\"",
];

#[test]
fn no_edit_of_a_token_makes_the_reader_panic() {
    let mut dice = Dice(20_240_229);
    for (name, rounds) in [("bench", 1_000), ("t4-ac", 100)] {
        let text = library::embedded(name).unwrap().text;
        let tokens = tokens(text);
        assert_eq!(tokens.concat(), text);
        for _ in 0..rounds {
            let mut edited = tokens.clone();
            let at = loop {
                let at = dice.roll(tokens.len());
                if !tokens[at].trim().is_empty() {
                    break at;
                }
            };
            match dice.roll(5) {
                0 => {
                    edited.remove(at);
                }
                1 => edited.insert(at, tokens[at]),
                2 => edited[at] = tokens[dice.roll(tokens.len())],
                3 => edited[at] = ODD_TOKENS[dice.roll(ODD_TOKENS.len())],
                _ => edited.truncate(at),
            }
            read("edited", &edited.concat());
        }
    }
}

#[test]
fn a_hostile_file_is_refused_in_a_moment() {
    let list = |item: &str, count: usize| vec![item; count].join(", ");
    let system = |rest: String| format!("System(id: \"x\", title: \"x\", {rest})");
    let station = "stations: [Station(id: \"s\", title: \"S\")]";
    let texts = [
        system(format!("nets: [{}]", list("\"a\"", 200_000))),
        system(format!("spare_fuses: [{}]", list("(amps: 1, count: 1)", 100_000))),
        system(format!("stations: [{}]", list("Station(id: \"a\", title: \"a\")", 50_000))),
        system(format!("{station}, parts: [{}]", list("Fues(id: \"a\")", 100_000))),
        system(format!("{station}, parts: [Fuse({})]", list("apms: 1", 200_000))),
        system(format!(
            "{station}, nets: [{}], parts: [{}]",
            (0..20_000).map(|n| format!("\"NET{n}\"")).collect::<Vec<_>>().join(", "),
            list("Ground(id: \"a\", at: \"z\", net: \"NTE77777\")", 20_000),
        )),
        system(format!(
            "{station}, parts: [Switch(id: \"S\", at: \"s\", positions: [\"A\"], closes: {{{}}})]",
            list("\"B\": []", 200_000),
        )),
        "[".repeat(1_000_000),
    ];
    for text in texts {
        let start = Instant::now();
        assert!(!read("hostile", &text).is_empty());
        assert!(start.elapsed() < Duration::from_secs(10), "{:?}: {text:.200}", start.elapsed());
    }
}
