//! The authors' guide, `scenarios/README.md`, says what the reader does.
//!
//! `UPDATE=1 cargo test` writes the table of kinds in it anew.

use std::collections::BTreeSet;
use std::fs;

use halfsplit::circuit::CATALOGUE;
use halfsplit::diagnostic::Severity;
use halfsplit::units::significant;

use crate::bad_files::{bad_files, bad_setups, folder, read, said};

const GUIDE: &str = "scenarios/README.md";

fn guide() -> String {
    fs::read_to_string(folder(GUIDE)).expect("the guide is there")
}

#[test]
fn every_system_in_it_reads_clean() {
    let guide = guide();
    let systems: Vec<_> = guide
        .split("```ron\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next())
        .filter(|block| block.starts_with("System("))
        .collect();
    assert!(!systems.is_empty());
    for system in systems {
        // What an example leaves hidden is for an author to know, and no fault of it.
        let mut findings = read("guide", system);
        findings.retain(|finding| finding.severity > Severity::Advice);
        assert_eq!(said(&findings), "", "{system}");
    }
}

#[test]
fn it_lists_every_code_and_no_other() {
    let mut met = BTreeSet::new();
    for (path, text) in bad_files() {
        met.extend(read(&path.to_string_lossy(), &text).iter().map(|finding| finding.code));
    }
    for (_, findings) in bad_setups() {
        met.extend(findings.iter().map(|finding| finding.code));
    }
    let guide = guide();
    let (_, table) = guide.split_once("## Findings").expect("the guide has its findings");
    let listed: BTreeSet<_> =
        table.lines().filter_map(|line| line.strip_prefix("| `")?.split('`').next()).collect();
    assert_eq!(met, listed);
}

#[test]
fn its_table_of_kinds_is_the_catalogue() {
    let guide = guide();
    let (before, rest) = guide.split_once("<!-- kinds -->\n").expect("where the kinds begin");
    let (table, after) = rest.split_once("<!-- end of kinds -->").expect("where they end");
    let expected = kinds();
    if std::env::var_os("UPDATE").is_some() {
        let text = format!("{before}<!-- kinds -->\n{expected}<!-- end of kinds -->{after}");
        fs::write(folder(GUIDE), text).unwrap();
    } else {
        assert_eq!(table, expected, "run UPDATE=1 cargo test");
    }
}

fn kinds() -> String {
    let mut text = String::new();
    for kind in &CATALOGUE {
        let minutes = significant(kind.replace_minutes, 3);
        text += &["\n### ", kind.name, "\n\n", kind.purpose, " ", kind.formula].concat();
        text += " Replaced in ";
        text += &[&minutes, " min.\n\n"].concat();
        text += "| field | holds | left out | meaning |\n|---|---|---|---|\n";
        for field in kind.fields {
            let (holds, default) = (field.kind.holds(), field.default.words());
            text += &["| `", field.name, "` | ", &holds, " | ", &default, " | "].concat();
            text += &[field.doc, " |\n"].concat();
        }
    }
    text + "\n"
}
