//! Questions that an author has written: what is said of bad ones, and that good ones are asked.

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;

use halfsplit::diagnostic::Diagnostic;
use halfsplit::library;
use halfsplit::oral::{Asked, Examiner, read_questions};

use crate::bad_files::{folder, said};

/// Every bad file of questions, each for the bench, with what is found.
fn bad_questions() -> Vec<(PathBuf, Vec<Diagnostic>)> {
    let bench = library::load("bench").expect("it comes with the program");
    let mut paths: Vec<_> = fs::read_dir(folder("tests/bad/oral"))
        .expect("the folder is there")
        .map(|entry| entry.expect("an entry can be read").path())
        .filter(|path| path.extension().is_some_and(|end| end == "ron"))
        .collect();
    paths.sort();
    let told = |path: &PathBuf| {
        let text = fs::read_to_string(path).expect("a file of text");
        let name = path.file_name().and_then(|name| name.to_str()).expect("a name");
        read_questions(&bench, name, &text).1
    };
    paths.into_iter().map(|path| (path.clone(), told(&path))).collect()
}

/// `UPDATE=1 cargo test` writes the kept texts anew; read the difference before keeping it.
#[test]
fn each_bad_file_of_questions_is_answered_word_for_word() {
    let mut differences = String::new();
    for (path, findings) in bad_questions() {
        let said = said(&findings);
        let kept = path.with_extension("txt");
        if std::env::var_os("UPDATE").is_some() {
            fs::write(&kept, &said).expect("it can be written");
        }
        assert!(!findings.is_empty(), "{} is clean", path.display());
        let expected = fs::read_to_string(&kept).unwrap_or_default();
        if said != expected {
            differences.extend(["--- ", &path.to_string_lossy(), "\n", &expected, "+++ said\n"]);
            differences.push_str(&said);
        }
    }
    assert!(differences.is_empty(), "{differences}");
}

/// The guide lists every code, shows a file that reads clean, and no more.
#[test]
fn the_guide_tells_of_questions() {
    let guide = fs::read_to_string(folder("scenarios/README.md")).expect("the guide is there");
    let (_, rest) = guide.split_once("## Questions for the oral").expect("it has them");
    let section = rest.split("\n## ").next().expect("a section");
    let listed: BTreeSet<&str> = section
        .lines()
        .filter_map(|line| line.strip_prefix("| `")?.split_once("` |"))
        .filter(|(_, rest)| !rest.trim().is_empty())
        .map(|(code, _)| code)
        .filter(|code| !["text", "right", "wrong", "reason", "about"].contains(code))
        .collect();
    let found = bad_questions();
    let met: BTreeSet<&str> =
        found.iter().flat_map(|(_, findings)| findings.iter().map(|one| one.code)).collect();
    assert_eq!(listed, met);
    let example = section.split("```ron,oral\n").nth(1).expect("an example");
    let example = example.split("```").next().expect("it ends");
    let bench = library::load("bench").expect("it reads");
    let (own, findings) = read_questions(&bench, "oral.ron", example);
    assert!(findings.is_empty(), "{findings:?}");
    assert!(!own.is_empty());
}

/// They go into papers and sessions, come again by their card, and what comes with the program
/// reads clean.
#[test]
fn what_the_author_asks_is_asked() {
    for name in library::NAMES {
        let circuit = library::load(name).expect("it reads");
        let Some((file, text)) = library::oral_source(name).expect("it reads") else { continue };
        let (own, findings) = read_questions(&circuit, &file, &text);
        assert!(findings.is_empty(), "{findings:?}");
        let count = own.len();
        let examiner = Examiner::new(circuit.into(), Vec::new()).expect("it settles").with_own(own);
        let asked = examiner.questions(1000, 1);
        let mine: Vec<_> = asked.iter().filter(|question| question.asked == Asked::Own).collect();
        assert_eq!(mine.len(), count, "{name}");
        for question in mine {
            let again = examiner.again(&question.card, 7).expect("it is there");
            assert_eq!(again.text, question.text);
        }
    }
}
